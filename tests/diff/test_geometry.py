"""What a change does on the mesh, against areas and distances that are known in closed form."""

from __future__ import annotations

import json
from base64 import b64decode, b64encode
from contextlib import ExitStack
from pathlib import Path
from struct import pack_into

import numpy as np
import pytest

from plica.diagnostics import Diagnostics
from plica.diff.character_states import Options, read_both
from plica.diff.comparison import compare
from plica.diff.geometry import GeometryEffect, MaskEffect, RegionEffect, ShapeEffect
from plica.diff.geometry_text import geometry_text
from plica.diff.judged_change import JudgedChange
from plica.diff.neutral_moves import NeutralEffect
from plica.diff.report import Report
from plica.diff.text_report import render
from plica.diff.verdicts import Harm
from plica.mesh.attach import attach
from plica.mesh.npz import arrays_of, written
from plica.pipeline import compile_file
from plica.workspace import Workspace
from tests.support.cloth import SPEC, bump, cloth


def compared(old: Path, new: Path, measure: bool = True) -> Report:
    """The report on two specs."""
    diagnostics = Diagnostics()
    with ExitStack() as mirrors:
        report = compare(*read_both(str(old), str(new), Options(measure=measure), diagnostics, mirrors))
    assert not diagnostics.has_errors, [one.message for one in diagnostics.all]
    return report


def edited(folder: Path, old: str, new: str) -> tuple[Path, Path]:
    """The cloth before and after an edit of its spec."""
    assert old in SPEC
    return cloth(folder / "old"), cloth(folder / "new", SPEC.replace(old, new))


def effect_of(report: Report, kind: str) -> tuple[JudgedChange, GeometryEffect]:
    """The only change of a kind, and what it does on the mesh."""
    (change,) = [one for one in report.changes if one.kind == kind]
    (effect,) = change.geometry
    assert effect is not None
    return change, effect


def test_the_area_of_a_region_is_the_integral_of_its_weight(tmp_path: Path) -> None:
    """The weight x / 2 over 2 m by 1 m holds 1 m²; against 1 - x / 2 it differs by the integral of |1 - x|: 1 m²."""
    report = compared(*edited(tmp_path, "skin of tip", "skin of base"))
    change, effect = effect_of(report, "region")
    assert isinstance(effect, RegionEffect)
    assert effect.areas == pytest.approx((1.0, 1.0), rel=1e-6)
    assert effect.shares == pytest.approx((0.5, 0.5), rel=1e-6)
    assert effect.differs == pytest.approx(1.0, rel=1e-6)
    assert "on the mesh: covers 1 m² → 1 m², 50 % → 50 % of the skin; differs on 1 m²" in render(report)
    assert change.reaches == ("textures",)


def test_the_area_of_a_mask_is_its_share_of_the_texture(tmp_path: Path) -> None:
    """The same weights over the whole texture: half of it before and after, half of it differs (8-bit masks)."""
    report = compared(*edited(tmp_path, "skin of tip", "skin of base"))
    _, effect = effect_of(report, "fold")
    assert isinstance(effect, MaskEffect)
    assert effect.shares == pytest.approx((0.5, 0.5), abs=1 / 255)
    assert effect.differs == pytest.approx(0.5, abs=1 / 255)


def test_a_feather_wider_than_the_edge_changes_area_and_mask(tmp_path: Path) -> None:
    """Where the skin's own edge is 2 m wide, a feather of 20 cm does nothing, and that is told too."""
    report = compared(*edited(tmp_path, "skin of tip }", "skin of tip   feather 20 cm }"))
    (change,) = report.changes
    assert change.harm is Harm.SAFE
    assert "on the mesh nothing differs" in render(report)


def test_a_sculpt_with_other_contents_moves_vertices(tmp_path: Path) -> None:
    old, new = cloth(tmp_path / "old"), cloth(tmp_path / "new")
    bump(new.parent / "bump.npz", 50, 0.0035)
    report = compared(old, new)
    assert [change.kind for change in report.changes] == ["file", "shape"]
    change, effect = effect_of(report, "shape")
    # Thirty vertices go 1.5 mm further, twenty more 3.5 mm for the first time.
    assert isinstance(effect, ShapeEffect)
    assert (effect.moves, effect.vertices) == ((30, 50), 50)
    assert effect.largest == pytest.approx(0.0035, rel=1e-6)
    assert change.place is not None and change.place.place.endswith("cloth.plica:5:7")
    again = compared(old, new)
    assert [one.fingerprint for one in again.changes] == [one.fingerprint for one in report.changes]


def test_what_came_and_went_is_measured(tmp_path: Path) -> None:
    line = 'shape bump { sculpt "bump.npz"   follows lift }\n'
    old, new = edited(tmp_path, line, "")
    gone = render(compared(old, new))
    assert "on the mesh: moved 30 vertices, by at most 2 mm" in gone
    assert "on the mesh: moves 30 vertices, by at most 2 mm" in render(compared(new, old))


def test_a_pose_that_moved_moves_what_was_sculpted_in_it(tmp_path: Path) -> None:
    """A driver's span says nothing about the mesh, unless something was sculpted where its strength is 1."""
    posed = SPEC.replace('"bump.npz"', '"bump.npz" posed at lift 1')
    old = cloth(tmp_path / "old", posed)
    new = cloth(tmp_path / "new", posed.replace("90 deg", "60 deg"))
    report = compared(old, new)
    assert [change.kind for change in report.changes] == ["driver", "shape"]
    assert isinstance(effect_of(report, "shape")[1], ShapeEffect)
    assert [change.kind for change in compared(*edited(tmp_path / "b", "90 deg", "60 deg")).changes] == ["driver"]


def test_an_inbetween_at_another_strength_moves_vertices(tmp_path: Path) -> None:
    """1.5 mm at 0.35 before and at 0.5 now, 2 mm at 1: at 0.35 it is 0.35 / 0.5 of 1.5 mm, which differs by 0.45 mm."""
    between = SPEC.replace('"bump.npz"', '"bump.npz"   inbetween 0.35 "half.npz"')
    old, new = cloth(tmp_path / "old", between), cloth(tmp_path / "new", between.replace("0.35", "0.5"))
    for spec in (old, new):
        bump(spec.parent / "half.npz", 30, 0.0015)
    report = compared(old, new)
    _, effect = effect_of(report, "shape")
    assert isinstance(effect, ShapeEffect)
    assert effect.vertices == 30 and effect.largest == pytest.approx(0.00045, rel=1e-6)
    text = render(report)
    assert "inbetween 0.35 half.npz → 0.5 half.npz" in text and "nothing differs" not in text


def test_a_model_with_other_contents_of_which_nothing_shows_is_told_so(tmp_path: Path) -> None:
    """Only for as much as was measured, and only where it was."""
    old, new = cloth(tmp_path / "old"), cloth(tmp_path / "new")
    model = new.parent / "cloth.gltf"
    document = json.loads(model.read_bytes())
    model.write_text(json.dumps(document | {"extras": {"by": "another hand"}}), "utf-8")
    (change,) = compared(old, new).changes
    assert change.kind == "file" and change.harm is Harm.RISKY
    same = "no vertex of the neutral, no region, shape or mask of a fold differs"
    assert same in render(compared(old, new))
    assert same not in render(compared(old, new, measure=False))
    bump(new.parent / "bump.npz", 50, 0.0035)
    assert same not in render(compared(old, new))


def test_another_pattern_of_names_hides_nothing_on_the_mesh(tmp_path: Path) -> None:
    """A sculpt with other contents, of a shape that has another name by the pattern alone."""
    paths = cloth(tmp_path / "old"), cloth(tmp_path / "new")
    assert [change.kind for change in left_by_patterns(*paths).changes] == ["names"]
    bump(paths[1].parent / "bump.npz", 50, 0.0035)
    report = left_by_patterns(*paths)
    assert sorted(change.kind for change in report.changes) == ["file", "names", "shape"]
    assert isinstance(effect_of(report, "shape")[1], ShapeEffect)


def left_by_patterns(old: Path, new: Path) -> Report:
    """The report on two specs whose driver and shape are of the left, each with its pattern of names."""
    with ExitStack() as mirrors:
        both = read_both(str(old), str(new), Options(), Diagnostics(), mirrors)
        states = []
        for versions, pattern in zip(both, ("left_{}", "{}_left"), strict=True):
            (state,) = versions.values()
            rig = state.rig
            strengths = tuple(one._replace(name=pattern.format(one.declared), side="left") for one in rig.strengths)
            shapes = tuple(
                one._replace(name=pattern.format(one.declared), side="left", follows=strengths[0].name)
                for one in rig.shapes
            )
            folds = tuple(fold._replace(follows=strengths[0].name) for fold in rig.folds)
            changed = rig._replace(strengths=strengths, shapes=shapes, folds=folds)
            states.append({"": state._replace(rig=changed)})
        return compare(*states)


def test_a_rename_and_a_note_move_nothing(tmp_path: Path) -> None:
    edit = ("shape bump {", 'shape lump { renamed from bump   note "as before"')
    (change,) = compared(*edited(tmp_path, *edit)).changes
    assert change.geometry == (None,)


def test_what_cannot_be_measured_is_told(tmp_path: Path) -> None:
    old, new = edited(tmp_path, "skin of tip", "skin of base")
    (new.parent / "bump.npz").write_bytes(b"no sculpt")
    report = compared(old, new)
    assert report.unmeasured and "cloth: new state" in report.unmeasured[0]
    assert "bump.npz" in report.unmeasured[0], "it says why"
    assert "not measured on the mesh: cloth: new state" in render(report)
    assert compared(old, new, measure=False).unmeasured == ()


def test_nothing_differs_between_a_spec_and_itself(tmp_path: Path) -> None:
    path = cloth(tmp_path)
    assert compared(path, path).changes == ()


def test_the_size_of_a_mask_is_told_where_it_changed() -> None:
    same = geometry_text(MaskEffect((0.5, 0.25), 0.5, (64, 64)), "changed")
    assert same == "covers 50 % → 25 % of the texture; differs on 50 %"
    other = geometry_text(MaskEffect((0.5, 0.25), 0.5, (64, 128)), "changed")
    assert other == same + "; the mask is 64 → 128 texels across"
    assert "64 texels across" in geometry_text(MaskEffect((0.5, 0.0), 0.5, (64, 128)), "removed")
    assert "128 texels across" in geometry_text(MaskEffect((0.0, 0.5), 0.5, (64, 128)), "added")


def test_one_vertex_moves_and_two_vertices_move() -> None:
    assert geometry_text(ShapeEffect((1, 1), 1, 0.002), "changed") == "1 vertex moves, by at most 2 mm"
    assert geometry_text(ShapeEffect((2, 1), 2, 0.002), "changed") == "2 vertices move, by at most 2 mm"


def test_a_mask_that_came_has_its_own_size_and_the_missing_one_none(tmp_path: Path) -> None:
    old, new = edited(tmp_path, "skin of tip", "skin of base")
    _, both = effect_of(compared(old, new), "fold")
    assert isinstance(both, MaskEffect) and both.sizes[0] == both.sizes[1] > 0
    without = cloth(tmp_path / "without", "\n".join(line for line in SPEC.splitlines() if not line.startswith("fold")))
    _, came = effect_of(compared(without, old), "fold")
    assert isinstance(came, MaskEffect)
    assert (came.sizes, came.shares[0]) == ((0, both.sizes[0]), 0.0)


def with_a_vertex_lifted(model: Path, height: float) -> None:
    """The model's first vertex higher by so many metres."""
    document = json.loads(model.read_bytes())
    accessor = document["accessors"][document["meshes"][0]["primitives"][0]["attributes"]["POSITION"]]
    view = document["bufferViews"][accessor["bufferView"]]
    head, _, held = document["buffers"][view["buffer"]]["uri"].partition(",")
    data = bytearray(b64decode(held))
    pack_into("<f", data, view.get("byteOffset", 0) + accessor.get("byteOffset", 0) + 8, height)
    document["buffers"][view["buffer"]]["uri"] = f"{head},{b64encode(data).decode()}"
    accessor["max"][2] = max(accessor["max"][2], height)
    model.write_text(json.dumps(document), "utf-8")


def with_its_fingerprint(spec: Path) -> None:
    """The sculpt says of which neutral it was made: of this one."""
    rig = compile_file(spec).rig
    assert rig is not None
    attached = attach(rig, Workspace(spec.parent).locate, Diagnostics())
    assert attached is not None
    sculpt = spec.parent / "bump.npz"
    sculpt.write_bytes(written({**arrays_of(sculpt.read_bytes()), "fingerprint": np.array(attached.fingerprint)}))


def test_a_neutral_that_moved_is_told_with_what_no_longer_fits(tmp_path: Path) -> None:
    """What only building found before: the sculpt was made over a neutral that is not there any more."""
    old, new = cloth(tmp_path / "old"), cloth(tmp_path / "new")
    for spec in (old, new):
        with_its_fingerprint(spec)
    with_a_vertex_lifted(new.parent / "cloth.gltf", 0.02)
    report = compared(old, new)
    change, effect = effect_of(report, "file")
    assert isinstance(effect, NeutralEffect)
    assert (effect.vertices, effect.moved, effect.near) == ((861, 861), 1, "base")
    assert effect.largest == pytest.approx(0.02, rel=1e-6)
    assert "1 vertex of the neutral mesh moves, by at most 20 mm, the farthest on base" in render(report)
    assert change.harm is Harm.RISKY and set(change.reaches) == {"geometry", "textures"}
    (finding,) = [one for one in report.changes if one.kind == "finding"]
    assert finding.declared == "sculpt-of-edited-neutral" and "bump.npz" in finding.verdicts[0].text
    (gone,) = [one for one in compared(new, old).changes if one.kind == "finding"]
    assert gone.harm is Harm.SAFE and gone.verdicts[0].text.startswith("no longer found")


def test_joints_that_stand_elsewhere_are_told_at_the_model(tmp_path: Path) -> None:
    old, new = cloth(tmp_path / "old"), cloth(tmp_path / "new")
    model = new.parent / "cloth.gltf"
    document = json.loads(model.read_bytes())
    document["nodes"][0]["translation"] = [0.0, 0.03, 0.0]
    model.write_text(json.dumps(document), "utf-8")
    report = compared(*(cloth_with(spec, "stance rest pose") for spec in (old, new)))
    assert "2 joints stand elsewhere, by at most 30 mm" in render(report)
    (joint,) = [one for one in report.changes if one.kind == "joint"]
    assert joint.place is not None and joint.place.source.text[joint.place.start :].startswith("geometry")
    assert joint.verdicts[0].text == "in its parent moved by 30 mm"


def cloth_with(spec: Path, fact: str) -> Path:
    """The cloth's spec with a further fact of its character."""
    spec.write_text(SPEC.replace('mesh "skin" }', f'mesh "skin"   {fact} }}'), "utf-8")
    return spec
