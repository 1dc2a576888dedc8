"""The installing script: into documents of two open standards, up to date again after changes, out again, and proven.

The hosts of `tests/support` (`gltf_host.py`, `usd_host.py`) find out where the skin stands by glTF 2.0 and
by OpenUSD's own baking.
"""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from copy import deepcopy
from functools import cache
from pathlib import Path
from shutil import copy
from tempfile import mkdtemp
from types import ModuleType
from typing import Any

import numpy as np
import pytest

import plica
from plica.mesh.mesh_reader import mesh_of_rig
from plica.mesh.npz import written
from tests.support.cloth import COUNT, cloth
from tests.support.data import ROOT
from tests.support.gltf_host import GltfHost, document_of
from tests.support.installed import loaded, put_out, sculpt
from tests.support.old_python import old_python
from tests.support.usd_arms import usd_arms

PAGE = ROOT / "targets" / "python" / "hosts.md"
SINGLE = 1e-5  # strengths from joints that a stage keeps in single precision

CLOTH = """plica 1
character cloth { geometry "cloth.gltf" mesh "skin" }
driver lift { reads rotation about x of tip   span 0 deg .. 90 deg }
"""
BUMP = 'shape bump { sculpt "bump.npz"   follows lift   inbetween 0.5 "half.npz" }\n'
RIPPLE = 'shape ripple { sculpt "ripple.npz"   follows lift }\n'
SPARE = 'shape spare { sculpt "spare.npz"   follows lift }\n'
FIRST = CLOTH + BUMP + RIPPLE + SPARE


SCULPTS = {"bump": sculpt(1, 40), "half": sculpt(2, 30), "ripple": sculpt(3, 25), "spare": sculpt(4, 10)}


@cache
def state(text: str, **changed: bytes) -> ModuleType:
    """The installing script of a state of the cloth."""
    folder = Path(mkdtemp(dir=scratch()))
    spec = cloth(folder, text)
    for name, content in {**SCULPTS, **changed}.items():
        (folder / f"{name}.npz").write_bytes(content)
    return loaded(put_out(spec)[1], "cloth_install")


_scratch: list[Path] = []


def scratch() -> Path:
    """Where this file's tests build."""
    return _scratch[0]


@pytest.fixture(scope="module", autouse=True)
def _folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    _scratch.append(tmp_path_factory.mktemp("installed"))
    yield
    _scratch.clear()
    state.cache_clear()


# ---- documents --------------------------------------------------------------------------------------------------


def cloth_in_gltf(folder: Path) -> tuple[Any, Callable[[], Any]]:
    """A host over the cloth's file with a shape of somebody else's, and what a program would save."""
    cloth(folder)
    document = document_of(folder / "cloth.gltf")
    mesh = document["meshes"][0]
    mesh["extras"] = {"targetNames": ["theirs"]}
    mesh["primitives"][0]["targets"] = [{"POSITION": mesh["primitives"][0]["attributes"]["POSITION"]}]
    mesh["weights"] = [0.0]
    (folder / "theirs.gltf").write_text(json.dumps(document), "utf-8")
    return GltfHost(folder / "theirs.gltf", document), lambda: deepcopy(document)


def cloth_in_usd(folder: Path) -> tuple[Any, Callable[[], Any]]:
    """The same as a stage."""
    pytest.importorskip("pxr", reason="usd-core is not installed")
    from pxr import Gf, Usd, UsdSkel, Vt

    from tests.support.usd_host import UsdHost

    rig = plica.compile_file(cloth(folder)).rig
    stage = Usd.Stage.Open(str(usd_arms(folder, rig, mesh_of_rig(rig, folder / "cloth.gltf"))))
    theirs = UsdSkel.BlendShape.Define(stage, "/Root/skin/theirs")
    theirs.CreateOffsetsAttr([Gf.Vec3f(0, 0, 1)])
    theirs.CreatePointIndicesAttr(Vt.IntArray([3]))
    binding = UsdSkel.BindingAPI(stage.GetPrimAtPath("/Root/skin"))
    binding.CreateBlendShapesAttr(["theirs"])
    binding.CreateBlendShapeTargetsRel().SetTargets(["/Root/skin/theirs"])
    return UsdHost(stage, "skin"), lambda: stage.GetRootLayer().ExportToString()


DOCUMENTS = pytest.mark.parametrize("document", [cloth_in_gltf, cloth_in_usd], ids=["glTF", "OpenUSD"])


def shapes(host: Any) -> dict[str, Any]:
    """What every shape of the cloth is, by name."""
    (part,) = state(FIRST).Installation(host).rig.PARTS
    return {name: host.read_shape(part, name) for _, name, _ in host.shapes()}


def summary(changes: list[Any]) -> set[tuple[str, str]]:
    """What was done to which shape."""
    return {(change.what, change.name) for change in changes if change.what not in ("bound", "released")}


def stages_of(host: Any, *names: str) -> set[str]:
    """The names in the document of shapes, one for each of bump's inbetweens where the program has none."""
    return {*names, *(() if host.inbetweens or "bump" not in names else ("bump at 0.5",))}


# ---- what it does -------------------------------------------------------------------------------------------------


@DOCUMENTS
def test_installing_twice_changes_nothing_and_taking_out_leaves_the_document_as_before(
    document: Callable[[Path], tuple[Any, Callable[[], Any]]], tmp_path: Path
) -> None:
    host, saved = document(tmp_path)
    before = saved()
    rig = state(FIRST).Installation(host)
    assert summary(rig.install()) == {("added", name) for name in stages_of(host, "bump", "ripple", "spare")}
    assert list(host.bound_joints()) == ["tip"]
    installed = saved()
    assert rig.install() == []
    proof = rig.prove(strengths=SINGLE)
    assert proof.holds, proof
    assert (proof.poses, proof.every_position) == (16, True)
    assert proof.largest < proof.tolerance
    assert rig.install() == []
    assert saved() == installed
    again = state(FIRST).Installation(host)  # a script of another day knows it by the document alone
    assert summary(again.remove()) == {("removed", name) for name in stages_of(host, "bump", "ripple", "spare")}
    assert saved() == before
    assert again.remove() == []


@DOCUMENTS
def test_a_changed_build_is_brought_in_by_touching_what_changed(
    document: Callable[[Path], tuple[Any, Callable[[], Any]]], tmp_path: Path
) -> None:
    """Sculpts with other numbers, shapes renamed by the spec and without a word, and shapes that went."""
    host, _ = document(tmp_path)
    state(FIRST).Installation(host).install()
    before = shapes(host)
    ripple = 'shape wave { sculpt "wave.npz"   follows lift   renamed from ripple }\n'
    extra = FIRST.replace("shape spare", "shape extra")
    wag = (CLOTH + RIPPLE).replace("rotation about x of tip", "bend of base")
    for text, changed, expected in (
        (FIRST, {"half": sculpt(2, 30, 0.2)}, {("changed", "bump" if host.inbetweens else "bump at 0.5")}),
        (FIRST, {}, {("changed", "bump" if host.inbetweens else "bump at 0.5")}),
        (CLOTH + BUMP + ripple + SPARE, {"wave": sculpt(5, 12)}, {("renamed", "ripple"), ("changed", "wave")}),
        (extra, {}, {("renamed", "spare"), ("removed", "wave"), ("added", "ripple")}),
        (CLOTH + RIPPLE, {}, {("removed", name) for name in stages_of(host, "bump", "extra")}),
        (wag, {}, set()),
        (FIRST, {}, {("added", name) for name in stages_of(host, "bump", "spare")}),
    ):  # fmt: skip
        rig = state(text, **changed).Installation(host)
        assert summary(rig.install()) == expected
        assert rig.install() == []
        assert list(host.bound_joints()) == (["base"] if text == wag else ["tip"])
        assert rig.prove(strengths=SINGLE).holds
    assert shapes(host) == before


@DOCUMENTS
def test_what_is_not_ours_or_not_this_character_is_left_alone_and_refused(
    document: Callable[[Path], tuple[Any, Callable[[], Any]]], tmp_path: Path
) -> None:
    host, saved = document(tmp_path)
    before = saved()
    taken = state(FIRST.replace("shape ripple", "shape theirs"))
    with pytest.raises(taken.CannotInstall, match="a shape theirs is there that is not ours"):
        taken.Installation(host).install()
    assert saved() == before
    rig = taken.Installation(host, prefix="cloth ")
    rig.install()
    assert rig.prove(strengths=SINGLE).holds
    assert "cloth theirs" in shapes(host)
    without = taken.Installation(host, prefix="c ")
    assert {what for what, _ in summary(without.install())} == {"renamed"}
    without.remove()
    assert saved() == before
    other = state(FIRST)
    other.SKELETON["tip"] = ((2.0, 0.0, 0.1), (0.0, 0.0, 0.0, 1.0), (1.0, 1.0, 1.0))
    with pytest.raises(other.CannotInstall, match=r"in the rest pose the skin is off by 0\.1 m"):
        other.Installation(host).install()
    state.cache_clear()
    assert saved() == before


def test_a_proof_notices_what_is_off(tmp_path: Path) -> None:
    host, _ = cloth_in_gltf(tmp_path)
    rig = state(FIRST).Installation(host)
    assert rig.prove().problems == [f"{name} is not there as this build has it" for name in
                                    ("bump", "bump at 0.5", "ripple", "spare")]  # fmt: skip
    rig.install()
    (part,) = rig.rig.PARTS
    moves = host.read_shape(part, "ripple")[1.0]
    vertex = min(moves)
    host.write_shape(part, "ripple", {1.0: {**moves, vertex: (moves[vertex][0] + 1e-4, *moves[vertex][1:])}})
    assert rig.prove().problems == ["ripple is not there as this build has it"]
    (change,) = rig.install()
    assert str(change) == "changed ripple on skin: 1 offsets, by at most 0.0001"
    host.model.skins[0].inverse_binds[1, 0, 3] += 1e-3
    proof = rig.prove()
    assert not proof.holds and proof.largest == pytest.approx(1e-3, rel=0.1)
    host.model.skins[0].inverse_binds[1, 0, 3] -= 1e-3
    host.model.meshes[0].primitives[0].positions[-1, 2] += 1e-7  # below the tolerance, and another number
    assert rig.prove().holds and not rig.prove().every_position


def test_copies_and_files_of_another_build_are_refused(tmp_path: Path) -> None:
    host, _ = cloth_in_gltf(tmp_path)
    script = state(FIRST)
    rig = script.Installation(host)
    rig.install()
    (mark,) = [mark for _, name, mark in host.shapes() if name == "ripple"]
    host.make_shape(("skin", "skin"), "mine", mark)
    for call in (rig.install, rig.remove):
        with pytest.raises(script.CannotInstall, match="ripple and mine on skin carry the same mark"):
            call()
    other = state(CLOTH + RIPPLE)
    folder = Path(str(other.__file__)).parent
    copy(Path(str(script.__file__)).parent / "cloth.vectors.json", folder)
    with pytest.raises(other.CannotInstall, match="different builds"):
        other.Installation(host)
    state.cache_clear()


def test_it_needs_no_package_and_an_old_python_only() -> None:
    text = Path(str(state(FIRST).__file__)).read_text("ascii")
    tree = ast.parse(text, feature_version=(3, 7))
    imported = {name.name for node in ast.walk(tree) if isinstance(node, ast.Import) for name in node.names}
    imported |= {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert imported <= set(sys.stdlib_module_names)
    code = "import cloth_install as i; print(sorted(one.name for one in i.Installation(i.Host())._all_wanted()))"
    folder = Path(str(state(FIRST).__file__)).parent
    done = subprocess.run([old_python(), "-S", "-c", code], cwd=folder, capture_output=True, text=True, check=False)
    assert (done.stdout, done.stderr) == ("['bump', 'ripple', 'spare']\n", "")


def test_a_rig_that_came_from_a_stage_knows_points_from_their_copies(tmp_path: Path) -> None:
    """Texture seams make copies of points for the rig; the stage has each point once, and offsets go to it."""
    pytest.importorskip("pxr", reason="usd-core is not installed")
    from pxr import Sdf, Usd, UsdGeom, Vt

    from tests.support.usd_host import UsdHost

    rig = plica.compile_file(cloth(tmp_path)).rig
    path = usd_arms(tmp_path, rig, mesh_of_rig(rig, tmp_path / "cloth.gltf"))
    stage = Usd.Stage.Open(str(path))
    skin = UsdGeom.Mesh(stage.GetPrimAtPath("/Root/skin"))
    corners = np.array(skin.GetFaceVertexIndicesAttr().Get())
    seam = (np.arange(len(corners)) >= len(corners) // 2) + np.stack([corners % 41, corners // 41]) / 100
    uv = UsdGeom.PrimvarsAPI(skin).CreatePrimvar("st", Sdf.ValueTypeNames.TexCoord2fArray, "faceVarying")
    uv.Set(Vt.Vec2fArray.FromNumpy(seam.T.astype("<f4").copy()))
    stage.Save()
    spec = tmp_path / "stage.plica"
    spec.write_text(CLOTH.replace("cloth.gltf", "arms.usda"), "utf-8")
    points = mesh_of_rig(plica.compile_file(spec).rig, path).parts[0].points
    assert points is not None
    moves = np.random.default_rng(3).uniform(-0.1, 0.1, (COUNT, 3)).astype("<f4")[points]
    rows = np.arange(len(points), dtype="<i4")
    (tmp_path / "ripple.npz").write_bytes(
        written({"indices": rows, "offsets": moves, "vertex_count": np.array(len(points))})
    )
    spec.write_text((CLOTH + RIPPLE).replace("cloth.gltf", "arms.usda"), "utf-8")
    script = loaded(put_out(spec)[1], "cloth_install")
    host = UsdHost(Usd.Stage.Open(str(path)))
    installation = script.Installation(host)
    (part,) = installation.rig.PARTS
    assert part["points"] == COUNT < part["vertices"]
    installation.install()
    assert set(host.read_shape(part, "ripple")[1.0]) == set(range(COUNT))
    assert installation.prove(strengths=SINGLE).holds and installation.install() == []
