"""How a character skins: what the spec says, what the model says, and what neither says."""

from __future__ import annotations

from pathlib import Path

import pytest

from plica.diagnostics import Severity
from plica.pipeline import Compiled, compile_text
from plica.readers.model_reader import read_outline
from plica.workspace import Workspace
from tests.support.arms import arms_mesh, rig_from
from tests.support.data import SMALL_DATA
from tests.support.usd_arms import usd_arms


def compiled(folder: Path, facts: str) -> Compiled:
    """A character with these facts."""
    return compile_text(f"plica 1\ncharacter otter {{ {facts} }}\n", "otter.plica", Workspace(folder))


def of_stage(folder: Path, fact: str = "", *methods: str, root: str = "", mesh: str = "") -> Compiled:
    """A character of a stage whose meshes, or whose root, state these methods."""
    pytest.importorskip("pxr", reason="usd-core is not installed")
    rig = rig_from("")
    usd_arms(folder, rig, arms_mesh(rig), methods, root)
    return compiled(folder, f'geometry "arms.usda" {mesh}\n{fact}')


def skinning(result: Compiled) -> str:
    """The method, where nothing is wrong."""
    assert [one.message for one in result.diagnostics if one.severity is Severity.ERROR] == []
    assert result.rig is not None
    return result.rig.character.skinning


def rules(result: Compiled) -> list[str]:
    """The rules of errors and warnings."""
    return [one.name for one in result.diagnostics if one.severity is not Severity.NOTE]


@pytest.mark.parametrize(
    ("methods", "root", "expected"),
    [
        ((), "", "linear"),
        (("classicLinear",), "", "linear"),
        (("dualQuaternion",), "", "dual quaternion"),
        ((), "dualQuaternion", "dual quaternion"),  # bindings reach down to meshes
        (("classicLinear",), "dualQuaternion", "linear"),
        (("dualQuaternion", "dualQuaternion"), "", "dual quaternion"),
    ],
)
def test_the_models_method_is_taken(tmp_path: Path, methods: tuple[str, ...], root: str, expected: str) -> None:
    result = of_stage(tmp_path, "", *methods, root=root)
    assert skinning(result) == expected
    assert not [name for name in rules(result) if name.startswith("skinning")]
    stated = bool(methods or root)
    assert all(mesh.skinning_stated is stated for mesh in read_outline(tmp_path / "arms.usda").meshes)


@pytest.mark.parametrize("fact", ["skinning linear", "skinning dual quaternion", "skinning   dual   quaternion"])
def test_without_a_model_the_spec_says_it(tmp_path: Path, fact: str) -> None:
    result = compiled(tmp_path, f"skeleton {{ joint hips at 0 m, 1 m, 0 m }}\n{fact}")
    assert skinning(result) == " ".join(fact.split()[1:])
    assert rules(result) == []


def test_a_spec_that_agrees_with_the_model_is_fine(tmp_path: Path) -> None:
    result = of_stage(tmp_path, "skinning dual quaternion", "dualQuaternion")
    assert skinning(result) == "dual quaternion"
    assert "skinning-beyond-model" not in rules(result)


@pytest.mark.parametrize(
    ("fact", "stated"), [("skinning linear", "dualQuaternion"), ("skinning dual quaternion", "classicLinear")]
)
def test_a_spec_that_contradicts_the_model_is_an_error(tmp_path: Path, fact: str, stated: str) -> None:
    result = of_stage(tmp_path, fact, stated)
    assert "skinning-contradicts-model" in rules(result)
    (found,) = (one for one in result.diagnostics if one.name == "skinning-contradicts-model")
    assert "`skin`" in found.message and found.span is not None
    assert found.span.source.text[found.span.start : found.span.end] == fact


def test_a_spec_that_goes_beyond_a_silent_model_is_a_warning(tmp_path: Path) -> None:
    result = of_stage(tmp_path, "skinning dual quaternion")
    assert skinning(result) == "dual quaternion"
    assert rules(result).count("skinning-beyond-model") == 1


def test_gltf_is_linear_and_more_than_that_is_a_warning() -> None:
    folder = SMALL_DATA
    assert skinning(compiled(folder, 'geometry "SimpleSkin.gltf"')) == "linear"
    result = compiled(folder, 'geometry "SimpleSkin.gltf"\nskinning dual quaternion')
    assert skinning(result) == "dual quaternion"
    assert "skinning-beyond-model" in rules(result)


def test_meshes_of_two_methods_are_refused_and_one_of_them_is_not(tmp_path: Path) -> None:
    both = ("classicLinear", "dualQuaternion")
    assert "skinning-differs" in rules(of_stage(tmp_path, "", *both))
    assert "skinning-contradicts-model" in rules(of_stage(tmp_path, "skinning linear", *both))
    assert skinning(of_stage(tmp_path, "", *both, mesh='mesh "skin_2"')) == "dual quaternion"


def test_a_method_that_openusd_does_not_know_is_refused(tmp_path: Path) -> None:
    from plica.mesh.mesh_reader import read_mesh
    from plica.readers.model_outline import UnreadableModel

    result = of_stage(tmp_path, "", "wobbly")
    assert any("`wobbly`" in one.message for one in result.diagnostics)
    assert result.rig is not None
    with pytest.raises(UnreadableModel, match="wobbly"):
        read_mesh(tmp_path / "arms.usda", [joint.name for joint in result.rig.skeleton])


def test_the_fact_stands_once(tmp_path: Path) -> None:
    result = compiled(tmp_path, "skeleton { joint hips at 0 m, 1 m, 0 m }\nskinning linear\nskinning dual quaternion")
    assert "duplicate-fact" in rules(result)
