"""Several mistakes of one file in one run: a text that does not parse is cut into its declarations.

Each declaration is parsed on its own, so that every one that is wrong is reported, and the others are
kept for the editor. `each` blocks are cut at their head, because what they hold are declarations too.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from plica.named_tuples import NamedTuple

# What cuts a text is compiled where it is used, and kept by `re`: a text without mistakes is not cut.
#
# A declaration starts a line or follows a brace; `curve` and `control` are also facts, and `pose` stands in a list of
# what an expectation goes over, so these need what distinguishes them.
_START = r"""(?:^|(?<=[{}]))[ \t]*
    (?P<word>
        (?:override[ \t]+)?(?:character|region|driver|field|shape|detail|fold|combine|each|parameter)\b
      | (?:\w+[ \t]+){2,3}in\b(?=[^\n{}]*\{)
      | use[ \t]+["“'\w./]
      | expect\b(?=[ \t]*(?:both\b|left\b|right\b|[({]|[a-z]+[ \t]+of\b))
      | (?:override[ \t]+)?control\b(?=[ \t]+\w+[ \t]*(?:both\b|left\b|right\b)?[ \t]*[({])
      | override[ \t]+pose\b
      | pose\b(?=[ \t]+\w+[ \t]*(?:both\b|left\b|right\b)?[ \t]*\{)
      | curve\b(?=[ \t]+\w+[ \t]*=)
      | [^\W\d]\w*+[ \t]+(?!with\b)\w++[ \t]*+(?:(?:both|left|right)[ \t]*+)?\{
    )"""
# Placeholders look like blocks that hold one word; the facts that are one word are told apart here.
_HIDDEN = re.compile(
    r"""(?P<text>"(?:[^"\\\n]++|\\.)*+")
      | (?P<comment>//[^\n]*)
      | (?P<placeholder>\{(?!(?:unclamped|rest|partition|budget|even)\})[^\W\d]\w*\})""",
    re.VERBOSE,
)
_FAMILY = r"each\b|(?:\w+[ \t]+){2,3}in\b(?=[^\n{}]*\{)"  # also with another word where `each` belongs
_WITH_BLOCK = r"(?:override[ \t]+)?(?:character|region|driver|field|shape|detail|fold|control|pose)\b"


class TextPiece(NamedTuple):
    """A stretch of text to be parsed alone with a start rule; `is_head` for the head of an `each`."""

    start: int
    end: int
    is_head: bool


class StrayBrace(NamedTuple):
    """A `}` that closes nothing."""

    offset: int


class CloseEach(NamedTuple):
    """The `}` of the innermost open `each`."""

    offset: int


class OpenEach(NamedTuple):
    """An `each` whose block is never closed."""

    offset: int


Event = TextPiece | StrayBrace | CloseEach | OpenEach


def blanked(text: str) -> str:
    """The text without what could be taken for structure, offsets unchanged.

    Comments and the insides of quoted texts become spaces, placeholders become letters of a name.
    """

    def blank(match: re.Match[str]) -> str:
        length = len(match[0])
        if match.lastgroup == "text":
            return '"' + " " * (length - 2) + '"'
        return (" " if match.lastgroup == "comment" else "_") * length

    return _HIDDEN.sub(blank, text)


def deepest(bare: str) -> tuple[int, int]:
    """How deep braces and parentheses nest in a blanked text, and the offset where they are deepest."""
    depth = most = place = 0
    for match in re.finditer(r"[{}()]", bare):
        if match[0] in "{(":
            depth += 1
            if depth > most:
                most, place = depth, match.start()
        else:
            depth = max(0, depth - 1)
    return most, place


def _trimmed(bare: str, start: int, end: int) -> int:
    """The end of the text between two offsets without the blanks at its end."""
    while end > start and bare[end - 1].isspace():
        end -= 1
    return end


def _surplus_brace(bare: str, start: int, end: int) -> int | None:
    """The offset of the first `}` of the piece that closes nothing opened in it."""
    depth = 0
    for match in re.compile(r"[{}]").finditer(bare, start, end):
        depth += 1 if match[0] == "{" else -1
        if depth < 0:
            return match.start()
    return None


def _end_of(bare: str, start: int, end: int) -> int:
    """Where the declaration at `start` ends: before the first `}` that is not its own.

    A declaration that has facts but no `{` keeps its `}`, so that one mistake is not reported as two.
    """
    surplus = _surplus_brace(bare, start, end)
    if surplus is None:
        return end
    lacks_opening = re.compile(_WITH_BLOCK).match(bare, start) and "{" not in bare[start:surplus]
    if lacks_opening and len(bare[start:surplus].split()) > 4:
        return surplus + 1
    return surplus


def pieces(bare: str, after: int) -> Iterator[Event]:
    """Cut a blanked text from `after` on into declarations, in order."""
    starts = [match.start("word") for match in re.compile(_START, re.MULTILINE | re.VERBOSE).finditer(bare, after)]
    first = starts[0] if starts else len(bare)
    open_heads: list[int] = []
    if bare[after:first].strip():
        yield from _between(bare, after, first, open_heads)
    for index, start in enumerate(starts):
        end = starts[index + 1] if index + 1 < len(starts) else len(bare)
        if re.compile(_FAMILY).match(bare, start):
            open_heads.append(start)
            brace = bare.find("{", start, end)
            piece_end = brace + 1 if brace >= 0 else end
            yield TextPiece(start, _trimmed(bare, start, piece_end), True)
        else:
            piece_end = _end_of(bare, start, end)
            yield TextPiece(start, _trimmed(bare, start, piece_end), False)
        yield from _between(bare, piece_end, end, open_heads)
    for offset in open_heads:
        yield OpenEach(offset)


def _between(bare: str, start: int, end: int, open_heads: list[int]) -> Iterator[Event]:
    """What stands between two declarations: closing braces, and text that is none of ours."""
    for match in re.compile(r"\S").finditer(bare, start, end):
        offset = match.start()
        if match[0] != "}":
            yield TextPiece(offset, _trimmed(bare, offset, end), False)
            return
        if open_heads:
            open_heads.pop()
            yield CloseEach(offset)
        else:
            yield StrayBrace(offset)
