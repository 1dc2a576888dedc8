"""Which masks share a texture."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from plica.kinds.readings import ControlValue
from plica.rig.rig import Character, Rig
from plica.rig.strengths import Combination, Combine, Driver, StrengthOf
from plica.rig.surfaces import Fold
from plica.texture.packing import Bin, PackingRequest, drivers_of, packed
from plica.values import LINEAR, Side

KIND = ("fur", "TEXCOORD_0")


def rig(*strengths: Driver | Combine) -> Rig:
    return Rig(Character("wren", "", None, 0.0), (), strengths=strengths)


def driver(name: str) -> Driver:
    return Driver(name, "none", name, ControlValue("c"), (0.0, 1.0), True, LINEAR)


def one(
    declared: str, size: int, side: Side = "none", follows: str | None = None, kind: tuple[str, str] = KIND
) -> PackingRequest:
    name = declared if side == "none" else f"{side}_{declared}"
    return PackingRequest(Fold(name, side, declared, kind[0], "area", follows, 0.01), kind, size)


def both(declared: str, left: int, right: int, follows: str | None = None) -> list[PackingRequest]:
    return [one(declared, right, "right", follows), one(declared, left, "left", follows)]


def folds(bins: Sequence[Bin]) -> list[tuple[str, ...]]:
    return [texture.folds for texture in bins]


def test_sides_stand_side_by_side_at_the_larger_size() -> None:
    bins = packed(rig(), [*both("b", 64, 128), *both("a", 64, 64)], 4)
    assert bins == (Bin(KIND, 128, ("left_b", "right_b", "left_a", "right_a")),)


def test_a_pair_is_not_torn_apart() -> None:
    wanted = [*both("a", 64, 64), one("b", 64), *both("c", 64, 64), one("d", 64), one("e", 64)]
    for texture in packed(rig(), wanted, 4):
        for pair in ("a", "c"):
            assert (f"left_{pair}" in texture.folds) == (f"right_{pair}" in texture.folds)
    assert sum(len(texture.folds) for texture in packed(rig(), wanted, 4)) == 7
    assert len(packed(rig(), wanted, 4)) == 2


def test_one_channel_gives_each_mask_a_texture() -> None:
    bins = packed(rig(), [*both("a", 64, 32), one("b", 16)], 1)
    assert sorted((texture.folds, texture.size) for texture in bins) == [
        (("b",), 16),
        (("left_a",), 64),
        (("right_a",), 64),
    ]


def test_free_channels_take_smaller_masks_only_where_that_costs_no_memory() -> None:
    # Three masks take four channels in memory anyway, so a fourth is free; a single one would grow to four times.
    assert folds(packed(rig(), [one("a", 256), one("b", 256), one("c", 256), one("d", 8)], 4)) == [("a", "b", "c", "d")]
    assert folds(packed(rig(), [one("a", 256), one("b", 8)], 4)) == [("a",), ("b",)]


def test_folds_moved_by_the_same_drivers_follow_each_other() -> None:
    fist = Combine("fist", "none", "fist", Combination("product", (StrengthOf("x"), StrengthOf("y"))))
    known = rig(driver("x"), driver("y"), fist)
    assert drivers_of(known) == {"x": ("x",), "y": ("y",), "fist": ("x", "y")}
    wanted = [
        one("a", 64, follows="y"),
        one("b", 64, follows="x"),
        one("c", 64, follows="y"),
        one("d", 64, follows="x"),
    ]
    assert folds(packed(known, wanted, 2)) == [("b", "d"), ("a", "c")]


def test_details_and_uv_sets_keep_to_themselves() -> None:
    bins = packed(rig(), [one("a", 64), one("b", 64, kind=("fur", "other")), one("c", 64, kind=("veins", "other"))], 4)
    assert len(bins) == 3


@pytest.mark.parametrize("channels", [1, 2, 3, 4])
def test_order_does_not_matter_and_nothing_gets_lost(channels: int) -> None:
    wanted = [*both("a", 64, 64), *both("b", 32, 128), one("c", 256), one("d", 4), *both("e", 8, 8)]
    bins = packed(rig(), wanted, channels)
    assert bins == packed(rig(), wanted[::-1], channels)
    assert sorted(name for texture in bins for name in texture.folds) == sorted(each.fold.name for each in wanted)
    assert all(len(texture.folds) <= channels for texture in bins)
    assert all(texture.size >= each.size for each in wanted for texture in bins if each.fold.name in texture.folds)
