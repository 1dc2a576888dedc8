"""An edited model is seen in the sculpts that were made before, without any fingerprint."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

import plica
from plica.mesh.arrays import Floats, Mesh
from tests.support.sculpted import bumped, obj
from tests.support.wren import CHARACTER, skinned

DRIVERS = """driver elbow both { reads rotation about x of lowerarm   span 0 deg .. 120 deg }
driver knee both { reads rotation about x of lowerleg   span 0 deg .. 120 deg }
shape swell both { sculpt "elbow.obj"  posed at elbow 1   one-sided   follows elbow }
shape hold both { sculpt "knee.obj"  posed at knee 1   one-sided   follows knee }
"""


class Sculpted(NamedTuple):
    """Wren's mesh, the folder with her model, and a bump on her in each pose, by the driver's name."""

    mesh: Mesh
    folder: Path
    sculpts: dict[str, Floats]


@pytest.fixture(scope="module")
def wren(tmp_path_factory: pytest.TempPathFactory) -> Sculpted:
    folder = tmp_path_factory.mktemp("wren")
    mesh = skinned("", folder).mesh
    rig = folder / "bare.plica"
    rig.write_text(CHARACTER + DRIVERS.split("shape", 1)[0], "utf-8")
    character = plica.compile_file(rig)
    rest = plica.pose_skin(character).positions
    sculpts: dict[str, Floats] = {}
    for name in ("elbow", "knee"):
        posed = plica.pose_skin(character, at=f"{name} 1").positions
        moved = np.linalg.norm(posed - rest, axis=1)
        middle = int(np.argmin(np.abs(moved - moved.max() / 2)))
        sculpts[name] = bumped(posed, middle, 0.02, 0.006)
    return Sculpted(mesh, folder, sculpts)


def attached(wren: Sculpted, edit: bool, slip: bool) -> list[tuple[str, str]]:
    """What is said of two sculpts, made before thirty vertices of the head were moved, or with a slip in one."""
    head = np.argsort(wren.mesh.positions[:, 1])[-30:]
    for name, bump in wren.sculpts.items():
        sculpt = bump.copy()
        if edit or (slip and name == "elbow"):
            sculpt[head] += [0.0, 0.0002, 0.0003]
        (wren.folder / f"{name}.obj").write_bytes(obj(sculpt, wren.mesh.triangles))
    rig = wren.folder / "bare.plica"
    rig.write_text(CHARACTER + DRIVERS, "utf-8")
    found = plica.attach_mesh(plica.compile_file(rig)).diagnostics
    return [(one.name, one.message) for one in found]


@pytest.mark.parametrize("case", ["as they were", "edited", "a slip"])
def test_what_is_left_over_is_told(case: str, wren: Sculpted) -> None:
    found = attached(wren, case == "edited", case == "a slip")
    if case == "as they were":
        assert found == []
    elif case == "edited":
        [(name, message)] = found
        assert name == "sculpts-of-edited-neutral" and "30 vertices" in message and "`head`" in message
        assert "elbow.obj" in message and "knee.obj" in message
    else:
        [(name, message)] = found
        assert name == "sculpt-with-strays" and "elbow.obj" in message and "30 vertices" in message
