"""Positions as in the Language Server Protocol 3.17: UTF-16 columns, three kinds of line ends."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from plica.editor.positions import Lines, Position, TextChange, changed

TEXTS = st.text(st.sampled_from("ab\n\r\u00e9\U0001f9a6 "), max_size=30)


@given(TEXTS)
def test_columns_are_those_of_the_utf16_codec(text: str) -> None:
    """Outside check: Python's own codec counts the code units."""
    lines = Lines(text)
    for offset in range(len(text) + 1):
        line, column = lines.position(offset)
        start = lines.offset(Position(line, 0))
        assert column == len(text[start:offset].encode("utf-16-le")) // 2


@given(TEXTS)
def test_an_offset_comes_back_from_its_position(text: str) -> None:
    lines = Lines(text)
    for offset in range(len(text) + 1):
        inside_an_end = text[offset - 1 : offset] == "\r" and text[offset : offset + 1] == "\n"
        if not inside_an_end:
            assert lines.offset(lines.position(offset)) == offset


def test_the_protocols_own_example() -> None:
    """LSP 3.17, "Text Documents": in `a\U00010400b` the character b stands at column 3."""
    assert Lines("a\U00010400b").position(2) == Position(0, 3)
    assert Lines("a\U00010400b").offset(Position(0, 3)) == 2


def test_changes_follow_one_another() -> None:
    changes = [
        TextChange(Position(0, 1), Position(0, 3), ""),
        TextChange(Position(0, 1), Position(0, 1), "\n"),
        TextChange(Position(9, 0), Position(9, 0), "!"),
    ]
    assert changed("a\U0001f9a6b", changes) == "a\nb!"
