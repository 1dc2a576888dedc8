"""Regions that the skin finds: what a spec means by them, and what they weigh on sheets of known strain."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from plica.diagnostics import Diagnostics, Severity
from plica.mesh.arrays import Floats
from plica.mesh.attach import Attached, attach
from plica.mesh.computed_cache import ComputedCache
from plica.mesh.found_areas import exceeded_over
from plica.pipeline import Compiled, compile_file, compile_text
from plica.rig.surfaces import DeformedSkin, JointPose, StrengthPose
from plica.sculpting.posed_mesh import shapes_before
from plica.workspace import Workspace
from tests.support.arms import CHARACTER, ELBOW
from tests.support.sheet import WIDE, sheet, sheet_spec

WIDER = """
shape wider left  { morph "wide_lf"   follows wide }
shape wider right { morph "wide_rt"   follows wide }
shape taller { morph "tall"   follows grown }
control grown { range 0 .. 1 }
driver grown { reads control grown   span 0 .. 1 }
"""


def of_arms(text: str) -> Compiled:
    return compile_text(CHARACTER + ELBOW + text)


def errors(compiled: Compiled) -> list[str]:
    return [found.name for found in compiled.diagnostics if found.severity is Severity.ERROR]


def source(compiled: Compiled, name: str) -> DeformedSkin:
    assert compiled.rig is not None, compiled.diagnostics
    found = next(region.source for region in compiled.rig.regions if region.name == name)
    assert isinstance(found, DeformedSkin)
    return found


def on_sheet(folder: Path, text: str, memory: ComputedCache | None = None) -> tuple[Attached, list[str]]:
    sheet(folder)
    compiled = compile_file(sheet_spec(folder, text))
    assert compiled.rig is not None, compiled.diagnostics
    diagnostics = Diagnostics()
    attached = attach(compiled.rig, Workspace(folder).locate, diagnostics, memory=memory)
    assert attached is not None
    return attached, [found.name for found in diagnostics.all]


# ---- what a spec means


def test_both_sides_are_posed_at_once_and_share_a_source() -> None:
    compiled = of_arms("shape hold both { follows elbow }\nregion crease both { shortened posed at elbow 1 }")
    left, right = source(compiled, "left_crease"), source(compiled, "right_crease")
    assert left == right
    assert left.pose == (StrengthPose("left_elbow", 1.0), StrengthPose("right_elbow", 1.0))
    assert left.after == ("left_hold", "right_hold")
    assert (left.span, left.measure, left.peak, left.smoothing, left.island) == ((0.25, 0.75), "peak", 5e-5, 3e-3, 1e-4)
    assert compiled.rig is not None
    assert {region.feather for region in compiled.rig.regions if region.declared == "crease"} == {0.002}


def test_a_source_of_one_side_stands_for_itself() -> None:
    compiled = of_arms(
        "region crease both { shortened posed at elbow 1 }\n"
        "override region crease right { shortened posed at elbow 0.5 }"
    )
    assert source(compiled, "left_crease").pose == (StrengthPose("left_elbow", 1.0),)
    assert source(compiled, "right_crease").pose == (StrengthPose("right_elbow", 0.5),)


def test_the_shapes_that_are_on_can_be_named() -> None:
    shapes = """
    driver twist both { reads rotation about x of lowerarm   span 0 deg .. 60 deg }
    driver wrist both { reads bend of paw   span 0 deg .. 60 deg }
    combine fist both = product(wrist, twist)
    shape hold both { follows elbow }
    shape wrung both { follows twist }
    shape fisted both { follows fist }
    shape waved both { follows wrist }
    """
    on = {"all": "", "named": " after hold", "none": " without shapes"}
    text = shapes + "".join(f"region {name} left {{ shortened posed at elbow 1{more} }}\n" for name, more in on.items())
    compiled = of_arms(text)
    # Every strength that reads the joint may be on; those of the paw alone are not.
    assert set(source(compiled, "left_all").after) == {"left_hold", "left_wrung", "left_fisted"}
    assert source(compiled, "left_named").after == ("left_hold",)
    assert source(compiled, "left_none").after == ()


def test_directions_are_mirrored() -> None:
    compiled = of_arms(
        "region a both { shortened posed at about z of lowerarm 90 deg   along (0.6, 0.8, 0) of upperarm }\n"
        "region b both { shortened posed at elbow 1   across bone of upperarm }"
    )
    left, right = (source(compiled, f"{side}_a").direction for side in ("left", "right"))
    assert left is not None and right is not None
    assert left.way == right.way == "along"
    assert left.axis == pytest.approx((0.6, 0.8, 0.0))
    assert right.axis == pytest.approx((-0.6, 0.8, 0.0))
    bones = [source(compiled, f"{side}_b").direction for side in ("left", "right")]
    assert [bone.axis for bone in bones if bone is not None] == [(1.0, 0.0, 0.0), (-1.0, 0.0, 0.0)]
    turned = [item for item in source(compiled, "left_a").pose if isinstance(item, JointPose)]
    assert [item.joint for item in turned] == ["lowerarm_lf", "lowerarm_rt"]


@pytest.mark.parametrize(
    "text",
    [
        "region a both { shortened by hold }\nshape hold both { within a   follows elbow }",
        "region a both { lengthened posed at elbow 1 }\nshape hold both { within a   follows elbow }",
        "region a both { shortened by hold }\nregion b both { union of a, forearm }\n"
        "shape hold both { within b   follows elbow }",
        'region a both { shortened by late }\nshape late both { sculpt "a.npz" after hold   follows elbow }\n'
        "shape hold both { within a   follows elbow }",
    ],
)
def test_a_region_of_its_own_shape_is_refused(text: str) -> None:
    assert errors(of_arms(text)) == ["region-of-its-own-shape"]


def test_what_hangs_on_an_area_that_a_shape_finds_comes_after_the_shape() -> None:
    """Within an area, and sculpted after such a one; a shape that is on there all the same stays before it."""
    text = """region a both { shortened posed at elbow 1  after hold }
    shape hold both { follows elbow }
    shape fine both { within a   follows elbow }
    shape finer both { sculpt "a.npz"  after fine   follows elbow }
    shape other both { within forearm   follows elbow }"""
    rig = of_arms(text).rig
    assert rig is not None
    shapes = {shape.name: shape for shape in rig.shapes}
    both = {f"{side}_{name}" for side in ("left", "right") for name in ("hold", "fine", "finer", "other")}
    without = {name: {one for one in both if one.partition("_")[2] not in name.split()} for name in ("hold fine finer",
               "finer", "fine finer")}  # fmt: skip
    assert shapes_before(rig, shapes["left_hold"]) == without["hold fine finer"]
    assert shapes_before(rig, shapes["left_fine"]) == without["fine finer"]
    assert shapes_before(rig, shapes["right_finer"]) == without["finer"]


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("region a { skin of spine   peak of 1 cm2 }", "only-of-found-areas"),
        ("region a { skin of spine   along x of spine }", "only-of-found-areas"),
        ("region a left { shortened posed at elbow 1   peak of 1 cm }", "wrong-dimension"),
        ("region a left { shortened posed at elbow 1   peak of 0 cm2 }", "not-positive"),
        ("region a left { shortened posed at elbow 1   smoothing -1 mm }", "not-positive"),
        ("region a left { shortened posed at elbow 1   span 50 % .. 50 % }", "area-span-order"),
        ("region a left { shortened posed at elbow 1   along bone of paw }", "bone-without-end"),
        ("region a left { shortened by swell }", "unknown-name"),
    ],
)
def test_mistakes_are_told_without_the_mesh(text: str, rule: str) -> None:
    assert errors(of_arms(text)) == [rule]


# ---- on a sheet, 2 m wide and 1 m high, whose right half widens and left half stays


def test_an_area_is_where_the_skin_lengthens(tmp_path: Path) -> None:
    text = WIDER + "region wide { lengthened by left wider   feather 0 mm   peak of 50 cm2 }\n"
    attached, told = on_sheet(tmp_path, text)
    across = attached.mesh.positions[:, 0]
    assert told == []
    assert (attached.regions["wide"][across > 0.3] == 1.0).all()
    assert (attached.regions["wide"][across < -0.3] == 0.0).all()
    directions = attached.directions["wide"]
    assert np.abs(directions[across > 0.3]) == pytest.approx(np.tile([1.0, 0.0, 0.0], ((across > 0.3).sum(), 1)))
    assert not directions[across < -0.3].any()


def test_both_sides_add_up_to_the_whole(tmp_path: Path) -> None:
    text = WIDER + "region wide both { lengthened by wider }\nregion whole { lengthened by left wider, right wider }\n"
    attached, _ = on_sheet(tmp_path, text)
    both = attached.regions["left_wide"] + attached.regions["right_wide"]
    assert both == pytest.approx(attached.regions["whole"])
    assert (attached.regions["whole"] == 1.0).all()


@pytest.mark.parametrize(("amount", "weight"), [(WIDE, 0.5), (WIDE + 0.05, 0.15625), (WIDE - 0.05, 0.84375)])
def test_amounts_can_be_shares_of_a_length(tmp_path: Path, amount: float, weight: float) -> None:
    """The lines are 20 % longer; a smoothstep at 0.25 and 0.75 is 0.15625 and 0.84375."""
    span = f"span {100 * (amount - 0.1):.0f} % .. {100 * (amount + 0.1):.0f} % of length   peak of 50 cm2"
    attached, told = on_sheet(tmp_path, WIDER + f"region wide {{ lengthened by left wider   {span}   feather 0 mm }}\n")
    assert attached.regions["wide"][attached.mesh.positions[:, 0] > 0.5] == pytest.approx(weight, abs=1e-5)
    assert told == []


@pytest.mark.parametrize(
    ("facts", "rule"),
    [
        ("shortened by taller", "nothing-deforms"),
        ("lengthened by taller   along x of head", "nothing-deforms"),
        ("lengthened by taller   span 30 % .. 50 % of length", "nothing-deforms"),
        ("lengthened by left wider   islands at least 1.5 m2", "only-islands"),
        ("lengthened by left wider   peak of 3 m2", "peak-wider-than-skin"),
        ("lengthened by left wider   peak of 1 cm2", "found-on-coarse-skin"),
    ],
)
def test_what_is_not_found_is_told(tmp_path: Path, facts: str, rule: str) -> None:
    attached, told = on_sheet(tmp_path, WIDER + f"region found {{ {facts} }}\n")
    assert rule in told
    assert rule == "found-on-coarse-skin" or not attached.regions["found"].any()


def test_across_an_axis_is_at_right_angles_on_the_skin(tmp_path: Path) -> None:
    text = "region found { lengthened by taller   across x of head   peak of 50 cm2 }\n"
    attached, told = on_sheet(tmp_path, WIDER + text)
    assert told == []
    assert (attached.regions["found"] == 1.0).all()
    assert np.abs(attached.directions["found"]) == pytest.approx(
        np.tile([0.0, 1.0, 0.0], (attached.mesh.vertex_count, 1))
    )


def test_a_shape_within_an_area_that_another_finds(tmp_path: Path) -> None:
    """Regions and shapes wait for each other, whatever their names."""
    text = WIDER.replace("shape taller {", "shape taller { within wide  ")
    attached, _ = on_sheet(tmp_path, text + "region wide { lengthened by left wider   feather 0 mm }\n")
    moved = attached.mesh.positions[attached.shapes["taller"].primary.indices]
    assert len(moved) and (moved[:, 0] > -0.3).all()


def test_sets_hold_areas_and_their_directions(tmp_path: Path) -> None:
    text = "region wide { lengthened by left wider }\nregion kept { intersection of wide, all }\n"
    attached, _ = on_sheet(tmp_path, WIDER + text)
    assert (attached.directions["kept"] == attached.directions["wide"]).all()


def test_areas_are_kept_until_what_they_hang_on_changes(tmp_path: Path) -> None:
    memory = ComputedCache()
    text = WIDER + "region wide { lengthened by left wider   peak of 50 cm2 }\n"

    def weights(spec: str) -> Floats:
        return on_sheet(tmp_path, spec, memory)[0].regions["wide"]

    first = weights(text)
    assert (weights(text) == first).all()
    assert (weights(text + "region other { skin of head }\n") == first).all()
    within = text.replace("shape wider left  {", "shape wider left { within upper  ")
    changed = weights(within + "region upper { difference of all, tall }\nregion tall { lengthened by taller }\n")
    assert (changed != first).any()


def test_the_peak_is_what_some_skin_reaches() -> None:
    amounts, areas = np.array([0.1, 0.9, 0.5, 0.3]), np.array([4.0, 1.0, 1.0, 2.0])
    assert [exceeded_over(amounts, areas, wanted) for wanted in (0.5, 1.5, 3.0, 8.0)] == [0.9, 0.5, 0.3, 0.1]
