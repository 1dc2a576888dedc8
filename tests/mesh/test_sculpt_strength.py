"""A sculpt lands where it was made, or the spec says why it cannot."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import plica
from plica.api.skin import AttachedMesh
from tests.support.sculpted import bumped, obj
from tests.support.wren import CHARACTER, skinned

DRIVER = "driver elbow both { reads rotation about x of lowerarm   span 0 deg .. 120 deg }\n"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with Wren, and a sculpt of hers at 84 degrees, seven tenths of the driver's span."""
    made = tmp_path_factory.mktemp("wren")
    skinned("", made)
    (made / "wren.plica").write_text(CHARACTER + DRIVER, "utf-8")
    posed = plica.pose_skin(plica.compile_file(made / "wren.plica"), at="elbow 0.7")
    sculpt = bumped(posed.positions, int(np.argmax(posed.positions[:, 0])), 0.03, 0.006)
    (made / "half.obj").write_bytes(obj(sculpt, posed.mesh.triangles))
    np.save(made / "sculpt.npy", sculpt)
    return made


def attached(folder: Path, shape: str) -> AttachedMesh:
    (folder / "wren.plica").write_text(f"{CHARACTER}{DRIVER}shape bump both {{ {shape}   follows elbow }}\n", "utf-8")
    return plica.attach_mesh(plica.compile_file(folder / "wren.plica"))


def test_a_part_strength_that_is_said_is_meant(folder: Path) -> None:
    mesh = attached(folder, 'sculpt "half.obj"  posed at elbow 0.7')
    assert [one.name for one in mesh.diagnostics] == ["sculpt-of-part-strength"] and mesh.ok
    pose = plica.pose(mesh.character, strengths={"left_elbow": 0.7})
    landed = plica.deform_mesh(mesh, pose).positions[0]
    assert np.abs(landed - np.load(folder / "sculpt.npy")).max() < 2e-6


@pytest.mark.parametrize(
    "shape",
    [
        'sculpt "half.obj"  posed at about x of lowerarm 84 deg',
        'sculpt "half.obj"  posed at elbow 0.7   inbetween 0.5 "half.obj"  posed at elbow 0.7',
    ],
)
def test_another_strength_is_refused(shape: str, folder: Path) -> None:
    mesh = attached(folder, shape)
    assert "sculpt-at-other-strength" in {one.name for one in mesh.diagnostics} and not mesh.ok


def test_an_inbetween_at_its_own_strength_is_right(folder: Path) -> None:
    mesh = attached(folder, 'sculpt "half.obj"  posed at elbow 0.7')
    assert mesh.ok
    both = 'sculpt "half.npz"   inbetween 0.7 "half.obj"  posed at about x of lowerarm 84 deg'
    taken = plica.adopt_sculpt(mesh.character, "bump", folder / "half.obj", at="elbow 0.7")
    assert taken.ok
    taken.write(folder / "half.npz")
    mesh = attached(folder, both)
    assert [one.name for one in mesh.diagnostics] == []
