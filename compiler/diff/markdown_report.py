"""A report in Markdown (CommonMark), for a pull request, with small plots of old and new responses.

The plots are images with data URIs, so that the text needs no other files; where a site leaves such images out, their
alternative text still says what they show.
"""

from __future__ import annotations

from collections.abc import Iterator

from plica.diff.plot import bars, data_uri
from plica.diff.report import JudgedChange, Report
from plica.diff.text_report import last_line, users
from plica.diff.value_text import ARROW
from plica.diff.verdicts import Harm
from plica.foreign import markdown, markdown_code


def render(report: Report) -> str:
    """The whole report."""
    return "\n".join(_lines(report)) + "\n"


def _lines(report: Report) -> Iterator[str]:
    several = len(report.characters) > 1
    yield f"## What this changes in {markdown(', '.join(report.characters))}"
    yield ""
    for harm in Harm:
        changes = [change for change in report.changes if change.harm is harm]
        if changes:
            yield f"### {harm.word.capitalize()}"
            yield ""
            for change in changes:
                yield from _item(change, several)
            yield ""
    if report.causes:
        yield "### One declaration, several effects"
        yield ""
        for cause in report.causes:
            touched = "; ".join(f"{who}: {title}" if several else title for who, title in cause.touches)
            yield f"- {markdown_code(cause.place.place)}: {markdown(touched)}"
        yield ""
    if report.accepted:
        yield "### Accepted"
        yield ""
        for change, reason in report.accepted:
            yield f"- **{markdown(change.title)}** `{change.fingerprint}`: {markdown(reason)}"
        yield ""
    for character in report.unmeasured:
        yield f"Not measured on the mesh: {markdown(character)}"
        yield ""
    yield f"**{markdown(last_line(report))}**"


def _item(change: JudgedChange, several: bool) -> Iterator[str]:
    who = f"{change.character}: " if several else ""
    place = f" ({markdown_code(change.place.place)})" if change.place else ""
    yield f"- **{markdown(who + change.title)}**{place}"
    for verdict in change.verdicts:
        yield f"  - {markdown(verdict.text)}"
        if verdict.exact:
            yield f"    - {markdown(verdict.exact)}"
    yield f"  - reaches {markdown(', '.join(change.reaches) + users(change))}; fingerprint `{change.fingerprint}`"
    if change.hint:
        yield f"  - hint: {markdown(change.hint)}"
    if change.plot is not None and change.plot.old != change.plot.new:
        old, new, over = bars(change.plot)
        yield f"  - over {over}: `{old}` {ARROW} `{new}`"
        yield ""
        yield f"    ![old response dashed, new one solid]({data_uri(change.plot)})"
        yield ""
