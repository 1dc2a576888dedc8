"""The parser answers long texts and cut ones with a document and diagnostics, in reasonable time, and never raises.

Time is the processor's, which does not depend on what else a machine does.
"""

from __future__ import annotations

import random
import time

import pytest

from plica.diagnostics import Diagnostics
from plica.diagnostics.text import render
from plica.source import Source
from plica.syntax.nodes import Document
from plica.syntax.parser import parse
from tests.fuzz.good import GOOD

SECONDS = 20.0  # generous: processors differ, but a search that grows with the square would take far longer
LENGTH = 300_000


def parsed(text: str) -> tuple[Document, Diagnostics]:
    diagnostics = Diagnostics()
    document = parse(Source("fuzz.plica", text), diagnostics)
    for diagnostic in diagnostics.all:
        assert diagnostic.span is not None
        assert 0 <= diagnostic.span.start <= diagnostic.span.end <= len(text)
    render(diagnostics.all)
    return document, diagnostics


def test_the_text_that_is_mutated_is_good() -> None:
    document, result = parsed(GOOD)
    assert result.all == ()
    assert len(document.declarations) == 19


def test_a_text_cut_anywhere_never_raises() -> None:
    for end in range(0, len(GOOD), 17):
        _, result = parsed(GOOD[:end])
        document, _ = parsed(GOOD[end:])
        assert result.all or end > 0
        assert document.source.text == GOOD[end:]


@pytest.mark.parametrize(
    "unit",
    ["{", "}", "(", "each f in a {\n", "sum(", '"', "// ", "driver ", "\0", "x", "region a { skn of b }\n",
     "region a {\n", "each x in y {}\n", "}\n", "手", "1 deg ", " ", "\n", "curve 0 0, ", "{f}"],
)  # fmt: skip
def test_a_long_text_of_anything_is_answered_soon(unit: str) -> None:
    text = "plica 1\n" + unit * (LENGTH // len(unit))
    start = time.process_time()
    parsed(text)
    assert time.process_time() - start < SECONDS


def test_long_noise_is_answered_soon() -> None:
    chance = random.Random(1)
    text = "plica 1\n" + "".join(chr(chance.randrange(1, 0xD7FF)) for _ in range(LENGTH))
    start = time.process_time()
    _, result = parsed(text)
    assert time.process_time() - start < SECONDS
    assert result.has_errors


def test_one_mistake_in_a_long_file_is_one_report_and_keeps_the_rest() -> None:
    text = "plica 1\n" + "".join(f"region r{n} {{ skin of joint_{n} }}\n" for n in range(3000))
    broken = text.replace("skin of joint_1500 ", "skn of joint_1500 ")
    start = time.process_time()
    document, result = parsed(broken)
    assert time.process_time() - start < SECONDS
    assert [diagnostic.name for diagnostic in result.all] == ["unexpected-text"]
    assert len(document.declarations) == 2999
