"""Markdown for a pull request, rendered and sanitised as code hosts do: nothing of it may be lost there."""

from __future__ import annotations

import re
from collections import Counter
from html.parser import HTMLParser

import nh3
import numpy as np
import pytest
from markdown_it import MarkdownIt

from plica.diff.effects import response_of, strengths_at
from plica.diff.markdown_report import MOST_LETTERS, MOST_LINES, render
from plica.diff.plot import bars, chart
from plica.diff.report import Report
from tests.diff.test_outputs import everything
from tests.diff.test_triples import EDITS, report_of

# What a sanitiser for code hosts lets through: github.com/gjtorikian/html-pipeline, lib/html_pipeline/
# sanitization_filter.rb, DEFAULT_CONFIG, of which these are the elements that text may have. No `svg`, no `style`; and
# of pictures only those at http, https and relative addresses, so that one in a data address shows nothing.
ELEMENTS = frozenset(
    """h1 h2 h3 h4 h5 h6 br b i strong em a pre code img tt div ins del sup sub p ol ul table thead tbody tfoot
    blockquote dl dt dd kbd q samp var hr ruby rt rp li tr td th s strike summary details caption figure figcaption abbr
    bdo cite dfn mark small span time wbr""".split()  # noqa: SIM905
)
SCHEMES = {"http", "https", "mailto"}
# mermaid.js.org/syntax/xyChart.html: a directive, the keyword, an axis with a name in quotes and a range, lines of
# numbers; a number has no exponent. The parser of the npm package `mermaid` 11.17.2 takes and refuses the same.
NUMBER = r"-?\d+(\.\d+)?"
CHART = re.compile(
    r"%%\{init: \{'themeVariables': \{'xyChart': \{'plotColorPalette': '#\w{6}, #\w{6}'\}\}\}\}%%\n"
    r"xychart-beta\n"
    rf'    x-axis "[^"\n]+" {NUMBER} --> {NUMBER}\n'
    rf'    y-axis "[^"\n]+" {NUMBER} --> {NUMBER}\n'
    rf"(    line \[{NUMBER}(, {NUMBER})*\]\n){{2}}"
)


class Page(HTMLParser):
    """The text of a page, its elements, and the texts of its fenced blocks."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.text = ""
        self.elements: Counter[str] = Counter()
        self.blocks: list[str] = []
        self._open: list[str] = []
        self.feed(html)
        assert not self._open, "every element is closed"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements[tag] += 1
        if tag not in ("br", "hr", "img"):
            self._open.append(tag)
        if tag == "pre":
            self.blocks.append("")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements[tag] += 1

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data
        if "pre" in self._open:
            self.blocks[-1] += data


def shown(text: str) -> tuple[Page, Page]:
    """The page before and after it was sanitised."""
    html = MarkdownIt("commonmark", {"html": True}).enable(["table", "strikethrough"]).render(text)
    clean = nh3.clean(html, tags=set(ELEMENTS), attributes={"a": {"href"}, "img": {"src"}}, url_schemes=SCHEMES)
    return Page(html), Page(clean)


def many(count: int) -> Report:
    """A report of so many different changes."""
    (change,) = report_of(EDITS["span"]).changes
    changes = tuple(
        change._replace(declared=f"elbow_{number}", fingerprint=f"{number:016x}", place=None) for number in range(count)
    )
    return Report(("otter",), changes)


@pytest.mark.parametrize("report", [everything(), report_of(EDITS["curve"]), many(60)], ids=["all", "curve", "many"])
def test_nothing_is_lost_where_it_is_shown(report: Report) -> None:
    before, after = shown(render(report))
    assert after.text == before.text
    assert after.elements == before.elements
    assert not after.elements["img"]
    for entry in report.entries:
        assert entry.fingerprint in after.text
    for change in report.changes:
        assert change.title in after.text


def test_a_picture_in_the_text_itself_would_be_lost() -> None:
    """So that the test before this one can fail."""
    before, after = shown("![a curve](data:image/png;base64,AAAA)\n\n<svg><text>a curve</text></svg>")
    assert "svg" in before.elements and "svg" not in after.elements
    assert "data:" not in nh3.clean('<img src="data:image/png;base64,AAAA">', url_schemes=SCHEMES)


def test_blocks_of_code_are_charts_and_nothing_else() -> None:
    """A list in a folded part, and the text after it, must not turn into code by the way they are indented."""
    _, page = shown(render(many(60)))
    assert page.blocks and all(CHART.fullmatch(block) for block in page.blocks)
    assert page.elements["pre"] == 60


@pytest.mark.parametrize("case", ["curve", "span", "direction", "rest", "span_from_elsewhere"])
def test_a_chart_has_the_strengths_of_both_responses(case: str) -> None:
    change = report_of(EDITS[case]).changes[0]
    assert change.plot is not None
    text = "\n".join([*chart(change.plot)][1:-1]) + "\n"
    assert CHART.fullmatch(text)
    low, high = (float(one) for one in re.findall(rf"x-axis .* ({NUMBER}) --> ({NUMBER})", text)[0][::2])
    floor, ceiling = (float(one) for one in re.findall(rf"y-axis .* ({NUMBER}) --> ({NUMBER})", text)[0][::2])
    lines = [np.array(line.split(","), dtype=float) for line in re.findall(r"line \[(.*)\]", text)]
    for line, response in zip(lines, (change.plot.old, change.plot.new), strict=True):
        strengths = strengths_at(response, np.radians(np.linspace(low, high, len(line))))
        assert np.abs(line - strengths).max() < 0.002
        assert floor <= line.min() and line.max() <= ceiling
    assert response_of(change.facts[0].old) == change.plot.old


def test_bars_show_both_responses_where_no_chart_is_drawn() -> None:
    """Each bar stands for the strength at its reading, to half of a step."""
    change = report_of(EDITS["curve"]).changes[0]
    assert change.plot is not None
    old, new, _ = bars(change.plot)
    assert f"`{old}` → `{new}`" in render(report_of(EDITS["curve"]))
    assert old != new
    for row, response in zip((old, new), (change.plot.old, change.plot.new), strict=True):
        strengths = strengths_at(response, np.linspace(*response.span, len(row)))
        heights = np.array([ord(bar) - ord("▁") for bar in row]) / 7
        assert np.abs(heights - strengths).max() <= 0.5 / 7 + 1e-12


def test_what_is_said_first_and_what_is_accepted() -> None:
    text = render(everything())
    assert text.splitlines()[2].endswith("version step: minor**")
    assert "### Risky" in text and "agreed at the weir" in text


def test_beyond_two_screens_it_is_folded_and_says_how_many() -> None:
    text = render(many(60))
    open_part, _, folded = text.partition("<details>\n<summary>")
    assert open_part.count("\n- ") + open_part.count("\n  - ") <= MOST_LINES
    assert open_part.count("**driver elbow_") + folded.count("**driver elbow_") == 60
    assert folded.startswith(f"{folded.count('**driver elbow_')} risky more</summary>")


@pytest.mark.parametrize("count", [60, 2000])
def test_never_longer_than_code_hosts_take_and_what_is_left_out_is_told(count: int) -> None:
    report = many(count)
    text = render(report)
    assert len(text) <= MOST_LETTERS
    told = sum(change.fingerprint in text for change in report.changes)
    left_out = re.findall(r"\*\*Left out here: (\d+) risky\*\*", text)
    assert told + sum(map(int, left_out)) == count
    assert (told < count) == ("`plica diff` of the same two states shows everything with `--all`" in text)
    shown(text)  # every element is closed


def test_a_thing_that_is_longer_than_everything_may_be_is_left_out() -> None:
    (change,) = report_of(EDITS["span"]).changes
    verdict = change.verdicts[0]._replace(text="x" * 2 * MOST_LETTERS)
    report = Report(("otter",), (change._replace(verdicts=(verdict,)),), unmeasured=("y" * 2 * MOST_LETTERS,) * 100)
    text = render(report)
    assert len(text) <= MOST_LETTERS and "Left out here: 1 risky" in text
