"""Families from numbers and names of chains; what only controls; bodies that are not people's."""

from __future__ import annotations

from pathlib import Path

import pytest

from plica.diagnostics import Diagnostics
from plica.pipeline import compile_file
from plica.readers.model_reader import read_outline
from plica.rig.strengths import Driver
from plica.skeleton.skeleton import Joint, Skeleton
from plica.start import start_spec
from plica.start.first_look import FirstLook, first_look
from plica.start.name_templates import template_of
from plica.start.skin_look import SkinLook
from tests.start.test_start import _copy, _started
from tests.support.data import ROOT, shared_data
from tests.support.models import document_of, write_model


def _look(path: Path) -> FirstLook:
    return first_look(path, read_outline(path), path.stem)


def _copied(model: Path, folder: Path) -> Path:
    _copy(model, folder / model.name)
    return folder / model.name


def _families(look: FirstLook) -> dict[str, list[tuple[str, ...]]]:
    """For each row of a family, as its declaration is called, the values."""
    result: dict[str, list[tuple[str, ...]]] = {}
    for family in look.found.families:
        for row in family.rows:
            result.setdefault(row.template.name(family.variable), []).append(row.template.values)
    return result


@pytest.mark.parametrize(
    ("names", "name", "listed"),
    [
        (("tail_2", "tail_3", "tail_4"), "tail_{n}", "2 .. 4"),
        (("f_index.01", "f_ring.01"), "f_{n}_01", "index, ring"),
        (("spine.001", "spine.002"), "spine_{n}", '"001", "002"'),
        (("HandIndex1", "HandPinky1"), "Hand{n}1", "Index, Pinky"),
        (("Middle1", "Index"), "{n}", "Middle1, Index"),
        (("a_1", "a_3"), "a_{n}", '"1", "3"'),
        (("a.1", "b.2"), None, ""),
        (("{a}1", "{a}2"), None, ""),
    ],
)
def test_what_names_have_in_common(names: tuple[str, ...], name: str | None, listed: str) -> None:
    found = template_of(names)
    if name is None:
        assert found is None
    else:
        assert found is not None
        assert found.name("n") == name
        assert found.listed == listed


def _tree(*rows: tuple[str, str | None, tuple[float, float, float]]) -> Skeleton:
    index = {name: place for place, (name, _, _) in enumerate(rows)}
    return Skeleton(tuple(Joint(name, None if above is None else index[above], at) for name, above, at in rows))


def _wings() -> Skeleton:
    """A bird's wing with five feathers of two joints each, and a tail of four."""
    rows: list[tuple[str, str | None, tuple[float, float, float]]] = [("root", None, (0.0, 0.0, 0.0))]
    rows += [("wing", "root", (0.5, 0.0, 0.0))]
    for feather in range(1, 6):
        base, end = f"feather{feather}_1", f"feather{feather}_2"
        rows += [(base, "wing", (0.1, 0.0, 0.1 * feather)), (end, base, (0.2, 0.0, 0.0))]
    rows += [("tail_1", "root", (0.0, 0.0, -0.2))]
    rows += [(f"tail_{one}", f"tail_{one - 1}", (0.0, 0.0, -0.2)) for one in range(2, 5)]
    return _tree(*rows)


def test_feathers_side_by_side_and_a_tail_are_families(tmp_path: Path) -> None:
    model = write_model(tmp_path / "bird.gltf", document_of(_wings()))
    found = _families(_look(model))
    feathers = ("1", "2", "3", "4", "5")
    assert found == {
        "feather{feather}_1": [feathers],
        "feather{feather}_2": [feathers],
        "tail_{number}": [("1", "2", "3", "4")],
    }
    text, compiled = _started(model, tmp_path)
    assert "each feather in 1 .. 5 {" in text
    assert compiled.rig is not None
    drivers = {one.name for one in compiled.rig.strengths if isinstance(one, Driver)}
    assert drivers >= {"feather3_2_bend", "tail_4_bend", "wing_bend"}


def test_fingers_of_a_body_are_one_family_and_make_a_fist(tmp_path: Path) -> None:
    model = shared_data("characters", "full_body", "full_body.gltf")
    look = _look(model)
    fingers = ("index", "middle", "pinky", "ring")
    found = _families(look)
    assert all(found[f"{{finger}}_0{level}"] == [fingers] for level in (1, 2, 3))
    text, _ = _started(model, tmp_path)
    assert "combine fist both = product(index_01_bend, middle_01_bend, pinky_01_bend, ring_01_bend)" in text


def test_the_otter_has_a_tail_a_fist_and_no_span_of_people(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Her skin is left alone, which takes long: an example of `compiler/README.md` compiles her whole first spec."""
    monkeypatch.setattr("plica.start.skin_look.look_at_skin", lambda *_: SkinLook(why="it is not asked for"))
    model = ROOT / "specs" / "wren" / "data" / "wren.glb"
    look = _look(model)
    found = _families(look)
    assert found["tail_{number}"] == [tuple("123456")]
    assert found["{finger}_1"] == [("index", "middle", "ring", "little")]
    assert all(one.body_part.source is None for one in look.found.joints)
    copied = _copied(model, tmp_path)
    text = start_spec(copied, Diagnostics()).text
    spec = tmp_path / "otter.plica"
    spec.write_text(text, "utf-8")
    compiled = compile_file(spec)
    assert compiled.rig is not None
    assert "product(index_1_bend, middle_1_bend, ring_1_bend, little_1_bend)" in text


def test_a_family_reads_its_joints_as_they_would_be_read_alone(tmp_path: Path) -> None:
    # The declarations of a family, written out by the compiler, against the records of its joints.
    model = shared_data("characters", "horse", "horse.glb")
    look = _look(model)
    _, compiled = _started(_copied(model, tmp_path), tmp_path)
    assert compiled.rig is not None
    drivers = {one.name: one for one in compiled.rig.strengths if isinstance(one, Driver)}
    checked = 0
    for one in look.found.joints:
        if one.family is not None:
            driver = drivers[f"left_{one.driver}" if one.paired else one.driver]
            assert driver.reading.joint == look.stance.skeleton.joints[one.joint].name
            assert driver.reading.kind == ("bend" if one.axis is None else "rotation")
            checked += 1
    assert checked == 5  # of the tail


def test_controls_and_tips_are_left_out() -> None:
    look = _look(shared_data("characters", "expressive_robot", "robot.glb"))
    bases = {one.base for one in look.found.joints}
    assert {"Foot", "LowerArm", "Index2"} <= bases
    assert not bases & {"PoleTarget", "Body", "Bone", "Hips", "Index2_end", "LowerLeg_end", "Foot_end"}
