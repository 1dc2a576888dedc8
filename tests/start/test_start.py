"""`plica start`: the text for two small figures by hand, and specs that pass for every model at hand."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from plica.diagnostics import Diagnostics, Severity
from plica.pipeline import Compiled, compile_file
from plica.rig.strengths import Driver
from plica.skeleton.skeleton import Joint, Skeleton
from plica.start import path_from, start_spec
from tests.support.data import SMALL_DATA, data_folder, shared_data
from tests.support.models import document_of, figure, write_model
from tests.support.started import first_spec

GOLDEN = Path(__file__).parent / "golden"


def _copy(model: Path, to: Path) -> None:
    """A model with the binary data that a check reads its bind pose from."""
    shutil.copy(model, to)
    for data in model.parent.glob("*.bin") if model.suffix == ".gltf" else ():
        shutil.copy(data, to.parent / data.name)


def _started(model: Path, folder: Path) -> tuple[str, Compiled]:
    text = first_spec(model).text
    spec = folder / "started.plica"
    spec.write_text(text, "utf-8")
    return text, compile_file(spec, [model.parent])


def _limbs() -> Skeleton:
    """A root and a bent leg on each side whose names have dots, and a head."""
    joints = [Joint("root"), Joint("skull", 0, (0.0, 0.5, 0.0))]
    for side, x in (("L", 0.2), ("R", -0.2)):
        first = len(joints)
        joints.append(Joint(f"thigh.{side}", 0, (x, 0.0, 0.0)))
        joints.append(Joint(f"shin.{side}", first, (0.0, -0.4, 0.1)))
        joints.append(Joint(f"foot.{side}", first + 1, (0.0, -0.4, -0.1)))
    return Skeleton(tuple(joints))


CASES = {
    "limbs": document_of(_limbs(), morphs=["smile", "brow up", "smile"]),
    "unnamed": document_of(
        Skeleton((Joint("a b"), Joint('"2"', 0, (0.0, 1.0, 0.0)), Joint("left", 1, (0.0, 1.0, 1.0)), Joint("end", 2)))
    ),
}


@pytest.mark.parametrize(
    ("nodes", "told"),
    [
        ([], "model-without-joints"),
        ([{"name": "hip", "children": [1]}, {"name": "knee", "translation": [0, -0.4, 0]}], "model-without-skin"),
    ],
)
def test_a_model_that_nothing_can_be_made_of_is_told(nodes: list[dict[str, object]], told: str, tmp_path: Path) -> None:
    """What was exported alone, a mesh or a skeleton, gives a text without declarations, and nobody has to guess why."""
    document = {"asset": {"version": "2.0"}, "nodes": nodes, "scenes": [{"nodes": [0] if nodes else []}], "scene": 0}
    diagnostics = Diagnostics()
    text = start_spec(write_model(tmp_path / "alone.gltf", document), diagnostics).text
    assert [one.name for one in diagnostics.all] == [told] and "driver" not in text


@pytest.mark.parametrize("name", CASES)
def test_the_text_is_the_one_on_file(name: str, tmp_path: Path) -> None:
    text, compiled = _started(write_model(tmp_path / f"{name}.gltf", CASES[name]), tmp_path)
    assert text == (GOLDEN / f"{name}.plica").read_text("utf-8")
    assert {diagnostic.name for diagnostic in compiled.diagnostics} <= {"not-sculpted"}
    assert compiled.rig is not None


def test_both_sides_come_from_one_line(tmp_path: Path) -> None:
    _, compiled = _started(write_model(tmp_path / "figure.gltf", document_of(figure())), tmp_path)
    assert compiled.rig is not None
    strengths = {strength.name for strength in compiled.rig.strengths}
    assert {"left_shin_bend", "right_shin_bend", "spine_bend", "left_index1_bend"} <= strengths
    assert {region.name for region in compiled.rig.regions} >= {"left_forearm", "right_forearm"}
    assert {expectation.kind for expectation in compiled.rig.expectations} == {"rest", "even_skin"}


def test_every_driver_is_off_at_rest_and_its_span_runs_from_rest(tmp_path: Path) -> None:
    _, compiled = _started(write_model(tmp_path / "figure.gltf", document_of(figure())), tmp_path)
    assert compiled.rig is not None
    drivers = [strength for strength in compiled.rig.strengths if isinstance(strength, Driver)]
    assert drivers
    assert all(driver.span[0] == 0.0 < driver.span[1] for driver in drivers)


def test_names_that_the_language_cannot_hold_are_left_out(tmp_path: Path) -> None:
    skeleton = Skeleton(
        (Joint("a"), Joint("{b}", 0, (0, 1, 0)), Joint("c\nd", 1, (0, 1, 0)), Joint("e\\", 2, (0, 1, 0)))
    )
    document = document_of(skeleton, morphs=["{x}", "ok", 'with "quotes" and \\'])
    text, compiled = _started(write_model(tmp_path / "odd.gltf", document), tmp_path)
    assert compiled.rig is not None
    assert "{b}" not in text
    assert {strength.name for strength in compiled.rig.strengths} == {"e_bend", "ok", "with_quotes_and"}


def test_names_that_would_meet_are_told_apart(tmp_path: Path) -> None:
    joints = [
        Joint("root"),
        Joint("left_arm_2", 0, (0, 1, 0)),
        Joint("arm.2", 0, (0, 2, 0)),
        Joint("arm 2", 0, (0, 3, 0)),
    ]
    joints += [Joint(f"arm_2_{side}", 0, (x, 1, 1)) for side, x in (("l", 1.0), ("r", -1.0))]
    document = document_of(Skeleton(tuple(joints)), morphs=["arm_2_bend", "left_arm_2_bend"])
    _, compiled = _started(write_model(tmp_path / "same.gltf", document), tmp_path)
    assert compiled.rig is not None
    names = [strength.name for strength in compiled.rig.strengths]
    assert len(names) == len(set(names)) == 7


def test_a_model_that_cannot_be_read_is_one_diagnostic_and_no_text(tmp_path: Path) -> None:
    diagnostics = Diagnostics()
    (tmp_path / "broken.glb").write_bytes(b"glTF")
    assert start_spec(tmp_path / "broken.glb", diagnostics).text == ""
    assert [diagnostic.name for diagnostic in diagnostics.all] == ["unreadable-model"]


def test_the_models_place_can_be_another_folder(tmp_path: Path) -> None:
    (tmp_path / "models").mkdir()
    model = write_model(tmp_path / "models" / "figure.gltf", document_of(figure()))
    spec = tmp_path / "figure.plica"
    geometry = path_from(tmp_path, model)
    assert geometry == "models/figure.gltf"
    spec.write_text(start_spec(model, Diagnostics(), geometry).text, "utf-8")
    assert compile_file(spec).rig is not None


# ---- every model at hand -------------------------------------------------------------------------------------


def _models() -> Iterator[Path]:
    endings = (".gltf", ".glb", ".usda", ".usdz")
    for folder in (SMALL_DATA, data_folder()):
        yield from sorted(path for path in folder.rglob("*") if path.suffix in endings)


def _small_without_a_unit(model: Path) -> bool:
    """Two joints of arms 2 long, in a stage whose unit is the standard's fallback: 2 cm."""
    arms = model.parent.name == "usdskel" and model.stem.split(".")[0] in ("lbs", "dqs")
    return arms and b"metersPerUnit" not in model.read_bytes()


@pytest.mark.parametrize("model", list(_models()), ids=lambda path: f"{path.parent.name}/{path.name}")
def test_a_spec_for_every_model_passes(model: Path, tmp_path: Path) -> None:
    if model.suffix.startswith(".usd"):
        pytest.importorskip("pxr", reason="usd-core is not installed")
    copied = tmp_path / model.name
    _copy(model, copied)
    _, compiled = _started(copied, tmp_path)
    assert compiled.rig is not None
    assert compiled.rig.strengths
    worth_saying = {item.name for item in compiled.diagnostics if item.severity is not Severity.NOTE}
    assert sum(item.name == "not-sculpted" for item in compiled.diagnostics) <= 1
    assert worth_saying - {"unclear-model"} == ({"unlikely-size"} if _small_without_a_unit(model) else set())


@pytest.mark.parametrize("parts", [("mannequin", "mannequin.gltf"), ("rigged_figure", "RiggedFigure.glb")])
def test_the_text_is_the_same_every_time(parts: tuple[str, str]) -> None:
    model = shared_data("characters", *parts)
    assert first_spec(model).text == start_spec(model, Diagnostics()).text


def test_pairs_found_in_the_shared_characters() -> None:
    # The numbers of pairs are counted by hand from the joint lists; the data's own README names the sides.
    for parts, pairs in (
        (("characters", "full_body", "full_body.gltf"), 29),
        (("characters", "base_mesh_facing_x", "base_mesh.glb"), 25),
        (("characters", "mannequin", "mannequin.gltf"), 8),
        (("characters", "rigged_figure", "RiggedFigure.glb"), 7),
        (("characters", "hands", "left.glb"), 0),
    ):
        from plica.readers.model_reader import read_outline
        from plica.skeleton.side_patterns import find_sides

        assert len(find_sides(read_outline(shared_data(*parts)).skeleton).sides.pairs) == pairs


def test_feet_under_controls_are_read_as_the_limb_sees_them(tmp_path: Path) -> None:
    joints = [
        joint._replace(parent=None, translation=(x, -0.8, 0.0)) if joint.name.startswith("foot") else joint
        for joint in _limbs().joints
        for x in (0.2 if joint.name.endswith("L") else -0.2,)
    ]
    model = write_model(tmp_path / "hung.gltf", document_of(Skeleton(tuple(joints))))
    text, compiled = _started(model, tmp_path)
    assert "of foot from shin" in text and "{ skin of shin, foot }" in text
    assert not {diagnostic.name for diagnostic in compiled.diagnostics} - {"not-sculpted"}
    hanging, _ = _started(write_model(tmp_path / "limbs.gltf", CASES["limbs"]), tmp_path)
    assert "of foot" in hanging and "from shin" not in hanging


def test_the_feet_of_a_shared_character_hang_under_controls(tmp_path: Path) -> None:
    # The joint list of the model: Foot.L and Foot.R are children of Bone, beside Body; the legs end in LowerLeg.
    text, _ = _started(shared_data("characters", "expressive_robot", "robot.glb"), tmp_path)
    assert [line.split("//")[0].split() for line in text.splitlines() if " from LowerLeg" in line] == [
        ["reads", "bend", "of", "Foot", "from", "LowerLeg"]
    ]


@pytest.mark.parametrize(
    "parts",
    [
        ("base_mesh_facing_x", "base_mesh.glb"),
        ("mannequin", "mannequin.gltf"),
        ("rigged_figure", "RiggedFigure.glb"),
    ],
    ids=lambda parts: parts[0],
)
def test_the_right_sides_axis_is_the_one_that_its_own_bones_tell(parts: tuple[str, str], tmp_path: Path) -> None:
    # The spec states the left hinge, of both sides together; binding reflects it through model space. The right limb's
    # own bend must agree, in frames that relate to the left ones by axis flips or, in rigged_figure, by none.
    from plica.kinds.readings import Rotation
    from plica.readers.model_reader import read_outline
    from plica.start.first_look import first_look
    from plica.start.hinges import hinge_of

    model = shared_data("characters", *parts)
    copied = tmp_path / model.name
    _copy(model, copied)
    _, compiled = _started(copied, tmp_path)
    assert compiled.rig is not None
    look = first_look(copied, read_outline(copied), copied.stem)
    guessed = {one.driver: one for one in look.found.alone() if one.paired and one.evidence.weak}
    checked = 0
    for driver in compiled.rig.strengths:
        if not (isinstance(driver, Driver) and driver.side == "right" and isinstance(driver.reading, Rotation)):
            continue
        if driver.name.removeprefix("right_") in guessed:
            hinge = hinge_of(look.body, look.body.skeleton.index[driver.reading.joint])
            assert hinge is not None
            agreement = sum(a * b for a, b in zip(hinge.axis, driver.reading.axis, strict=True))
            assert agreement > 0.997, driver.name
            checked += 1
    assert checked >= 3


def test_a_model_with_nothing_that_moves_still_gets_a_spec(tmp_path: Path) -> None:
    document = document_of(Skeleton(()), skinned=False)
    _, compiled = _started(write_model(tmp_path / "my stone (1).gltf", document), tmp_path)
    assert compiled.diagnostics == ()
    assert compiled.rig is not None
    assert compiled.rig.character.name == "my_stone_1"
