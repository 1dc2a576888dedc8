"""The parser answers any text at all with a document and diagnostics, in reasonable time, and never raises."""

from __future__ import annotations

import random
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plica.diagnostics import Diagnostics
from plica.diagnostics.text import render
from plica.source import Source
from plica.syntax.nodes import Document
from plica.syntax.parser import parse

# One of everything, so that mutations reach every rule of the grammar.
GOOD = """plica 1
// Wren, who runs the river post
character wren "Wren" {
    geometry  "wren.glb" mesh "skin"
    skeleton {
        joint root at 0 mm, 0 mm, 0 mm
        joint arm_lf under root at 10 mm, 0 mm, 0 mm turned about x 20 deg
    }
    symmetry  across x at 0 mm
    left      "*_lf"
    right     "*_rt"
    pair      left_eye, right_eye
    alias     "Arm" = arm_lf
}
use "library/hand.plica" as hand with { fingers = index, middle  count = 1 .. 4 }
parameter curl = 80 deg { note "how far a finger bends" }
curve half = 0 0, 0.5 0.35, 1 1
region forearm both { skin of lowerarm and below  feather 12 mm }
region brow { painted "masks/brow.png" uv "skin" }
region both_of_them { union of forearm, brow }
driver elbow both {
    reads  rotation about x of lowerarm
    span   0 deg .. 130 deg
    curve  0 0, 0.5 0.35, 1 1
}
driver gap { reads gap of hand from arm  span 0 mm .. 40 mm  curve bezier 0.2 0 0.8 1  unclamped }
control mood { range 0 .. 1  rest 0 }
field shoulder both {
    reads rotation of upperarm
    sample raised at about z 90 deg, about x 10 deg
    kernel gaussian 40 deg
}
each finger in index, middle, {prefix}_little {
    driver {finger}_base both { reads rotation about (0.2, 1, 0) in parent of {finger}_1  span 0 deg .. {curl} }
    shape {finger}_knuckle both { sculpt "s/{finger}.npz" posed at elbow 1  follows {finger}_base }
}
combine fist both = product(index_base, least(middle_base, elbow))
override driver elbow left { span 0 deg .. 120 deg }
detail fur { relaxed "r.png"  contracted "c.png"  uv "skin"  budget 2 MiB }
fold muzzle both { in fur  area brow  follows elbow }
expect both { volume of forearm within 4 %  over elbow }
expect { clearance of forearm from brow at least 0.5 mm  over clip "clips/rounds.glb" }
expect {rest}
"""
SCRAPS = [
    "{", "}", "(", ")", ",", "=", "..", '"', "//", "\n", " ", "\0", "\ud800", "\ufeff", "é", "手", "0", "-1e9",
    "deg", "both", "each", "driver", "region", "{x}", "use ", "\\", "\r", "1 ", "plica 1", "expect {", "🦦",
]  # fmt: skip
SECONDS = 20.0  # generous: a machine may be busy, but a search that grows with the square would take far longer


def parsed(text: str) -> tuple[Document, Diagnostics]:
    found = Diagnostics()
    document = parse(Source("fuzz.plica", text), found)
    for diagnostic in found.all:
        assert diagnostic.span is not None
        assert 0 <= diagnostic.span.start <= diagnostic.span.end <= len(text)
    render(found.all)
    return document, found


def test_the_text_that_is_mutated_is_good() -> None:
    document, found = parsed(GOOD)
    assert found.all == ()
    assert len(document.declarations) == 19


@pytest.mark.parametrize("seed", range(8))
def test_random_mutations_never_raise(seed: int) -> None:
    chance = random.Random(seed)
    for _ in range(40):
        text = GOOD
        for _ in range(chance.randint(1, 6)):
            at = chance.randrange(len(text) + 1)
            cut = chance.choice([0, 0, 1, 1, 5, 40])
            text = text[:at] + chance.choice([*SCRAPS, ""]) + text[at + cut :]
        parsed(text)


def test_a_text_cut_anywhere_never_raises() -> None:
    for end in range(0, len(GOOD), 17):
        _, found = parsed(GOOD[:end])
        document, _ = parsed(GOOD[end:])
        assert found.all or end > 0
        assert document.source.text == GOOD[end:]


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=300))
def test_any_text_never_raises(text: str) -> None:
    parsed(text)
    parsed("plica 1\n" + text)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.sampled_from(SCRAPS), max_size=60))
def test_any_order_of_scraps_never_raises(scraps: list[str]) -> None:
    parsed("plica 1\n" + "".join(scraps))
    parsed("plica 1\n" + " ".join(scraps))


@pytest.mark.parametrize(
    "unit",
    ["{", "}", "(", "each f in a {\n", "sum(", '"', "// ", "driver ", "\0", "x", "region a { skn of b }\n",
     "region a {\n", "each x in y {}\n", "}\n", "手", "1 deg ", " ", "\n", "curve 0 0, ", "{f}"],
)  # fmt: skip
def test_a_megabyte_of_anything_is_answered_soon(unit: str) -> None:
    text = "plica 1\n" + unit * (1_000_000 // len(unit))
    start = time.perf_counter()
    parsed(text)
    assert time.perf_counter() - start < SECONDS


def test_a_megabyte_of_noise_is_answered_soon() -> None:
    chance = random.Random(1)
    text = "plica 1\n" + "".join(chr(chance.randrange(1, 0xD7FF)) for _ in range(1_000_000))
    start = time.perf_counter()
    _, found = parsed(text)
    assert time.perf_counter() - start < SECONDS
    assert found.has_errors


def test_one_mistake_in_a_long_file_is_one_report_and_keeps_the_rest() -> None:
    text = "plica 1\n" + "".join(f"region r{n} {{ skin of joint_{n} }}\n" for n in range(3000))
    broken = text.replace("skin of joint_1500 ", "skn of joint_1500 ")
    start = time.perf_counter()
    document, found = parsed(broken)
    assert time.perf_counter() - start < SECONDS
    assert [diagnostic.name for diagnostic in found.all] == ["unexpected-text"]
    assert len(document.declarations) == 2999
