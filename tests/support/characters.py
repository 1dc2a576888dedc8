"""The real characters of the shared data with paired joints, and specs that read every pair in every way."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy.spatial.transform import Rotation

from plica.pipeline import Compiled, compile_text
from plica.rig.rig import Rig
from plica.workspace import Workspace
from tests.support.data import SMALL_DATA, shared_data


class Paired(NamedTuple):
    """A model with paired joints and its name patterns; `kept` if a copy lives in the repository."""

    folder: str
    file: str
    left: str
    right: str
    kept: bool = False

    @property
    def path(self) -> Path:
        """The model's file; skips the test where the shared data is not there."""
        if self.kept:
            return SMALL_DATA / "characters" / self.folder / self.file
        return shared_data("characters", self.folder, self.file)


PAIRED = (
    Paired("full_body", "full_body.gltf", "*_l", "*_r"),
    Paired("base_mesh_facing_x", "base_mesh.glb", "*.L", "*.R"),
    Paired("mannequin", "mannequin.gltf", "*.l", "*.r"),
    Paired("rigged_figure", "RiggedFigure.glb", "*_L_*", "*_R_*"),
)

# Every reading kind, with own, parent and model axes; `{joint}` is the pair, `{number}` makes names unique.
READINGS = (
    "rotation about x of {joint}",
    "rotation about (0.3, -0.8, 0.5) of {joint}",
    "rotation about y in model of {joint}",
    "rotation about z in parent of {joint}",
    "bend of {joint}",
    "swing toward z of {joint} along y",
    "swing toward (1, 0.2, -0.4) in model of {joint} along x in parent",
    "euler x order xyz of {joint}",
    "euler y order zxy of {joint}",
    "euler z order yxz of {joint}",
    "offset y of {joint}",
    "offset x in model of {joint}",
    "offset (0.5, 0.5, -1) in parent of {joint}",
    "scale along y of {joint}",
    "scale along z in model of {joint}",
    "gap of {joint} from left {joint}",
    "rotation about (0.3, -0.8, 0.5) of {joint} from {other}",
    "rotation about y in model of {joint} from {other}",
    "bend of {joint} from {other}",
    "swing toward z of {joint} from {other} along y",
    "euler y order zxy of {joint} from {other}",
    "offset (0.5, 0.5, -1) in parent of {joint} from {other}",
    "offset x in model of {other} from {joint}",
)


def spec_reading_everything(character: str, bases: list[str]) -> str:
    """A spec with a driver for every pair and every reading, a field for every pair, and combines."""
    lines = ["plica 1", character, "control c1 both { }", "driver dial both { reads control c1 span 0 .. 1 }"]
    for number, base in enumerate(bases):
        joint = f'"{base}"'
        other = f'"{bases[(number + 1) % len(bases)]}"'
        for kind, reading in enumerate(READINGS):
            written = reading.format(joint=joint, other=other)
            if written.startswith("gap"):
                written = f"gap of {joint} from {other}"
            unit = "m" if written.startswith(("offset", "gap")) else "deg"
            # What hangs on whole limbs moves ten times as far, and shows the digits of rounded weights as much more.
            length = "-0.2 m .. 0.5 m" if written.startswith("offset") and " from " in written else "-0.02 m .. 0.05 m"
            span = length if unit == "m" else "-30 deg .. 120 deg"
            if written.startswith("scale"):
                span = "-10 % .. 20 %"
            if written.startswith("bend"):
                span = "0 deg .. 120 deg"
            curve = ("smooth", "0 0, 0.5 0.35, 1 1", "linear", "ease")[kind % 4]
            lines.append(f"driver d{number}_{kind} both {{ reads {written} span {span} curve {curve} }}")
        lines.append(
            f"field f{number} both {{ reads rotation of {joint} sample a at about z 70 deg "
            f"sample b at about y in model -60 deg, about x 20 deg }}"
        )
        lines.append(
            f"field g{number} both {{ reads direction y of {joint} from {other} "
            f"sample a at about z 70 deg kernel linear }}"
        )
        lines.append(f"combine c{number} both = least(d{number}_0, sum(d{number}_4, f{number}.a))")
    return "\n".join(lines)


def compile_everything(character: str, folder: Path) -> Compiled:
    """The spec above for all pairs of a character block."""
    workspace = Workspace(folder)
    first = compile_text(f"plica 1\n{character}", "first.plica", workspace)
    assert first.spec is not None, [result.message for result in first.diagnostics]
    bases = sorted(first.spec.bound.sides.pairs)
    return compile_text(spec_reading_everything(character, bases), "everything.plica", workspace)


def from_file(paired: Paired) -> str:
    """The character block of a model as it is."""
    return f'character c {{ geometry "{paired.path.name}" left "{paired.left}" right "{paired.right}" }}'


def made_even(rig: Rig, paired: Paired) -> str:
    """The character block of the same skeleton, declared in the text, with exactly mirrored rest positions.

    Files hold 32-bit numbers, so left and right miss each other by about a ten-millionth; only readings of distances
    notice. The rest rotations, which is where the frames differ, are kept to the last bit.
    """
    assert rig.symmetry is not None
    axis = "xyz".index(rig.symmetry.axis)
    index = {joint.name: number for number, joint in enumerate(rig.skeleton)}
    turns: list[Rotation] = []
    origins: list[np.ndarray] = []
    lines = []
    for joint in rig.skeleton:
        parent = index.get(joint.parent) if joint.parent is not None else None
        turn = Rotation.from_quat(joint.neutral.rotation)
        turns.append(turn if parent is None else turns[parent] * turn)
        origin = np.array(joint.neutral.translation)
        if parent is not None:
            origin = origins[parent] + turns[parent].apply(origin)
        if joint.side == "none":
            origin[axis] = rig.symmetry.offset
        elif joint.partner in index and index[joint.partner] < len(origins):
            origin = origins[index[joint.partner]].copy()
            origin[axis] = 2 * rig.symmetry.offset - origin[axis]
        origins.append(origin)
        local = origin if parent is None else turns[parent].inv().apply(origin - origins[parent])
        place = ", ".join(f"{value!r} m" for value in local.tolist())
        under = f'under "{joint.parent}" ' if joint.parent is not None else ""
        vector = turn.as_rotvec()
        angle = float(np.linalg.norm(vector))
        components = ", ".join(map(repr, vector.tolist()))
        turned = f" turned about ({components}) {angle!r} rad" if angle > 1e-12 else ""
        lines.append(f'joint "{joint.name}" {under}at {place}{turned}')
    joints = "\n".join(lines)
    plane = f"symmetry across {rig.symmetry.axis} at {rig.symmetry.offset!r} m"
    return f'character c {{ skeleton {{\n{joints}\n}}\n{plane}\nleft "{paired.left}"\nright "{paired.right}" }}'
