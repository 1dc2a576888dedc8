"""What a layout must keep, looked at anew for every text before it is written.

The new text is read again token by token. What the lexer makes of a place depends on the text from there on and on the
parser's state; as long as each token is the same as before, so is the state, and the parser, which sees nothing but
tokens, builds the same document. So the parser itself need not run again.
"""

from __future__ import annotations

import re
from bisect import bisect_left

from plica.format.formatted import LaidOut
from plica.format.layout import laid_out as laid_out_again
from plica.syntax.lexer import SKIPPED
from plica.syntax.nodes import Comment
from plica.syntax.parser import comments_of
from plica.syntax.parser_tables import lexer
from plica.syntax.structure import Tokens
from plica.units import UNITS

_BLANKS = " \t\f\r\n"
_SAME_LINE = frozenset(" \t\f")
# The signs after a token in the old and in the new text with which it ends alike: blanks, and signs after which no
# terminal goes on, whatever comes then. After all others the lexer is asked.
_NOTHING_GOES_ON = frozenset([*(old + new for old in _BLANKS for new in _BLANKS), ",,", "((", "))"])
# What stands between two tokens: a comment among it ends with its line, so that no token can begin inside it. Nothing
# that was taken is given back: a run of blanks can be divided in one way only.
_BETWEEN = re.compile(r"(?:[ \t\f\r\n]++|//[^\n]*+\n)*+")
_UNITS_BEGIN = frozenset(unit[0] for unit in UNITS)


def difference(laid_out: LaidOut) -> str | None:
    """What a layout does not keep, in words; None where it keeps everything.

    Read again it must hold the same tokens, and the same comments after the same tokens (blanks at a comment's end
    aside), so that it is the same document; and it must be its own layout.
    """
    before, text = laid_out.structure, laid_out.text
    tokens = _read_again(laid_out)
    if tokens is None:
        return "the new layout has other words"
    comments = comments_of(text)
    if _placed(comments, tokens) != _placed(before.comments, before.tokens):
        return "the new layout has other comments"
    words = laid_out.words.moved(text, tokens, comments)
    if laid_out_again(before.statements, words, laid_out.done) != text:
        return "a second pass changes the new layout"
    return None


def _read_again(laid_out: LaidOut) -> Tokens | None:
    """The tokens of the new text, where they are those of the old one; else None.

    The lexer is asked for each token that something else comes after than before. Where a blank or the same closing
    sign comes after it in both texts it is enough that the text is the same, because no terminal looks further; but
    for a number, which takes a unit that follows on the same line.
    """
    text, tokens = laid_out.text, laid_out.structure.tokens
    places = _places_again(text, tokens.texts)
    if places is None:
        return None
    starts, ends = places
    old_text, new_text = laid_out.structure.source.text + "\n", text + "\n"
    words, token_at = [*tokens.texts, " "], lexer().token_at
    after = zip(map(old_text.__getitem__, tokens.ends), map(new_text.__getitem__, ends), strict=True)
    for index, (old, new) in enumerate(after):
        if old + new in _NOTHING_GOES_ON:
            kind = tokens.kinds[index]
            if kind != "QUANTITY" or new not in _SAME_LINE or _takes_no_unit(words[index], words[index + 1]):
                continue
        token = token_at(text, starts[index], len(text), tokens.states[index])
        if token != words[index] or token.type != tokens.kinds[index]:
            return None
    return Tokens(tokens.kinds, tokens.texts, starts, ends, tokens.states)


def _places_again(text: str, words: list[str]) -> tuple[list[int], list[int]] | None:
    """Where each word begins and ends in a text that holds these words, comments between them, and nothing else."""
    find = text.find
    starts: list[int] = []
    ends: list[int] = []
    between: set[str] = set()  # what was seen to stand between tokens; there are few, whatever the text's length
    end = 0
    for word in words:
        start = find(word, end)
        if start < 0:
            return None
        passed = text[end:start]
        if passed not in between:
            if _BETWEEN.fullmatch(passed):
                between.add(passed)
            else:  # it may have been found inside a comment
                start = SKIPPED.match(text, end).end()  # type: ignore[union-attr]  # it matches the empty text too
                if not text.startswith(word, start):
                    return None
        end = start + len(word)
        starts.append(start)
        ends.append(end)
    return (starts, ends) if SKIPPED.match(text, end).end() == len(text) else None  # type: ignore[union-attr]


def _takes_no_unit(number: str, following: str) -> bool:
    """Whether a number before a blank is sure not to take the next word of the text for its unit."""
    return following[0] not in _UNITS_BEGIN or not number[-1].isdigit()


def _placed(comments: tuple[Comment, ...], tokens: Tokens) -> list[tuple[int, str]]:
    """Comments with the number of tokens before them."""
    return [(bisect_left(tokens.starts, comment.start), comment.text.rstrip()) for comment in comments]
