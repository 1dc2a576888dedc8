"""Whether a sculpt shows one side or both: told where it is plain, asked for where not, and as the spec says."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import plica
from plica.api.skin import AttachedMesh
from plica.mesh.arrays import Floats
from plica.mesh.npz import written
from tests.support.wren import CHARACTER, skinned

DRIVER = "driver elbow both { reads rotation about x of lowerarm   span 0 deg .. 120 deg }\n"


def attached(folder: Path, right: float, fact: str) -> tuple[AttachedMesh, Floats]:
    """Wren with a sculpt that lifts the left by 4 mm and the right by a share of it; and the sculpt (v, 3)."""
    mesh = skinned("", folder).mesh
    moves = np.zeros_like(mesh.positions)
    share = np.clip((np.abs(mesh.positions[:, 0]) - 0.02) / 0.02, 0.0, 1.0)
    moves[:, 1] = 0.004 * share * np.where(mesh.positions[:, 0] > 0, 1.0, right)
    moving = np.flatnonzero(np.abs(moves).any(axis=1))
    arrays = {"indices": moving, "offsets": moves[moving], "vertex_count": np.array(mesh.vertex_count)}
    (folder / "lift.npz").write_bytes(written(arrays))
    shape = f'shape lift both {{ sculpt "lift.npz"   {fact}   follows elbow }}\n'
    (folder / "wren.plica").write_text(CHARACTER + DRIVER + shape, "utf-8")
    return plica.attach_mesh(plica.compile_file(folder / "wren.plica")), moves


def summed(mesh: AttachedMesh) -> Floats:
    """What both sides' shapes add together (v, 3)."""
    assert mesh.attached is not None
    result = np.zeros_like(mesh.positions)
    for shape in mesh.attached.shapes.values():
        result[shape.primary.indices] += shape.primary.offsets
    return result


@pytest.mark.parametrize(
    ("right", "sided"), [(0.0, "one-sided"), (0.3, "one-sided"), (0.8, "two-sided"), (1.0, "two-sided")]
)
def test_what_is_plain_is_told(right: float, sided: str, tmp_path: Path) -> None:
    mesh, moves = attached(tmp_path, right, "")
    assert mesh.ok and mesh.attached is not None
    assert {size.sided for size in mesh.attached.sizes.values()} == {sided}
    if sided == "two-sided":
        assert np.abs(summed(mesh) - moves).max() < 2e-6  # less than that is taken for rounding of files


@pytest.mark.parametrize("right", [0.45, 0.49, 0.51, 0.65])
def test_what_is_not_plain_is_asked_for(right: float, tmp_path: Path) -> None:
    mesh, _ = attached(tmp_path, right, "")
    assert [one.name for one in mesh.diagnostics] == ["sides-unclear"] and not mesh.ok
    assert "one-sided" in (mesh.diagnostics[0].hint or "")


@pytest.mark.parametrize("right", [0.0, 0.49, 0.51, 1.0])
def test_what_the_spec_says_holds(right: float, tmp_path: Path) -> None:
    two, moves = attached(tmp_path, right, "two-sided")
    assert two.ok and np.abs(summed(two) - moves).max() < 2e-6  # never more than the sculpt
    one, moves = attached(tmp_path, right, "one-sided")
    assert one.ok and one.attached is not None
    left = one.attached.shapes["left_lift"].primary
    assert np.array_equal(left.offsets, moves[left.indices])  # as it was sculpted, wherever it moves
