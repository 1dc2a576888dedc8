"""Names as somebody would choose them who wants a text to become something else; and what shows that one did."""

from __future__ import annotations

import re
import shutil
import subprocess
from html.parser import HTMLParser

from hypothesis import strategies as st
from markdown_it import MarkdownIt

PIECES = (
    "\n::error file=a.py::owned", "\r\n##[error]owned", "::set-env name=A::b", " ::warning::x",
    "##vso[task.complete]", "\x1b[2J", "\x1b]0;title\x07", "\x9b31m", "\x85", "\x00", "\x08", "\x0b", "\u2028",
    "\u2029", "\u202e", "\u2066", "\u200f", "\u061c", "\u200b", "\u200d", "\ufeff", "\ue000", "\U000e0041",
    "\ufffe", "e" + "\u0301" * 40, "\u3164", "\udc80", "\udfff", "<script>alert(1)</script>", "<!-- ", "-->",
    "<img src=x onerror=y>", "</code>", "`", "```", "``x`", "**b**", "_i_", "~~s~~", "[a](http://b.c)", "![a](b)",
    "[^1]", "[!NOTE]", "| a | b |", "# h", "- item", "1. item", "+ item", "---", "===", "> q", "\\", "&amp;",
    "&#60;", "@otter", "a@b.cd", "#12", "GH-3", "http://b.c", "www.b.cd", "mailto:a@b.cd", ":100:", ":smile:",
    "$x$", "0123456789abcdef", "]]>", "<![CDATA[", "\"", "'", "%0A", "{0}", "{", "}", "](1)", "é", "日本", "🦦", " ",
    "\t", ",", ":", "=",
)  # fmt: skip
_LETTERS = st.text(st.characters(), max_size=6)  # surrogates too

hostile = st.lists(st.sampled_from(PIECES) | _LETTERS, min_size=1, max_size=6).map("".join)
"""Texts made of such pieces and of any letters."""


def file_names(ending: str) -> st.SearchStrategy[str]:
    """Hostile names that a file can have: halves of surrogate pairs only where they stand for bytes of a name."""

    def usable(text: str) -> str:
        kept = re.sub("[/\0]|[\ud800-\udc7f\udd00-\udfff]", "", text)
        while len(kept.encode("utf-8", "surrogateescape")) > 200:
            kept = kept[:-1]
        return f"{kept}{ending}"

    return hostile.map(usable)


def in_a_file(text: str) -> str:
    """A text that a file in UTF-8 can hold, and that is no reason to refuse the file."""
    return re.sub("[\ud800-\udfff\0]", "", text)


# Written down here, so that nothing is taken from what is tested. Direction marks: Unicode UAX 9; the rest: the code
# charts.
STEERING = re.compile(
    "[\x00-\x09\x0b-\x1f\x7f-\x9f\u061c\u200b\u200e\u200f\u2028-\u202e\u2060-\u2069\ufeff\ufff9-\ufffb\ue000-\uf8ff\ufffe\uffff"
    "\ud800-\udfff\U000e0000-\U000e007f\U000f0000-\U0010ffff]"
)
FLOOD = re.compile("[\u0300-\u036f]{5}")
COMMAND = re.compile(r"^\s*::|##\[|##vso\[", re.MULTILINE)


def assert_plain(text: str) -> None:
    """Nothing in the text steers a terminal or a build service."""
    assert STEERING.findall(text) == []
    assert FLOOD.findall(text) == []
    assert COMMAND.findall(text) == []


class Page(HTMLParser):
    """The elements of a page, their links, and its texts, which comments cut; those in code apart."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: set[str] = set()
        self.addresses: list[str] = []
        self.texts: list[str] = []
        self.comments: set[str] = set()
        self._code = 0
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.add(tag)
        self._code += tag == "code"
        self.addresses += [value or "" for name, value in attrs if name in ("href", "src")]

    def handle_endtag(self, tag: str) -> None:
        self._code -= tag == "code"

    def handle_data(self, data: str) -> None:
        if not self._code:
            self.texts.append(data)

    def handle_comment(self, data: str) -> None:
        self.comments.add(data)


def pages(markdown: str) -> list[Page]:
    """The text as HTML, made by markdown-it-py and, where it is installed, by cmark-gfm with all its extensions."""
    reader = MarkdownIt("commonmark").enable(["table", "strikethrough"])
    result = [Page(reader.render(markdown))]
    if shutil.which("cmark-gfm"):
        names = ("footnotes", "table", "strikethrough", "autolink", "tasklist")
        command = ["cmark-gfm", "--unsafe", *(word for name in names for word in ("-e", name))]
        done = subprocess.run(command, input=markdown.encode(), capture_output=True, check=True)
        result.append(Page(done.stdout.decode()))
    return result


# What sites make of texts that are not code: mentions, numbers of issues, emoji, revisions. From memory.
LIVE = re.compile(r"@\w|#\d|:[\w+-]+:|://|\bwww\.|(?<!\w)(?:gh|cve|ghsa)-\w|(?<!\w)[0-9a-f]{7,40}(?!\w)", re.IGNORECASE)


def assert_only(markdown: str, elements: set[str]) -> None:
    """The Markdown is these elements and text."""
    for page in pages(markdown):
        assert page.elements <= elements
        assert page.comments <= {" "}
        assert page.addresses == []
        assert [result for text in page.texts for result in LIVE.findall(text)] == []
