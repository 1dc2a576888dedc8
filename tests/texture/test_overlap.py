"""Folds that can be on together over each other, and what details take of memory."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.masks import masks
from plica.kinds.expectations import MASK_ROUNDING
from plica.kinds.readings import ControlValue, Reading, Rotation
from plica.rig.rig import Character, Rig
from plica.rig.strengths import Combination, Combine, Driver, Sample, Strength, StrengthOf
from plica.texture.budgets import detail_memory
from plica.texture.co_activation import independent_alternatives
from plica.texture.mask_set import MaskOptions
from plica.texture.overlap import FoldCover, fold_cover, greatest_sums, possible_overlap
from plica.values import Linear, Points
from tests.support.masks import DETAIL, folded

SMALL = MaskOptions(256)
TURN, BACK = Rotation("head", (0.0, 1.0, 0.0)), Rotation("head", (0.0, -1.0, 0.0))
NOD = Rotation("head", (1.0, 0.0, 0.0))


def rig(*strengths: Strength) -> Rig:
    return Rig(Character("wren", None, None, 1e-4), (), strengths=strengths)


def driver(name: str, reading: Reading, start: float = 0.0, stop: float = 1.0) -> Driver:
    return Driver(name, "none", name, reading, (start, stop), True, Linear())


def combine(name: str, how: str, *parts: str) -> Combine:
    return Combine(name, "none", name, Combination(how, tuple(map(StrengthOf, parts))))  # type: ignore[arg-type]


def cover(*follows: str | None, weights: object = None) -> FoldCover:
    """Folds a, b, ... that follow these strengths; at one place all have weight 1, or at several those given."""
    rows = np.asarray(np.ones((1, len(follows))) if weights is None else weights, np.float32)
    return FoldCover(tuple("abcdef"[: len(follows)]), follows, rows, np.arange(len(rows)) + 7, 100)


def most(known: Rig, *follows: str | None) -> float:
    """How much of as many folds, all over one place, can be on at once."""
    result = possible_overlap(cover(*follows), independent_alternatives(known), -1.0)
    assert result is not None
    return result.worst


# ---- what can be on together


def test_different_readings_can_be_on_together() -> None:
    known = rig(driver("x", TURN), driver("y", NOD), driver("z", ControlValue("lift")))
    assert most(known, "x", "y", "z") == 3.0


def test_two_drivers_on_either_side_of_rest_cannot() -> None:
    assert most(rig(driver("x", TURN, 0.0, 1.0), driver("y", TURN, 0.0, -1.0)), "x", "y") == 1.0
    assert most(rig(driver("x", TURN), driver("y", BACK)), "x", "y") == 1.0


def test_spans_that_overlap_add_up_as_far_as_they_do() -> None:
    """Closed form: x falls from 1 to 0 over 0.5..1 and y rises over 0..1: at 0.5 they are 1 and 0.5."""
    falling = driver("x", TURN, 1.0, 0.5)
    assert most(rig(falling, driver("y", TURN, 0.0, 1.0)), "x", "y") == pytest.approx(1.5)


def test_a_curve_with_its_peak_inside_is_found() -> None:
    peak = Driver("x", "none", "x", TURN, (0.0, 1.0), True, Points(((0.0, 0.0), (0.5, 1.0), (1.0, 0.0))))
    assert most(rig(peak), "x") == 1.0


def test_samples_of_one_field_cannot_be_fully_on_together() -> None:
    one, other = (Sample(name, "none", name, "hip", name) for name in ("front", "side"))
    assert most(rig(one, other), "front", "side") == 1.0


def test_combinations() -> None:
    x, y = driver("x", TURN), driver("y", NOD)
    assert most(rig(x, y, combine("both", "product", "x", "y")), "both", "x") == 2.0
    apart = driver("back", TURN, 0.0, -1.0)
    assert most(rig(x, apart, combine("never", "product", "x", "back")), "never") == 0.0
    assert most(rig(x, apart, combine("least", "least", "x", "back")), "least") == 0.0
    assert most(rig(x, apart, combine("sum", "sum", "x", "back")), "sum", "x") == 2.0
    assert most(rig(x, apart, combine("greatest", "greatest", "x", "back")), "greatest") == 1.0


def test_a_fold_that_follows_nothing_is_off() -> None:
    assert most(rig(driver("x", TURN)), "x", None) == 1.0


# ---- where, and how much


def test_the_worst_place_and_the_share_of_all() -> None:
    known = rig(driver("x", TURN), driver("y", NOD))
    groups = independent_alternatives(known)
    given = cover("x", "y", weights=[[0.5, 0.5], [0.9, 0.8], [0.2, 1.0]])
    result = possible_overlap(given, groups)
    assert result is not None
    assert result.worst == pytest.approx(1.7)
    assert (result.vertex, result.share, result.folds) == (8, 2 / 100, ("a", "b"))
    assert possible_overlap(given, groups, 1.7) is None
    assert possible_overlap(cover("x", "y", weights=np.zeros((0, 2))), groups) is None


def test_what_rounding_adds_does_not_count() -> None:
    groups = independent_alternatives(rig(driver("x", TURN), driver("y", NOD)))
    assert possible_overlap(cover("x", "y", weights=[[128 / 255, 128 / 255]]), groups) is None
    assert possible_overlap(cover("x", "y", weights=[[0.5, 0.5 + 2.0 * MASK_ROUNDING]]), groups) is not None


def test_sums_in_poses(monkeypatch: pytest.MonkeyPatch) -> None:
    random = np.random.default_rng(5)
    weights, strengths = random.random((300, 3)).astype(np.float32), random.random((50, 3))
    given = cover("x", "y", "z", weights=weights)
    expected = strengths @ weights.T.astype(np.float64)
    whole = greatest_sums(given, strengths)
    assert np.allclose(whole.sums, expected.max(axis=1))
    assert (whole.vertices == expected.argmax(axis=1) + 7).all()
    monkeypatch.setattr("plica.texture.overlap._SUMS_AT_ONCE", 700)
    pieces = greatest_sums(given, strengths)
    assert (pieces.sums == whole.sums).all() and (pieces.vertices == whole.vertices).all()
    nothing = greatest_sums(cover("x", weights=np.zeros((0, 1))), np.ones((2, 1)))
    assert (nothing.sums.tolist(), nothing.vertices.tolist()) == ([0.0, 0.0], [-1, -1])


def test_strengths_of_folds_in_poses() -> None:
    assert cover("x", None, "y").strengths([{"x": 0.5}, {"y": 1.0, "z": 1.0}]).tolist() == [[0.5, 0, 0], [0, 0, 1.0]]


# ---- on a character

SKULL = "region skull { skin of head }\nregion face { skin of head feather 10 mm }\n"
NODS = "driver nod { reads rotation about x of head span 5 deg .. 60 deg }\n"


def built(folder: Path, *folds: str) -> tuple[Build, list[str], list[str]]:
    """A character with these folds, and the names and messages of what is told."""
    build = folded(folder, DETAIL + SKULL + NODS + "\n".join(folds) + "\n")
    diagnostics = Diagnostics()
    assert masks(build, diagnostics, SMALL) is not None
    return build, [each.name for each in diagnostics.all], [each.message for each in diagnostics.all]


def test_the_build_tells_folds_that_can_be_on_together(tmp_path: Path) -> None:
    """Two areas of the same skin whose drivers read different turns."""
    build, names, messages = built(
        tmp_path, "fold one { in fur area skull follows turn }", "fold two { in fur area face follows nod }"
    )
    assert names.count("folds-overlap") == 1
    told = messages[names.index("folds-overlap")]
    assert "`one`" in told and "`two`" in told and "can together reach 2.00" in told
    made = masks(build, Diagnostics(), SMALL)
    assert made is not None
    result = fold_cover(build.rig, made, "fur")
    sums = greatest_sums(result, result.strengths([{"turn": 1.0}, {"turn": 1.0, "nod": 1.0}])).sums
    assert sums[0] <= 1.0 + MASK_ROUNDING and sums[1] > 1.99


def test_the_sides_of_a_fold_do_not_overlap(tmp_path: Path) -> None:
    """They share the seam, where both have one half."""
    _, names, _ = built(
        tmp_path,
        "region cheek both { skin of jaw feather 15 mm }",
        "fold one both { in fur area cheek follows turn tolerance 20 % }",
    )
    assert "folds-overlap" not in names


def test_the_memory_of_details(tmp_path: Path) -> None:
    build, _, _ = built(tmp_path, "fold one { in fur area skull follows turn }")
    made = masks(build, Diagnostics(), SMALL)
    assert made is not None
    assert detail_memory(build.rig, made) == (("fur", made.textures[0].memory, 64 * 2**20),)
