"""Sculpts that come back from other programs: each is taken for what it is, and lands where it was sculpted."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

import plica
from plica.mesh.inbetweens import Inbetweens
from plica.mesh.recognition.pose_path import PosePath
from tests.support.sculpted import FILES, SculptGround, bumped, ground_of, obj

SAID = {
    "in centimetres": "centimetres",
    "in millimetres": "millimetres",
    "z up": "z points up",
    "at rest": "at rest",
    "at 90 degrees": "90 deg",
    "moved as a whole": "moved by",
    "mirrored": "mirrored",
    "renumbered": "another order",
    "welded and renumbered, in centimetres": "another order",
}
CASES = [("full_body", name) for name in FILES]
CASES += [(body, name) for body in ("base_mesh_facing_x", "wren") for name in ("in centimetres", "at 90 degrees")]


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for the characters of this module."""
    return tmp_path_factory.mktemp("characters")


@lru_cache(maxsize=3)
def ground(name: str, folder: Path) -> SculptGround:
    place = folder / name
    place.mkdir()
    return ground_of(name, place)


@pytest.mark.parametrize(("body", "case"), CASES)
def test_a_file_is_told_by_its_untouched_vertices(body: str, case: str, folders: Path, tmp_path: Path) -> None:
    given = ground(body, folders)
    file = tmp_path / "back.obj"
    file.write_bytes(FILES[case](given))
    taken = plica.adopt_sculpt(given.character, "crease", file)
    assert taken.ok and taken.neutral is not None, taken.diagnostics
    assert (SAID.get(case, "confirmed") in " ".join(taken.sentences)) and taken.line == "posed at elbow 1   one-sided"
    assert ("put right" in " ".join(taken.sentences)) == (case in SAID)
    share = {"at rest": 0.0, "at 90 degrees": 0.75}.get(case, 1.0)
    # The offsets, given to the character as a shape, put the skin where it was sculpted.
    rig = given.character.rig
    assert rig is not None
    shaped = PosePath(given.posed.mesh.mesh, rig, {"left_crease": Inbetweens(taken.neutral)}, given.posed.poses)
    wanted = given.sculpted(share)
    if share == 1.0:
        landed = shaped.positions(np.array([1.0]))[0]
    else:  # where the shape is not fully on, its whole offsets are added by hand
        mesh = given.posed.mesh.mesh
        moved = mesh.positions.copy()
        moved[taken.neutral.indices] += taken.neutral.offsets
        landed = _posed_from(given, moved, share)
    rounding = 1e-4 if "rounded" in case else 2e-6
    assert np.abs(landed - wanted).max() <= rounding * given.size


def _posed_from(given: SculptGround, places: np.ndarray, share: float) -> np.ndarray:
    """Other places (v, 3) of the undeformed mesh, skinned by matrices at a share of the way."""
    from plica.mesh.deform import Deformer

    assert given.character.rig is not None
    deformer = Deformer(given.posed.mesh.mesh, given.character.rig, {})
    skins = deformer.motion(given.path.poses(np.array([share]))).skins
    matrices = deformer.skinning.matrices(skins)[0]
    return np.einsum("vij,vj->vi", matrices[:, :, :3], places) + matrices[:, :, 3]


def test_nothing_sculpted_is_refused(folders: Path, tmp_path: Path) -> None:
    given = ground("full_body", folders)
    (tmp_path / "back.obj").write_bytes(obj(given.at(1.0) * 100, given.triangles))
    taken = plica.adopt_sculpt(given.character, "crease", tmp_path / "back.obj")
    assert [one.name for one in taken.diagnostics] == ["sculpt-without-change"]


def test_another_body_is_refused(folders: Path, tmp_path: Path) -> None:
    given = ground("full_body", folders)
    noise = np.random.default_rng(5).normal(size=given.at(1.0).shape)
    (tmp_path / "back.obj").write_bytes(obj(noise, given.triangles))
    taken = plica.adopt_sculpt(given.character, "crease", tmp_path / "back.obj")
    assert [one.name for one in taken.diagnostics] == ["sculpt-not-recognised"]
    (tmp_path / "back.obj").write_bytes(obj(given.at(1.0)[:-9], given.triangles[:1]))
    taken = plica.adopt_sculpt(given.character, "crease", tmp_path / "back.obj")
    assert [one.name for one in taken.diagnostics] == ["sculpt-of-other-size"]


def test_marks_far_from_the_sculpt_are_told_and_can_be_dropped(folders: Path, tmp_path: Path) -> None:
    given = ground("full_body", folders)
    head = int(np.argmax(given.at(1.0)[:, 1]))
    file = tmp_path / "back.obj"
    file.write_bytes(obj(bumped(given.sculpted(), head, 0.005 * given.size, given.size / 3000), given.triangles))
    kept = plica.adopt_sculpt(given.character, "crease", file)
    dropped = plica.adopt_sculpt(given.character, "crease", file, drop_strays=True)
    assert kept.offsets is not None and dropped.offsets is not None
    assert "a stray mark" in " ".join(kept.sentences) and "head" in " ".join(kept.sentences).lower()
    assert head in kept.offsets.indices and head not in dropped.offsets.indices
    assert set(dropped.offsets.indices.tolist()) < set(kept.offsets.indices.tolist())


def test_a_record_tells_the_pose_and_guards_the_neutral(folders: Path, tmp_path: Path) -> None:
    given = ground("full_body", folders)
    posed = plica.pose_skin(given.character, at="elbow 0.5")
    for name, content in posed.files("half.obj", metres=0.01, up="z").items():
        (tmp_path / name).write_bytes(content)
    x, y, z = (bumped(posed.positions, 4000, 0.02, 0.004) * 100).T
    (tmp_path / "half.obj").write_bytes(obj(np.stack([x, -z, y], axis=1), given.triangles))
    taken = plica.adopt_sculpt(given.character, "crease", tmp_path / "half.obj")
    assert taken.ok and "pose that was asked for" not in " ".join(taken.sentences)
    assert taken.line == "one-sided"  # the stub's own pose is another, so its offsets are said at rest
    record = (tmp_path / "half.pose.json").read_text("utf-8")
    (tmp_path / "half.pose.json").write_text(record.replace(given.posed.record.neutral[-6:], "000000"), "utf-8")
    taken = plica.adopt_sculpt(given.character, "crease", tmp_path / "half.obj")
    assert [one.name for one in taken.diagnostics] == ["sculpt-of-edited-skin"]
    (tmp_path / "half.pose.json").write_text("[]", "utf-8")
    taken = plica.adopt_sculpt(given.character, "crease", tmp_path / "half.obj")
    assert [one.name for one in taken.diagnostics] == ["unreadable-sculpt"]


def test_the_same_sculpt_gives_the_same_bytes(folders: Path, tmp_path: Path) -> None:
    given = ground("full_body", folders)
    (tmp_path / "back.obj").write_bytes(FILES["in centimetres"](given))
    contents = {plica.adopt_sculpt(given.character, "crease", tmp_path / "back.obj").content for _ in range(2)}
    assert len(contents) == 1
