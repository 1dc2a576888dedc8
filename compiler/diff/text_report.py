"""A report for people: what matters most first, one block for each cause, as in

breaking
  driver head_turn (both sides)  wren.plica:78:8
    span 5 deg .. 60 deg → -5 deg .. 60 deg: ... AT REST 0 → 0.07692
    reaches strengths; used by fold nape_lines; fingerprint 674993cc516e465f

At most two screens of it; the rest is counted.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from plica import foreign
from plica.diagnostics.place import counted
from plica.diff.broken_state import mistake_text
from plica.diff.entries import ReviewEntry, Section
from plica.diff.entry_text import entry_text
from plica.diff.report import Accepted, Report

MOST_LINES = 96  # two screens of fifty lines, with what stands below them

_RESET = "\x1b[0m"
_BOLD = "\x1b[1m"
_COLOURS = {
    Section.LOOSENED: "\x1b[35m",
    Section.BREAKING: "\x1b[31m",
    Section.RISKY: "\x1b[33m",
    Section.SAFE: "\x1b[32m",
    Section.COSMETIC: "\x1b[36m",
    Section.NAMES: "\x1b[34m",
}


def render(report: Report, *, colour: bool = False, whole: bool = False) -> str:
    """The entries, what was accepted, and a last line with the version step; `whole`: however long it is."""
    lines = _lines(report, whole)
    return "\n".join(_painted(lines)) + "\n" if colour else foreign.lines(lines)


def _painted(lines: Iterator[str]) -> Iterator[str]:
    headings = {section.heading: _COLOURS[section] for section in Section}
    for line in lines:
        paint = headings.get(line, "")
        yield f"{_BOLD}{paint}{line}{_RESET}" if paint else foreign.line(line)


def _lines(report: Report, whole: bool) -> Iterator[str]:
    several = len(report.characters) > 1
    entries = report.entries
    below = [*_accepted(report.accepted, several), *_uncompared(report)]
    shown = 0
    count = len(below) + 2
    for entry in entries:
        block = [*_heading(entry, entries[shown - 1] if shown else None), *_block(entry, several, whole)]
        count += len(block)
        if shown and count > MOST_LINES and not whole:
            break
        yield from block
        shown += 1
    if shown < len(entries):
        yield ""
        yield f"… and {sections_text(entries[shown:])} more; `--all` shows them"
    yield from ([""] if shown else [])
    yield from below
    yield last_line(report)


def _heading(entry: ReviewEntry, before: ReviewEntry | None) -> Iterator[str]:
    """The section, where it begins."""
    if before is None or before.section is not entry.section:
        yield from [""] if before is not None else []
        yield entry.section.heading


def _accepted(accepted: Sequence[Accepted], several: bool) -> Iterator[str]:
    if accepted:
        yield "accepted"
        for one in accepted:
            named = several and one.change.character
            title = f"{one.change.character}: {one.change.title}" if named else one.change.title
            yield f"  {title}  {one.change.fingerprint}: {one.reason}"
        yield ""


def _uncompared(report: Report) -> Iterator[str]:
    for one in report.broken_throughout:
        yield f"not compared: {one.character} compiles neither before nor now: {mistake_text(one.mistakes)}"
    yield from (f"not measured on the mesh: {one}" for one in report.unmeasured)
    yield from (f"{drawn.file or 'no picture'}: {drawn.character}, {drawn.words}" for drawn in report.pictures)


def _block(entry: ReviewEntry, several: bool, whole: bool) -> Iterator[str]:
    shown = entry_text(entry, several, whole)
    yield f"  {shown.title}  {' '.join(shown.places)}".rstrip()
    for statement in shown.statements:
        yield f"    {statement.text}"
        if statement.exact:
            yield f"      {statement.exact}"
        yield from (f"      {line}" for line in statement.lines)
    if shown.hint:
        yield f"    hint: {shown.hint}"
    yield f"    {shown.reaches}; fingerprint {entry.fingerprint}"


def sections_text(entries: Sequence[ReviewEntry]) -> str:
    """How many entries of each section there are, as in `2 breaking, 1 safe`."""
    sections = [entry.section for entry in entries]
    return ", ".join(f"{sections.count(one)} {one.counted}" for one in Section if one in sections)


def last_line(report: Report) -> str:
    """How many entries of each section, and the version step that they ask for."""
    if not report.changes:
        accepted = f" but {counted(len(report.accepted), 'accepted change')}" if report.accepted else ""
        compared = "" if report.is_whole else " in what could be compared"
        return f"no changes{accepted}{compared}; version step: {report.step}"
    return f"{sections_text(report.entries)}; version step: {report.step}"
