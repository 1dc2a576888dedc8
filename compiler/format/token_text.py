"""The words of a text, and the comments between them."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Sequence
from copy import copy
from typing import NamedTuple

from plica.syntax.nodes import Comment
from plica.syntax.structure import Tokens
from plica.units import UNITS

# TokenText that begin a further part of a fact, which is set off a little.
_CLAUSES = frozenset({"UNDER", "TURNED", "POSED", "AFTER", "OVER"})
_CLAUSES_OF_PLACES = _CLAUSES | {"AT"}
_PLACED = frozenset({"SAMPLE", "JOINT"})  # facts that say where something is with `at`
_NO_BLANK_BEFORE = frozenset({"COMMA", "RPAR", "DOT"})
_NO_BLANK_AFTER = frozenset({"LPAR", "DOT"})
_STARTS_WITH_UNIT = re.compile(rf"(?:{'|'.join(map(re.escape, UNITS))})(?!\w)")


class Remark(NamedTuple):
    """A comment: whether it has a line of its own, and whether a blank line stands before it."""

    text: str
    own_line: bool
    after_blank: bool


class TokenText:
    """The tokens of a document by their index, with the remarks that stand after each of them.

    `after` is keyed by the index of the token before; -1 stands for the file's beginning.
    """

    def __init__(self, text: str, tokens: Tokens, comments: Sequence[Comment]) -> None:
        self.kinds = tokens.kinds
        self.texts = tokens.texts
        self._marks = [index for index, kind in enumerate(tokens.kinds) if kind in _CLAUSES_OF_PLACES]
        self._spaced = [
            text
            if kind in _NO_BLANK_BEFORE or before in _NO_BLANK_AFTER or (kind == "LPAR" and before == "NAME")
            else " " + text
            for text, kind, before in zip(self.texts, tokens.kinds, ["", *tokens.kinds], strict=False)
        ]
        self._place(text, tokens, comments)

    def _place(self, text: str, tokens: Tokens, comments: Sequence[Comment]) -> None:
        self.after = _remarks(text, tokens, comments)
        self._commented = sorted(self.after)
        self._source = text
        self._tokens = tokens
        self._last_remark_ends = {bisect_left(tokens.starts, comment.start) - 1: comment.end for comment in comments}

    def moved(self, text: str, tokens: Tokens, comments: Sequence[Comment]) -> TokenText:
        """The same words where they stand in another text, with the remarks between them there."""
        result = copy(self)
        result._place(text, tokens, comments)
        return result

    @property
    def remarks(self) -> dict[int, list[tuple[str, bool]]]:
        """The remarks by the token before, without what is said of blank lines."""
        return {index: [(remark.text, remark.own_line) for remark in result] for index, result in self.after.items()}

    def __len__(self) -> int:
        return len(self.kinds)

    def has_remark(self, first: int, last: int) -> bool:
        """Whether a remark stands after one of the tokens from `first` to before `last`."""
        place = bisect_left(self._commented, first)
        return place < len(self._commented) and self._commented[place] < last

    def trailing(self, index: int) -> str:
        """The comment on the same line after a token, or no text."""
        remarks = self.after.get(index)
        return remarks[0].text if remarks and not remarks[0].own_line else ""

    def standing(self, index: int) -> list[Remark]:
        """The comments on lines of their own after a token."""
        remarks = self.after.get(index, [])
        return remarks[1:] if remarks and not remarks[0].own_line else remarks

    def follows_blank(self, index: int) -> bool:
        """Whether a blank line stands right before a token."""
        if index == 0:
            before = self._last_remark_ends.get(-1, 0)
        else:
            before = self._last_remark_ends.get(index - 1) or self._tokens.ends[index - 1]
        return self._source.count("\n", before, self._tokens.starts[index]) > 1

    def swallows(self, index: int) -> bool:
        """Whether a token would be taken for the unit of the number before it if both stood on one line."""
        return (
            self.kinds[index - 1] == "QUANTITY"
            and self.texts[index - 1][-1].isdigit()
            and _STARTS_WITH_UNIT.match(self.texts[index]) is not None
        )

    def text(self, first: int, end: int) -> str:
        """The tokens from `first` to before `end` on one line."""
        if end - first < 2:
            return self.texts[first] if end > first else ""
        return self.texts[first] + "".join(self._spaced[first + 1 : end])

    def clauses(self, first: int, end: int) -> list[int]:
        """Where the parts of a fact begin that are set off; the first part's place is not among them."""
        kinds = self.kinds
        place = bisect_left(self._marks, first + 1)
        if place == len(self._marks) or self._marks[place] >= end:
            return []
        result = self._marks[place : bisect_left(self._marks, end, place)]
        return result if kinds[first] in _PLACED else [index for index in result if kinds[index] in _CLAUSES]

    def breaks(self, first: int, end: int) -> list[int]:
        """The commas among some tokens after which a line may end: all but those between a vector's components."""
        result: list[int] = []
        in_vector = False
        for index in range(first, end - 1):
            kind = self.kinds[index]
            if kind == "LPAR":
                in_vector = self.kinds[index - 1] != "NAME"
            elif kind == "RPAR":
                in_vector = False
            elif kind == "COMMA" and not in_vector:
                result.append(index)
        return result


def _remarks(text: str, tokens: Tokens, comments: Sequence[Comment]) -> dict[int, list[Remark]]:
    after: dict[int, list[Remark]] = {}
    end_of_last = 0
    for comment in comments:
        index = bisect_left(tokens.starts, comment.start) - 1
        before = max(end_of_last, tokens.ends[index] if index >= 0 else 0)
        lines = text.count("\n", before, comment.start)
        own_line = lines > 0 or index < 0
        after.setdefault(index, []).append(Remark(comment.text.rstrip(), own_line, lines > 1))
        end_of_last = comment.end
    return after
