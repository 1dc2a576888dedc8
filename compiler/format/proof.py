"""What a layout must keep, looked at anew for every text before it is written."""

from __future__ import annotations

from typing import Any

from plica.diagnostics import Diagnostics
from plica.format.formatted import LaidOut, lay_out
from plica.source import Source


def difference(laid_out: LaidOut) -> str | None:
    """What a layout does not keep, in words; None where it keeps everything.

    Read again it must hold the same tokens and the same comments in the same order (blanks at a comment's end
    aside), give the same document but for places, and be its own layout.
    """
    found = Diagnostics()
    again = lay_out(Source(laid_out.document.source.path, laid_out.text), found)
    if again is None:
        return "the new layout does not parse"
    if laid_out.tokens.kinds != again.tokens.kinds or _words(laid_out) != _words(again):
        return "the new layout has other words"
    if _comments(laid_out) != _comments(again):
        return "the new layout has other comments"
    if not same_but_for_places(laid_out.document.declarations, again.document.declarations):
        return "the new layout means something else"
    if again.text != laid_out.text:
        return "a second pass changes the new layout"
    return None


def same_but_for_places(one: Any, other: Any) -> bool:
    """Whether two syntax nodes, or tuples of them, are equal but for their offsets, which are a node's last fields."""
    if not isinstance(one, tuple):
        return bool(one == other)
    if type(one) is not type(other) or len(one) != len(other):
        return False
    values, others = (one, other) if type(one) is tuple else (one[:-2], other[:-2])
    return all(same_but_for_places(value, fellow) for value, fellow in zip(values, others, strict=True))


def _words(laid_out: LaidOut) -> list[str]:
    text, tokens = laid_out.document.source.text, laid_out.tokens
    return [text[start:end] for start, end in zip(tokens.starts, tokens.ends, strict=True)]


def _comments(laid_out: LaidOut) -> list[str]:
    return [comment.text.rstrip() for comment in laid_out.document.comments]
