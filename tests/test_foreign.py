"""Texts that others chose, in each form."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from xml.etree import ElementTree

import pytest
from hypothesis import example, given, settings

from plica import foreign
from tests.support.hostile import assert_only, assert_plain, hostile

PATIENT = settings(max_examples=100, deadline=None)

HONEST = (
    "lowerarm_lf", "Wren, the otter", "é", "e\u0301", "Ångström", "日本", "葛\U000e0100飾", "Ελλάδα", "עברית",
    "العربية",
    "می\u200cخواهم", "क्\u200dष", "Việt Nam", "a\u00a0b", "日\u3000本", "🦦", "👩\u200d🚀", "❤\ufe0f",
    "#\ufe0f\u20e3", "👍🏽",
    "🏳\ufe0f\u200d🌈", "🙂\u200d↔\ufe0f", "namespace::joint", "C:\\rigs\\otter.glb", "a # b", "50 %", "{finger}_1",
)  # fmt: skip


@pytest.mark.parametrize("name", HONEST)
def test_honest_names_stay_as_they_are(name: str) -> None:
    assert foreign.line(name) == name


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("a\nb", "a\\nb"),
        ("a\r\tb", "a\\r\\tb"),
        ("\x1b[2J", "\\x1b[2J"),
        ("a\u202eb", "a\\u202eb"),
        ("a\u200bb", "a\\u200bb"),
        ("a\u200db", "a\\u200db"),
        ("\udcff", "\\udcff"),
        ("\U000e0041", "\\U000e0041"),
        ("a\ufe0fb", "a\\ufe0fb"),
        ("::error::x", "\\x3a:error::x"),
        ("a ::error::x", "a \\x3a:error::x"),
        ("a ##[error]x", "a #\\x23[error]x"),
        ("e" + "\u0301" * 6, "e" + "\u0301" * 4 + "\\u0301" * 2),
    ],
)
def test_what_is_unsafe_is_shown(text: str, shown: str) -> None:
    assert foreign.line(text) == shown


@given(hostile)
@PATIENT
def test_a_line_is_plain_and_stays_as_it_is_when_made_safe_again(text: str) -> None:
    line = foreign.line(text)
    assert_plain(line)
    assert "\n" not in line
    assert foreign.line(line) == line
    assert "".join(foreign.cells(text)) == line


@given(hostile)
@PATIENT
def test_workflow_commands_have_no_other_parts(text: str) -> None:
    made = foreign.command_property(text)
    assert_plain(made)
    assert not set(":,\n\r") & set(made)
    assert re.search("%(?!25|3A|2C)", made) is None
    assert foreign.command_data("a", text).count("%0A") == 1


@given(hostile)
@PATIENT
def test_xml_is_well_formed(text: str) -> None:
    """Attributes that programs read are exact but for what XML 1.0 (section 2.2) cannot hold."""
    written = f"<a b={foreign.xml_attribute(text)} />"
    assert_plain(written)
    value = ElementTree.fromstring(written).attrib["b"]
    if re.search("[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", text) is None:
        assert value == text
    root = ElementTree.Element("a", {"b": text})
    root.text = text
    document = foreign.xml_document(root)
    assert_plain(document)
    assert ElementTree.fromstring(document).attrib["b"] == foreign.line(text)


@given(hostile)
@PATIENT
def test_json_is_ascii_and_exact(text: str) -> None:
    document = foreign.json_document({"a": [text, 1], "b": None})
    assert document.isascii()
    assert_plain(document)
    result = json.loads(document)["a"][0]
    result.encode("utf-8")  # whole characters
    if not re.search("[\ud800-\udfff]", text):
        assert result == text


@given(hostile)
@PATIENT
def test_sarif_messages_have_no_placeholders_and_no_links(text: str) -> None:
    """SARIF 2.1.0, 3.11.5 and 3.11.6."""
    message = foreign.sarif_message(text)
    assert not re.search(r"[{}]", message.replace("{{", "").replace("}}", ""))
    assert "](" not in message


@given(hostile)
@PATIENT
def test_markdown_is_text(text: str) -> None:
    for written in (foreign.markdown(text), f"- **{foreign.markdown(text)}**", f"> a {foreign.markdown(text)} b"):
        assert_plain(written)
        assert_only(written, {"p", "ul", "li", "strong", "blockquote"})


@given(hostile)
@PATIENT
def test_markdown_code_is_code(text: str) -> None:
    written = f"a {foreign.markdown_code(text)} b"
    assert_plain(written)
    assert_only(written, {"p", "code"})


class _Reader(HTMLParser):
    """The tags of a document, and all texts and values in it."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[str] = []
        self.shown = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.shown += "".join(value or "" for _, value in attrs)

    def handle_data(self, data: str) -> None:
        self.shown += data


@given(hostile)
@example("<img src=x onerror='alert(1)'>\"&amp;")
@PATIENT
def test_html_is_text(text: str) -> None:
    made = foreign.html(text)
    reader = _Reader()
    reader.feed(f"<b>{made}</b><i title='{made}'>{made}</i>")
    reader.close()
    assert reader.tags == ["b", "i"]
    assert reader.shown == 3 * foreign.line(text)
