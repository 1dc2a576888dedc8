"""The language reference, looked up by a word where it stands: what hovering over a keyword tells."""

from __future__ import annotations

import re
from functools import cache
from pkgutil import get_data
from typing import NamedTuple

_ROW = re.compile(r"^\| (`.+?`(?:, `[^`]+`)*) \| (.+) \|$")
_HEADING = re.compile(r"^(##+) (.+)$")
_LINK = re.compile(r"\[([^]]+)\]\([^)]*\)")
_LITERALS = re.compile(r"[a-z]+(?:-[a-z]+)*")
_WORD_OF = {"readings": "reads", "The character": "character"}  # headings that are not the word itself
FACTS_OF_ALL = "Facts that any declaration may hold"


class ReferenceEntry(NamedTuple):
    """How something is written, and what it means; `under` is the declaration that its section is about."""

    phrase: str
    text: str
    under: str

    @property
    def words(self) -> tuple[str, ...]:
        """The words with which the phrase begins, up to the first part that is filled in."""
        result: list[str] = []
        for part in self.phrase.split():
            if not _LITERALS.fullmatch(part):
                break
            result.append(part)
        return tuple(result)


def explanation(text: str, kinds: tuple[str, ...]) -> ReferenceEntry | None:
    """What the reference says of the word at the start of a text, which goes on as it is written.

    kinds: the declarations that it stands in, the innermost first; what is said of these comes first. Of several
    phrases the one with the most words in common.
    """
    written = tuple(_LITERALS.findall(text[:200]))
    if not written:
        return None
    fitting = [entry for entry in _entries() if entry.words and written[: len(entry.words)] == entry.words]
    own = [entry for entry in fitting if entry.under in (*kinds, "")] or fitting
    return max(own, key=lambda entry: (len(entry.words), entry.under in kinds), default=None)


@cache
def _entries() -> tuple[ReferenceEntry, ...]:
    """Rows of tables that begin with a phrase, facts of all declarations, and the first paragraph of each section."""
    text = (get_data("plica.grammar", "reference.md") or b"").decode("utf-8")
    rows: list[ReferenceEntry] = []
    sections: list[ReferenceEntry] = []
    under = ""
    lines = text.split("\n")
    for number, line in enumerate(lines):
        heading, row = _HEADING.match(line), _ROW.match(line)
        if heading:
            name = heading[2]
            under = name if heading[1] == "##" else under
            paragraph = _paragraph(lines, number + 1)
            for word in re.split(r" and |, ", _WORD_OF.get(name, name)):
                if paragraph and _LITERALS.fullmatch(word):
                    sections.append(ReferenceEntry(word, paragraph, under if heading[1] != "##" else ""))
        elif row:
            rows += [
                ReferenceEntry(phrase, _plain(row[2].strip("| ")), under) for phrase in re.findall(r"`([^`]+)`", row[1])
            ]
        elif under == FACTS_OF_ALL and (fact := re.match(r"- `([^`]+)`: ", line)):
            whole = _paragraph([line.removeprefix(fact[0]), *lines[number + 1 :]], 0)
            rows.append(ReferenceEntry(fact[1], whole, ""))
    return (*sections, *rows)


def _paragraph(lines: list[str], start: int) -> str:
    """The first paragraph after a heading, as long as it is prose."""
    result: list[str] = []
    for line in lines[start:]:
        if not line.strip():
            if result:
                break
            continue
        if line.startswith(("#", "|", "```", "- ")):
            break
        result.append(line.strip())
    return _plain(" ".join(result))


def _plain(text: str) -> str:
    """Without links: there is nothing that they could lead to."""
    return _LINK.sub(r"\1", text)
