"""A report in Markdown (CommonMark), for a pull request, with small plots of old and new responses.

The plots are images with data URIs, so that the text needs no other files; where a site leaves such images out, their
alternative text still says what they show.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from plica.diff.judge import Harm
from plica.diff.plot import bars, data_uri
from plica.diff.report import Change, Report
from plica.diff.text import last_line, users
from plica.diff.words import ARROW

_SPECIAL = re.compile(r"([\\`*_{}\[\]<>#|~&])")


def render(report: Report) -> str:
    """The whole report."""
    return "\n".join(_lines(report)) + "\n"


def _lines(report: Report) -> Iterator[str]:
    several = len(report.characters) > 1
    yield f"## What this changes in {_plain(', '.join(report.characters))}"
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
            yield f"- {_plain(cause.place.place)}: {_plain(touched)}"
        yield ""
    if report.accepted:
        yield "### Accepted"
        yield ""
        for change, reason in report.accepted:
            yield f"- **{_plain(change.title)}** `{change.fingerprint}`: {_plain(reason)}"
        yield ""
    for character in report.unmeasured:
        yield f"Not measured on the mesh: {_plain(character)}"
        yield ""
    yield f"**{_plain(last_line(report))}**"


def _item(change: Change, several: bool) -> Iterator[str]:
    who = f"{change.character}: " if several else ""
    place = f" ({_plain(change.place.place)})" if change.place else ""
    yield f"- **{_plain(who + change.title)}**{place}"
    for verdict in change.verdicts:
        yield f"  - {_plain(verdict.text)}"
        if verdict.exact:
            yield f"    - {_plain(verdict.exact)}"
    yield f"  - reaches {_plain(', '.join(change.reaches) + users(change))}; fingerprint `{change.fingerprint}`"
    if change.hint:
        yield f"  - hint: {_plain(change.hint)}"
    if change.plot is not None and change.plot.old != change.plot.new:
        old, new, over = bars(change.plot)
        yield f"  - over {over}: `{old}` {ARROW} `{new}`"
        yield ""
        yield f"    ![old response dashed, new one solid]({data_uri(change.plot)})"
        yield ""


def _plain(text: str) -> str:
    """Text in which nothing is markup, on one line."""
    return _SPECIAL.sub(r"\\\1", " ".join(text.split()))
