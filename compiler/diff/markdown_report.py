"""A report in Markdown (CommonMark) for a pull request: as long as two screens, the rest folded.

Code hosts strip pictures that stand in the text itself (SVG, data addresses). So a curve is a chart in a fenced block,
which many of them draw, and bars of letters, which every one shows. What is folded stands in `<details>`. No text is
longer than the hosts take; what is left out is counted, with what shows it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from plica.diff.broken_state import mistake_text
from plica.diff.entries import ReviewEntry, Section
from plica.diff.entry_text import entry_text
from plica.diff.plot import bars, chart
from plica.diff.report import Report
from plica.diff.text_report import last_line, sections_text
from plica.diff.value_text import ARROW
from plica.foreign import markdown, markdown_code, markdown_target

MOST_LETTERS: Final = 60_000
"""Code hosts take some 65,000 in a comment (from memory)."""
MOST_LINES: Final = 70  # of lists that are not folded: about two screens
_KEPT: Final = 1_000  # letters for the sentence on what was left out, and what closes the text
_NAMES: Final = 6  # of characters that are listed
_LONGEST: Final = 1_000  # letters of why one of them could not be measured


def render(report: Report) -> str:
    """The whole report."""
    head = [*_head(report)]
    accepted = [f"{line}\n" for line in _accepted(report)]
    room = MOST_LETTERS - _KEPT - sum(map(len, head))
    body, left_out = _body(report, room)
    room -= sum(map(len, body))
    body += accepted if sum(map(len, accepted)) <= room else [f"Accepted: {len(report.accepted)}\n"] if accepted else []
    return "".join([*head, *body, *_on_what_is_left_out(left_out)])


def _head(report: Report) -> Iterator[str]:
    """The title, how many changes of what kind, and what could not be compared: first, so that all see it."""
    names = report.characters
    shown = ", ".join(names) if len(names) <= _NAMES else f"{', '.join(names[:_NAMES])} and {len(names) - _NAMES} more"
    yield f"## What this changes in {markdown(shown)}\n\n**{markdown(last_line(report))}**\n\n"
    broken = [
        f"{one.character} compiles neither before nor now: {mistake_text(one.mistakes)}"
        for one in report.broken_throughout
    ]
    yield from (f"Not compared: {markdown(one[:_LONGEST])}\n\n" for one in broken[:_NAMES])
    if len(broken) > _NAMES:
        yield f"Not compared: {len(broken) - _NAMES} more\n\n"
    listed = report.unmeasured[:_NAMES]
    yield from (f"Not measured on the mesh: {markdown(one[:_LONGEST])}\n\n" for one in listed)
    if len(report.unmeasured) > len(listed):
        yield f"Not measured on the mesh: {len(report.unmeasured) - len(listed)} more\n\n"
    yield from _pictures(report)


def _pictures(report: Report) -> Iterator[str]:
    """Pictures of what changed on the skin, by links that hold beside them."""
    for one in report.pictures[:_NAMES]:
        said = markdown(f"{one.character}: {one.words}")
        yield f"![{said}]({markdown_target(one.file)})\n\n*{said}*\n\n" if one.file else f"No picture of {said}\n\n"
    if len(report.pictures) > _NAMES:
        yield f"Pictures: {len(report.pictures) - _NAMES} more\n\n"


def _body(report: Report, room: int) -> tuple[list[str], tuple[ReviewEntry, ...]]:
    """The entries, those beyond two screens folded, and the ones that there is no room for."""
    several = len(report.characters) > 1
    parts: list[str] = []
    lines, folded = 0, False
    section: Section | None = None
    for number, entry in enumerate(report.entries):
        item = "".join(f"{line}\n" for line in _item(entry, several))
        before = ""
        if not folded and number and lines + item.count("\n") > MOST_LINES:
            before = f"\n<details>\n<summary>{sections_text(report.entries[number:])} more</summary>\n"
            folded, section = True, None
        if section is not entry.section:
            before += f"\n### {entry.section.heading.capitalize()}\n\n"
        if len(before) + len(item) > room:
            return [*parts, *_closing(folded and section is not None)], report.entries[number:]
        parts += [before, item]
        section = entry.section
        lines += item.count("\n") - item.count("\n  ```")
        room -= len(before) + len(item)
    return [*parts, *_closing(folded)], ()


def _closing(folded: bool) -> list[str]:
    return ["\n</details>\n"] if folded else []


def _on_what_is_left_out(entries: Sequence[ReviewEntry]) -> Iterator[str]:
    if entries:
        yield (
            f"\n**Left out here: {sections_text(entries)}**, because code hosts take no longer texts. `plica diff` of "
            "the same two states shows everything with `--all`, and `--format json` holds it for programs.\n"
        )


def _accepted(report: Report) -> Iterator[str]:
    if report.accepted:
        yield f"\n<details>\n<summary>{len(report.accepted)} accepted</summary>\n"
        for one in report.accepted:
            yield f"- **{markdown(one.change.title)}** `{one.change.fingerprint}`: {markdown(one.reason)}"
        yield "\n</details>"


def _item(entry: ReviewEntry, several: bool) -> Iterator[str]:
    shown = entry_text(entry, several)
    places = ", ".join(markdown_code(place) if number == 0 else place for number, place in enumerate(shown.places))
    yield f"- **{markdown(shown.title)}**{f' ({places})' if places else ''}"
    for statement in shown.statements:
        yield f"  - {markdown(statement.text)}"
        if statement.exact:
            yield f"    - {markdown(statement.exact)}"
        yield from (f"    - {markdown_code(line)}" for line in statement.lines)
    if shown.hint:
        yield f"  - hint: {markdown(shown.hint)}"
    yield f"  - {markdown(shown.reaches)}; fingerprint `{entry.fingerprint}`"
    yield from _curve(entry)


def _curve(entry: ReviewEntry) -> Iterator[str]:
    """The old and the new response of the first change that has any."""
    plots = (change.plot for change in entry.changes if change.plot is not None)
    plot = next((one for one in plots if one.old != one.new), None)
    if plot is None:
        return
    old, new, over = bars(plot)
    yield f"  - over {over}: `{old}` {ARROW} `{new}`"
    yield ""
    yield "  <details><summary>the curve: grey before, green after</summary>"
    yield ""
    yield from (f"  {line}" for line in chart(plot))
    yield ""
    yield "  </details>"
