"""What a layout must keep, looked at anew for every text before it is written.

The new text is read again token by token. What the lexer makes of a place depends on the text from there on and on the
parser's state; as long as each token is the same as before, so is the state, and the parser, which sees nothing but
tokens, builds the same document. So the parser itself need not run again.
"""

from __future__ import annotations

from bisect import bisect_left

from plica.format.formatted import LaidOut
from plica.format.layout import laid_out as laid_out_again
from plica.syntax.lexer import SKIPPED
from plica.syntax.nodes import Comment
from plica.syntax.parser import Tokens, comments_of
from plica.syntax.tables import lexer

_BLANKS = " \t\f\r\n"
_SAME_LINE = " \t\f"
_NUMBERS = "0123456789."
# After these no terminal goes on, whatever comes then; after other signs the lexer is asked.
_CLOSING = ",()"


def difference(laid_out: LaidOut) -> str | None:
    """What a layout does not keep, in words; None where it keeps everything.

    Read again it must hold the same tokens, and the same comments after the same tokens (blanks at a comment's end
    aside), so that it is the same document; and it must be its own layout.
    """
    tokens = _read_again(laid_out)
    if tokens is None:
        return "the new layout has other words"
    comments = comments_of(laid_out.text)
    if _placed(comments, tokens) != _placed(laid_out.document.comments, laid_out.tokens):
        return "the new layout has other comments"
    words = laid_out.words.moved(laid_out.text, tokens, comments)
    if laid_out_again(laid_out.statements, words, laid_out.done) != laid_out.text:
        return "a second pass changes the new layout"
    return None


def _read_again(laid_out: LaidOut) -> Tokens | None:
    """The tokens of the new text, where they are those of the old one; else None.

    The lexer is asked for each token that something else comes after than before. Where a blank or the same closing
    sign comes after it in both texts it is enough that the text is the same, because no terminal looks further; but
    for a number, which takes a unit that follows on the same line.
    """
    text, before = laid_out.text, laid_out.document.source.text + "\n"
    after = text + "\n"
    tokens, token_at, skipped = laid_out.tokens, lexer().token_at, SKIPPED.match
    starts: list[int] = []
    ends: list[int] = []
    end = 0
    for kind, word, stood, state in zip(tokens.kinds, laid_out.words.texts, tokens.ends, tokens.states, strict=True):
        start = skipped(text, end).end()  # type: ignore[union-attr]  # it matches the empty text too
        end = start + len(word)
        old, new = before[stood], after[end : end + 1]
        alike = (old in _BLANKS and new in _BLANKS) or (old == new and old in _CLOSING)
        if alike and not (kind == "QUANTITY" and new in _SAME_LINE and word[-1] in _NUMBERS):
            if not text.startswith(word, start):
                return None
        elif start >= len(text) or (token := token_at(text, start, state)) != word or token.type != kind:
            return None
        starts.append(start)
        ends.append(end)
    if skipped(text, end).end() != len(text):  # type: ignore[union-attr]
        return None
    return Tokens(tokens.kinds, starts, ends, tokens.states)


def _placed(comments: tuple[Comment, ...], tokens: Tokens) -> list[tuple[int, str]]:
    """Comments with the number of tokens before them."""
    return [(bisect_left(tokens.starts, comment.start), comment.text.rstrip()) for comment in comments]
