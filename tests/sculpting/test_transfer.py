"""Sculpts carried over to another character of like build: Wren's to a larger cousin with longer forearms."""

from __future__ import annotations

import re
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

import plica
from plica.commands.main import run
from plica.evaluate.pose_components import skeleton_of
from plica.mesh.arrays import Floats, Integers, Offsets
from plica.mesh.npz import arrays_of, written
from plica.mesh.offsets import lengths
from plica.sculpting.fitting import BodyInStance, fitted, match_joints
from plica.sculpting.rebase import Rebasing
from tests.support.sculpted import SculptGround, ground_of
from tests.support.wren import CHARACTER, Skinned, skinned
from tests.variants.model_file import Model, Primitive, read_model, write_model

DRIVER = "driver elbow both { reads rotation about x of lowerarm   span 0 deg .. 120 deg }\n"
BARE = "shape swell both { follows elbow }\n"
SHAPE = 'shape swell both { sculpt "swell.npz"  posed at elbow 1   one-sided   follows elbow }\n'
LARGER, LONGER = 1.1, 1.2
ORDER = np.random.default_rng(5).permutation(23713)


class Two(NamedTuple):
    """Specs of Wren and of her cousin of another build, and what takes Wren's skin to the cousin's (v, 3, 3)."""

    wren: Path
    cousin: Path
    turns: Floats

    def offsets(self, which: Path) -> Floats:
        """The shape's offsets (v, 3) on the undeformed mesh, in the order of Wren's vertices."""
        mesh = plica.attach_mesh(plica.compile_file(which))
        assert mesh.attached is not None and mesh.ok, mesh.diagnostics
        primary = mesh.attached.shapes["left_swell"].primary
        result = np.zeros_like(mesh.positions)
        result[primary.indices] = primary.offsets
        return result if which == self.wren else result[np.argsort(ORDER)]


def swelling(wren: Skinned) -> bytes:
    """A swelling on the left forearm: smooth, 0.1 m wide, 4 mm high."""
    mesh, [joint] = wren.mesh, [row for row, one in enumerate(wren.rig.skeleton) if one.name == "lowerarm_lf"]
    held = (mesh.weights * (mesh.bind_joints[mesh.joints] == joint)).sum(axis=1)
    middle = mesh.positions[np.argmax(held)]
    share = np.clip(1.0 - lengths(mesh.positions - middle) / 0.05, 0.0, 1.0)
    moving = np.flatnonzero(share)
    moves = share[moving, None] * np.array([0.001, 0.003, 0.002])
    return written({"indices": moving, "offsets": moves, "vertex_count": np.array(mesh.vertex_count)})


def other_build(model: Model) -> Floats:
    """Makes the character LARGER, and its forearms with all that hangs on them LONGER beside; posed with these scales,
    its skin is that of the new bones. What takes its vertices there, (v, 3, 3)."""
    locals_of = {row: node.local.copy() for row, node in enumerate(model.nodes)}
    for name in ("lowerarm_lf", "lowerarm_rt"):
        locals_of[model.node(name)][:3, :3] *= LONGER
    worlds = [np.diag([LARGER, LARGER, LARGER, 1.0]) @ world for world in model.worlds(locals_of)]
    [skin] = model.skins
    [mesh] = [one for one in model.meshes if one.primitives]
    [primitive] = mesh.primitives
    moved = np.array([worlds[joint] for joint in skin.joints]) @ skin.inverse_binds
    skins = np.einsum("vk,vkij->vij", primitive.weights, moved[primitive.joints])
    primitive.positions[:] = np.einsum("vij,vj->vi", skins[:, :3, :3], primitive.positions) + skins[:, :3, 3]
    for world in worlds:
        world[:3, :3] /= np.cbrt(np.linalg.det(world[:3, :3]))
    model.put(worlds)
    skin.inverse_binds = np.linalg.inv(np.array([worlds[joint] for joint in skin.joints]))
    return np.asarray(skins[:, :3, :3])


def with_order(old: Primitive, order: Integers) -> Primitive:
    """The same vertices in another order."""
    return Primitive(
        old.positions[order],
        None if old.normals is None else old.normals[order],
        None if old.uvs is None else old.uvs[order],
        np.argsort(order)[old.triangles],
        old.joints[order],
        old.weights[order],
        {name: moves[order] for name, moves in old.morphs.items()},
        old.source[order],
    )


@pytest.fixture
def two(tmp_path: Path) -> Two:
    for name in ("wren", "cousin"):
        (tmp_path / name).mkdir()
        mesh = skinned(DRIVER + BARE, tmp_path / name)
    (tmp_path / "wren" / "swell.npz").write_bytes(swelling(mesh))
    (tmp_path / "wren" / "wren.plica").write_text(CHARACTER + DRIVER + SHAPE, "utf-8")
    model = read_model(tmp_path / "cousin" / "wren.glb")
    turns = other_build(model)
    [mesh] = [one for one in model.meshes if one.primitives]
    mesh.primitives = [with_order(mesh.primitives[0], ORDER)]
    write_model(model, tmp_path / "cousin" / "wren.glb")
    return Two(tmp_path / "wren" / "wren.plica", tmp_path / "cousin" / "wren.plica", turns)


def test_a_larger_body_with_longer_forearms(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    """Offsets are scaled with the bones that carry them; vertices have other numbers, so that places tell."""
    assert run(["adopt", str(two.cousin), "--from", str(two.wren)]) == 0, capsys.readouterr().err
    shown = capsys.readouterr().out
    assert "by name), which hold 100 % of the sculpted skin" in shown and "doubtful" not in shown
    [line] = re.findall("the spec is to say in shape swell:  (.*)", shown)
    assert line == 'sculpt "sculpts/swell.npz"  posed at elbow 1  one-sided'
    two.cousin.write_text(CHARACTER + DRIVER + BARE.replace("follows", f"{line}  follows"), "utf-8")
    before, after = two.offsets(two.wren), two.offsets(two.cousin)
    expected = np.einsum("vij,vj->vi", two.turns, before)
    assert lengths(expected).max() > 1.3 * lengths(before).max() > 0.004
    assert lengths(after - expected).max() < 1e-7


def test_only_shapes_and_bodies_that_fit(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    """Each mistake is told, and nothing is written."""
    spec, other, folder = str(two.cousin), str(two.wren), two.cousin.parent
    assert run(["adopt", spec, "--from", other, "--over", other]) == 2
    assert run(["adopt", spec, "swell", "--from", other]) == 2
    assert run(["adopt", spec, "swell", "swell.npz", "--shape", "swell"]) == 2
    assert run(["adopt", spec, "--over", other, "--shape", "swell"]) == 2
    assert run(["adopt", spec, "--from", str(folder / "absent.plica")]) == 1
    assert run(["adopt", spec, "--from", other, "--shape", "swel"]) == 1
    assert "swell" in capsys.readouterr().err
    two.cousin.write_text(CHARACTER + DRIVER + BARE + BARE.replace("swell", "crease"), "utf-8")
    assert run(["adopt", spec, "--from", other, "--shape", "crease"]) == 1
    assert "PL898" in capsys.readouterr().err
    two.cousin.write_text(CHARACTER + DRIVER + BARE.replace("swell", "crease"), "utf-8")
    assert run(["adopt", spec, "--from", other]) == 1
    assert "has no sculpt for any shape of the spec; it has sculpts for: swell" in capsys.readouterr().err
    assert not (folder / "sculpts").exists()


def test_joints_of_other_names(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    """The only elbow of a side matches, whatever it is called otherwise; names that say nothing do not."""
    for names, code in (
        ({"lowerarm": "forearm"}, 0),
        ({"lowerarm": "segment", "upperarm": "part", "hand": "piece"}, 1),
    ):
        model = read_model(two.cousin.parent / "wren.glb")
        for node in model.nodes:
            stem, side = (node.name or "")[:-3], (node.name or "")[-3:]
            node.name = f"{names[stem]}{side}" if stem in names else node.name
        (two.cousin.parent / "other.glb").unlink(missing_ok=True)
        write_model(model, two.cousin.parent / "other.glb")
        character = CHARACTER.replace("wren.glb", "other.glb")
        two.cousin.write_text(character + DRIVER.replace("lowerarm", names["lowerarm"]) + BARE, "utf-8")
        assert run(["adopt", str(two.cousin), "--from", str(two.wren), "--replace"]) == code
        shown = capsys.readouterr()
        assert "58 by name, 2 by what they are" in shown.out if code == 0 else "PL899" in shown.err


def test_what_hangs_on_joints_without_partner_is_doubtful(two: Two) -> None:
    """Wren herself, but her left forearm is called something else: the skin that it holds most of."""
    character = plica.compile_file(two.wren)
    attached = plica.attach_mesh(character).attached
    assert attached is not None and character.rig is not None
    renamed = [
        joint._replace(name="segment") if joint.name == "lowerarm_lf" else joint for joint in character.rig.skeleton
    ]
    joints = [joint._replace(parent="segment") if joint.parent == "lowerarm_lf" else joint for joint in renamed]
    here = BodyInStance(character.rig, attached.mesh)
    there = BodyInStance(character.rig._replace(skeleton=tuple(joints)), attached.mesh)
    matched = match_joints(there, here)
    partners = {row: other for row, other in matched.partners.items() if there.rig.skeleton[row].name != "segment"}
    assert len(partners) == len(joints) - 1
    rebasing = Rebasing(attached, attached, character.joints, fitted(there, here, matched))
    everywhere = Offsets(np.arange(attached.mesh.vertex_count), np.full((attached.mesh.vertex_count, 3), 0.001))
    mesh, row = attached.mesh, character.joints.index("lowerarm_lf")
    held = (mesh.weights * (mesh.bind_joints[mesh.joints] == row)).sum(axis=1)
    carried = rebasing.carry("all", 1.0, everywhere)
    assert carried.doubtful == (held > 0.5).sum() > 0 and carried.joint == "lowerarm_lf"


def test_a_body_of_another_maker(tmp_path: Path) -> None:
    """A bump on one body's left forearm comes to another's, which faces another way under joints of other names: as
    high as the forearms' lengths say, within a fifth, and as far along, within a tenth (13 vertices move)."""
    one, other = (ground_of(name, made(tmp_path / name)) for name in ("full_body", "base_mesh_facing_x"))
    moves = one.sculpted() - one.at(1.0)
    moving = np.flatnonzero(lengths(moves))
    arrays = {"indices": moving, "offsets": moves[moving], "vertex_count": np.array(len(moves))}
    (tmp_path / "full_body" / "bump.npz").write_bytes(written(arrays))
    spec = tmp_path / "full_body" / "spec.plica"
    fact = 'sculpt "bump.npz"  posed at elbow 1  one-sided  follows'
    spec.write_text(spec.read_text("utf-8").replace("follows", fact), "utf-8")
    source = plica.compile_file(spec, allow=one.character.allow)
    result = plica.transfer_sculpts(other.character, source)
    assert result.ok, result.diagnostics
    assert result.sentences[0].startswith("16 of 66 joints are matched (0 by name, 16 by what they are)")
    assert "doubtful" not in result.sentences[1]
    arrays = arrays_of(result.files["sculpts/crease.npz"])
    length, place = along(one, "lowerarm_l", "hand_l", moving, lengths(moves[moving]))
    other_length, other_place = along(other, "forearm.L", "hand.L", arrays["indices"], lengths(arrays["offsets"]))
    assert abs(other_place - place) < 0.1
    height = lengths(arrays["offsets"]).max() / lengths(moves).max()
    assert height == pytest.approx(other_length / length, rel=0.2)


def along(ground: SculptGround, joint: str, end: str, vertices: Integers, heights: Floats) -> tuple[float, float]:
    """How long a bone is, and how far along it, 0 to 1, the middle of a bump lies, at rest."""
    rig = ground.character.rig
    assert rig is not None
    frames = skeleton_of(rig).frames
    start, stop = (np.array(frames[ground.character.joints.index(name)].origin) for name in (joint, end))
    middle = np.average(ground.at(0.0)[vertices], axis=0, weights=heights)
    length = float(np.linalg.norm(stop - start))
    return length, float((middle - start) @ (stop - start)) / length**2


def made(folder: Path) -> Path:
    folder.mkdir()
    return folder
