"""A report for people: the worst first, one block for each change, as in

breaking
  driver head_turn (both sides)  wren.plica:78:8
    span 5 deg .. 60 deg → -5 deg .. 60 deg: ... AT REST 0 → 0.07692
    reaches strengths; used by fold nape_lines
    fingerprint 674993cc516e465f
"""

from __future__ import annotations

from collections.abc import Iterator

from plica import foreign
from plica.diagnostics.place import counted
from plica.diff.report import JudgedChange, Report
from plica.diff.verdicts import Harm

MOST_USERS = 8  # that are listed by name

_RESET = "\x1b[0m"
_BOLD = "\x1b[1m"
_COLOURS = {Harm.BREAKING: "\x1b[31m", Harm.RISKY: "\x1b[33m", Harm.SAFE: "\x1b[32m", Harm.COSMETIC: "\x1b[36m"}


def render(report: Report, *, colour: bool = False) -> str:
    """All changes, what they have in common, what was accepted, and a last line with the version step."""
    return "\n".join(_painted(report)) + "\n" if colour else foreign.lines(_lines(report))


def _painted(report: Report) -> Iterator[str]:
    headings = {harm.word: _COLOURS[harm] for harm in Harm}
    for line in _lines(report):
        paint = headings.get(line, "")
        yield f"{_BOLD}{paint}{line}{_RESET}" if paint else foreign.line(line)


def _lines(report: Report) -> Iterator[str]:
    several = len(report.characters) > 1
    for harm in Harm:
        changes = [change for change in report.changes if change.harm is harm]
        if changes:
            yield harm.word
            for change in changes:
                yield from _block(change, several)
            yield ""
    if report.causes:
        yield "one declaration, several effects"
        for cause in report.causes:
            yield f"  {cause.place.place}"
            for character, title in cause.touches:
                yield f"    {character}: {title}" if several else f"    {title}"
        yield ""
    if report.accepted:
        yield "accepted"
        for change, reason in report.accepted:
            yield f"  {_title(change, several)}  {change.fingerprint}: {reason}"
        yield ""
    for character in report.unmeasured:
        yield f"not measured on the mesh: {character}"
    yield last_line(report)


def _title(change: JudgedChange, several: bool) -> str:
    return f"{change.character}: {change.title}" if several else change.title


def _block(change: JudgedChange, several: bool) -> Iterator[str]:
    place = f"  {change.place.place}" if change.place else ""
    yield f"  {_title(change, several)}{place}"
    for verdict in change.verdicts:
        yield f"    {verdict.text}"
        if verdict.exact:
            yield f"      {verdict.exact}"
    yield f"    reaches {', '.join(change.reaches)}{users(change)}"
    if change.hint:
        yield f"    hint: {change.hint}"
    yield f"    fingerprint {change.fingerprint}"


def users(change: JudgedChange) -> str:
    """`; used by shape swell, fold lines`, or nothing."""
    if not change.used_by:
        return ""
    listed = list(change.used_by[:MOST_USERS])
    if len(change.used_by) > MOST_USERS:
        listed.append(f"and {len(change.used_by) - MOST_USERS} more")
    return f"; used by {', '.join(listed)}"


def last_line(report: Report) -> str:
    """How many changes of each harm, and the version step that they ask for."""
    if not report.changes:
        accepted = f" but {counted(len(report.accepted), 'accepted change')}" if report.accepted else ""
        compared = " in what could be compared" if report.unmeasured else ""
        return f"no changes{accepted}{compared}; version step: {report.step}"
    harms = [change.harm for change in report.changes]
    counts = ", ".join(f"{harms.count(harm)} {harm.word}" for harm in Harm if harm in harms)
    return f"{counts}; version step: {report.step}"
