"""Folds that fire together over each other."""

from __future__ import annotations

import numpy as np

from plica.diagnostics import Diagnostics
from plica.texture.overlap import find_overlap, report_overlap

LEFT, RIGHT, MIDDLE = np.zeros((4, 8)), np.zeros((4, 8)), np.zeros((4, 8))
LEFT[:, :4], RIGHT[:, 4:], MIDDLE[:, 3:5] = 1.0, 1.0, 0.5
MASKS = {"left": LEFT, "right": RIGHT, "middle": MIDDLE}


def test_masks_side_by_side_do_not_overlap() -> None:
    assert find_overlap({"left": LEFT, "right": RIGHT}, [{"left": 1.0, "right": 1.0}]) is None
    assert find_overlap({}, [{}]) is None
    assert find_overlap(MASKS, []) is None


def test_only_folds_that_fire_together_count() -> None:
    assert find_overlap(MASKS, [{"left": 1.0}, {"middle": 1.0}, {"left": 0.5, "middle": 1.0}]) is None
    overlap = find_overlap(MASKS, [{"left": 1.0}, {"left": 0.75, "middle": 1.0}, {"middle": 1.0}])
    assert overlap is not None
    assert (overlap.worst, overlap.pose, overlap.folds) == (1.25, 1, ("left", "middle"))
    assert overlap.share == 4 / 32
    assert overlap.texel == (0, 3)


def test_the_worst_place_over_all_poses_and_the_share_of_all() -> None:
    poses = [{"left": 1.0, "middle": 0.5}, {"right": 1.0, "middle": 1.0}]
    overlap = find_overlap(MASKS, poses)
    assert overlap is not None
    assert (overlap.worst, overlap.pose, overlap.texel, overlap.share) == (1.5, 1, (0, 4), 8 / 32)
    assert find_overlap(MASKS, poses, limit=1.5) is None


def test_what_rounding_adds_does_not_count() -> None:
    halves = {"a": np.full((2, 2), 128 / 255), "b": np.full((2, 2), 128 / 255)}
    assert find_overlap(halves, [{"a": 1.0, "b": 1.0}]) is None


def test_large_masks_are_taken_in_pieces(monkeypatch: object) -> None:
    random = np.random.default_rng(5)
    masks = {name: random.random((32, 32)) for name in "abc"}
    poses = [dict(zip("abc", random.random(3), strict=True)) for _ in range(9)]
    whole = find_overlap(masks, poses)
    sums = np.stack([sum(masks[name] * pose[name] for name in "abc") for pose in poses])
    assert whole is not None and np.isclose(whole.worst, sums.max())
    assert whole.pose == sums.reshape(9, -1).max(axis=1).argmax()
    assert whole.share == ((sums > 1.0 + 1.0 / 255.0).any(axis=0)).mean()
    monkeypatch.setattr("plica.texture.overlap._TEXELS_AT_ONCE", 100)  # type: ignore[attr-defined]
    assert find_overlap(masks, poses) == whole


def test_the_diagnostic() -> None:
    found = Diagnostics()
    report_overlap(None, "fur", None, found)
    assert found.all == ()
    report_overlap(find_overlap(MASKS, [{"right": 1.0, "middle": 1.0}]), "fur", None, found)
    assert [each.name for each in found.all] == ["folds-overlap"]
    assert "`right`, `middle` together reach 1.50 at row 0, column 4" in found.all[0].message
