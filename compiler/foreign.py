"""Texts that others chose, made safe for each form that they are written in: the one place for that.

Names of files, joints, clips and meshes, notes, and what other libraries say come from outside. In a terminal, a report
or a page they must stay what they are, a text on one line, and never become a command, markup, a line of their own or
something that nobody sees. Each form has one function here; whoever writes a form sends what it writes through it.

What is unsafe is shown as its escape, as in `\\x1b`, `\\n` or `\\u202e`. A backslash that stands in a text stays one:
the escape is for people and not for reading back. Letters of every script, blanks and emoji stay as they are.
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, Final

# Expressions stay texts here, which `re` compiles where one is first used, and keeps: together they take as long as a
# spec to parse, and a check without findings uses none.

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

MOST_MARKS: Final = 4
"""Marks on one letter that are shown; more cover the lines around (Unicode UTS 39, section 5.4: no more than 4)."""

# Controls, formats (which turn the direction of writing round, or have no width), surrogates, private and unassigned
# code points, line and paragraph separators; by Unicode's general category.
_UNSAFE: Final = frozenset(("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"))
_MARKS: Final = frozenset(("Mn", "Me"))
# Letters, marks and signs that show nothing: default ignorable code points (Unicode, DerivedCoreProperties.txt) of no
# category above, and the braille pattern without dots.
_UNSEEN: Final = "[\u034f\u115f\u1160\u17b4\u17b5\u180b-\u180f\u2800\u3164\ufe00-\ufe0f\uffa0\U000e0100-\U000e01ef]"
_NON_JOINER, _JOINER = "\u200c", "\u200d"
_EMOJI_STYLES: Final = "\ufe0e\ufe0f"
_VIRAMA: Final = 9
"""The combining class of signs that bind two letters of an Indic script."""

# Build services take lines that begin with `::`, after blanks, for commands, and `##[` and the like anywhere in a line
# (github.com/actions/runner, src/Runner.Common/ActionCommand.cs).
_COMMAND: Final = r"(?<!\S)::|##(?=\w*\[)"


# ---- text for a terminal


def line(text: str) -> str:
    """The text on one line of a terminal or of a build's log. A text that was made safe already stays as it is."""
    if text.isascii() and text.isprintable() and "::" not in text and "##" not in text:
        return text
    return "".join(cells(text))


def lines(texts: Iterable[str]) -> str:
    """Each text as one line, whatever it holds; each with a line end."""
    return "".join(f"{line(text)}\n" for text in texts)


def source_line(text: str) -> str:
    """A line of a spec, without its end: tabs stay."""
    return "\t".join(line(part) for part in text.split("\t"))


def cells(text: str) -> list[str]:
    """What is shown for each character of a text: itself, or its escape."""
    commands = {result.start() + (result[0] == "##") for result in re.finditer(_COMMAND, text)}
    shown: list[str] = []
    marks = 0
    for place, character in enumerate(text):
        if character.isascii() and character.isprintable():
            marks = 0
            shown.append(_escape(character) if place in commands else character)
            continue
        category = unicodedata.category(character)
        marks = marks + 1 if category in _MARKS else 0
        seen = marks <= MOST_MARKS and category not in _UNSAFE and not re.match(_UNSEEN, character)
        shown.append(character if seen or _belongs(text, place) else _escape(character))
    return shown


def _escape(character: str) -> str:
    """As in Python: `\\n`, `\\x1b`, `\\u202e`, `\\U000e0001`."""
    code = ord(character)
    if character in "\n\r\t":
        return {"\n": "\\n", "\r": "\\r", "\t": "\\t"}[character]
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def _belongs(text: str, place: int) -> bool:
    """Whether a character that shows nothing by itself is part of how its neighbours are written.

    Joiners are, where Unicode UAX 31 (section 2.3) takes them in names, and within emoji; a selector is, that chooses
    the form of the emoji or the Chinese character before it.
    """
    character, before, after = text[place], text[place - 1 : place] if place else "", text[place + 1 : place + 2]
    if not before:
        return False
    if character in _EMOJI_STYLES:
        return before in "#*0123456789" or unicodedata.category(before) in ("So", "Sm", "Po", "Pd")
    if "\ufe00" <= character <= "\ufe0d" or "\U000e0100" <= character <= "\U000e01ef":
        return unicodedata.name(before, "").startswith("CJK")
    if character not in (_JOINER, _NON_JOINER) or not after:
        return False
    if unicodedata.combining(before) == _VIRAMA:
        return True
    if character == _NON_JOINER:
        return unicodedata.bidirectional(before) == unicodedata.bidirectional(after) == "AL"
    emoji = before in _EMOJI_STYLES or unicodedata.category(before) in ("So", "Sk")
    return emoji and unicodedata.category(after) in ("So", "Sm")


# ---- text for a cell of a table that other programs open


def csv_cell(text: str) -> str:
    """The text on one line, never a formula: programs that show tables work out what begins with = + - @.

    Source: OWASP, "CSV Injection". Quoting is the writer's business.
    """
    shown = line(text)
    return f"'{shown}" if shown.startswith(("=", "+", "-", "@")) else shown


# ---- workflow commands


def command_data(*texts: str) -> str:
    """Texts as lines of a workflow command's message, in the escapes of GitHub's documentation of these commands."""
    return "%0A".join(line(text).replace("%", "%25") for text in texts)


def command_property(text: str) -> str:
    """A text as the value of a workflow command's property."""
    return command_data(text).replace(":", "%3A").replace(",", "%2C")


# ---- Markdown

_PUNCTUATION: Final = r"""(?P<markup>[\\`*{}\[\]<>|~&] | (?<![^\W_])_ | _(?![^\W_]))
    | (?P<money>\$)                     # encloses formulas in some readers, where a backslash does not help
    | (?P<apart>                        # becomes a link, a mention or an emoji, wherever it stands; a comment cuts it
        @(?=\w) | \#(?=\d) | :(?=\S) | (?<!\w)(?:gh|cve|ghsa)-(?=\w) | www(?=\.))
    | (?P<revision>(?<!\w)[0-9a-f]{7,40}(?!\w))
    | (?P<hash>\#)
    | (?P<start>^(?:[-+=]|\d+[.)]))     # begins a list, an underlining or a rule
    """


def markdown(text: str) -> str:
    """A text within a paragraph of Markdown (CommonMark, and GitHub's extensions of it), in which nothing is markup.

    CommonMark 0.31, sections 2.4 (backslashes) and 6.6 (comments). What readers make links, mentions and emoji of is
    from memory.
    """
    shown = re.sub(_PUNCTUATION, _plain, " ".join(line(text).split()), flags=re.VERBOSE | re.IGNORECASE)
    return shown or "<!-- -->"  # else signs around it would come together


def _plain(result: re.Match[str]) -> str:
    text = result[0]
    match result.lastgroup:
        case "money":
            return "&#36;"
        case "apart":
            return ("\\" if text == "#" else "") + text + "<!-- -->"
        case "revision":
            return "<!-- -->".join(text[place : place + 6] for place in range(0, len(text), 6))
        case "start":
            return text[:-1] + "\\" + text[-1]
        case _:
            return "\\" + text


def markdown_code(text: str) -> str:
    """A text as a code span of Markdown (CommonMark 0.31, section 6.1); an empty one as a span with a blank."""
    shown = line(text)
    longest = max((len(run) for run in re.findall("`+", shown)), default=0)
    fence = "`" * (longest + 1)
    pad = " " if not shown.strip(" ") or "`" in (shown[0], shown[-1]) or shown[0] == shown[-1] == " " else ""
    return f"{fence}{pad}{shown}{pad}{fence}"


def markdown_target(path: str) -> str:
    """A relative path as the target of a link of Markdown: percent-encoded (RFC 3986), so that it holds no scheme, no
    blank and no markup (CommonMark 0.31, section 6.3).
    """
    from urllib.parse import quote  # rarely needed, and takes a while to load

    return quote(path, safe="/", errors="surrogateescape")


# ---- XML


# What XML 1.0 has no way to write (section 2.2).
_NOT_IN_XML: Final = "[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]"


def xml_attribute(text: str) -> str:
    """A text that programs read as the value of an attribute, in quotes: what is unsafe as a character reference, so
    that the value stays exact; an escape only for what XML cannot write.
    """
    shown = (
        cell if cell == character or re.match(_NOT_IN_XML, character) else f"&#x{ord(character):X};"
        for character, cell in zip(text, cells(text), strict=True)
    )
    entities = {"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;"}
    return '"' + "".join(entities.get(cell, cell) for cell in shown) + '"'


def xml_document(root: Element) -> str:
    """A document for people, indented, with everything in it made safe."""
    from xml.etree import ElementTree

    for element in root.iter():
        element.attrib.update({name: line(value) for name, value in element.attrib.items()})
        element.text = None if element.text is None else line(element.text)
    ElementTree.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n"


# ---- HTML


def html(text: str) -> str:
    """A text within an element, or within an attribute in quotes, of HTML (HTML Living Standard, section 13.1.2)."""
    entities = {"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;", "'": "&#39;"}
    return "".join(entities.get(character, character) for character in line(text))


# ---- JavaScript


def script_literal(value: object) -> str:
    """A value as JavaScript in ASCII, which is JSON too: in a module or within an element `script` of HTML, which no
    text in it can end (HTML Living Standard, section 4.12.1.3). Raises ValueError for numbers that are not finite.
    """
    return json.dumps(value, allow_nan=False).replace("<", "\\u003c")


# ---- JSON and SARIF


def json_document(document: object) -> str:
    """A document in ASCII, so that any terminal or pipe takes it and nothing in it steers one; texts stay exact.

    Only half a pair of surrogates, which is no character and which strict readers refuse, is shown as its escape.
    """
    text = json.dumps(document, indent=2)
    if "\\ud" in text:
        text = json.dumps(_without_halves(document), indent=2)
    return text.replace("##", "#\\u0023") + "\n"  # reads as the same, and begins no command in a build's log


def _without_halves(value: Any) -> Any:
    if isinstance(value, str):
        return value.encode("utf-8", "backslashreplace").decode("utf-8")
    if isinstance(value, dict):
        return {_without_halves(key): _without_halves(entry) for key, entry in value.items()}
    return [_without_halves(entry) for entry in value] if isinstance(value, list | tuple) else value


def sarif_message(*texts: str) -> str:
    """Texts as lines of a SARIF message (SARIF 2.1.0), without placeholders (3.11.5) and links (3.11.6)."""
    shown = "\n".join(line(text) for text in texts)
    return shown.replace("{", "{{").replace("}", "}}").replace("](", "]\\x28")
