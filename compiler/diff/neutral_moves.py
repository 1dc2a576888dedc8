"""How a model's neutral changed: the vertices of its mesh, and the joints in the neutral stance."""

from __future__ import annotations

from math import dist
from typing import TYPE_CHECKING, NamedTuple

from plica.diff.value_text import ARROW, amount
from plica.rig.rig import Rig

if TYPE_CHECKING:
    from plica.mesh.arrays import Mesh

_MOVED = 1e-9  # metres


class NeutralEffect(NamedTuple):
    """The vertices of both neutral meshes; how many moved, by how much at most (metres), the joint that carries that
    vertex most; the same of joints.

    `moved` and `largest` are None where the two meshes cannot be compared vertex by vertex.
    """

    vertices: tuple[int, int]
    moved: int | None
    largest: float | None
    near: str | None
    joints: int
    farthest: float
    joint: str | None


def neutral_effect(old: tuple[Rig, Mesh], new: tuple[Rig, Mesh]) -> NeutralEffect | None:
    """What moved between two neutrals; None where nothing did."""
    import numpy as np

    (before_rig, before), (after_rig, after) = old, new
    counts = before.vertex_count, after.vertex_count
    joints, farthest, joint = _joints(before_rig, after_rig)
    if counts[0] != counts[1] or not np.array_equal(before.triangles, after.triangles):
        return NeutralEffect(counts, None, None, None, joints, farthest, joint)
    distances = np.linalg.norm(after.positions - before.positions, axis=1)
    moved = int((distances > _MOVED).sum())
    if not moved and not joints:
        return None
    near = _near(after_rig, after, int(distances.argmax())) if moved else None
    return NeutralEffect(counts, moved, float(distances.max(initial=0.0)), near, joints, farthest, joint)


def _near(rig: Rig, mesh: Mesh, vertex: int) -> str | None:
    from plica.mesh.vertex_places import heaviest_joints

    joint = int(heaviest_joints(mesh)[vertex])
    return rig.skeleton[joint].name if 0 <= joint < len(rig.skeleton) else None


def _joints(old: Rig, new: Rig) -> tuple[int, float, str | None]:
    """How many joints of both states stand elsewhere in the model, by how much at most (metres), and which."""
    from plica.evaluate.pose_components import skeleton_of

    before, after = skeleton_of(old), skeleton_of(new)
    distances = {
        joint.name: dist(before.frames[before.index[joint.name]].origin, after.frames[index].origin)
        for index, joint in enumerate(after.joints)
        if joint.name in before.index
    }
    far = {name: distance for name, distance in distances.items() if distance > _MOVED}
    farthest = max(far, key=lambda name: far[name], default=None)
    return len(far), 0.0 if farthest is None else far[farthest], farthest


def neutral_text(effect: NeutralEffect) -> str:
    """What moved, in a sentence."""
    parts = []
    if effect.moved is None or effect.largest is None:
        old, new = effect.vertices
        parts.append(
            f"another mesh: {old} {ARROW} {new} vertices"
            if old != new
            else f"another mesh: {old} vertices as before, with other triangles"
        )
    elif effect.moved:
        where = f", the farthest on {effect.near}" if effect.near else ""
        one = "1 vertex of the neutral mesh moves"
        many = f"{effect.moved} vertices of the neutral mesh move"
        parts.append(f"{one if effect.moved == 1 else many}, by at most {amount(effect.largest, 'mm')}{where}")
    if effect.joints:
        many = "1 joint stands" if effect.joints == 1 else f"{effect.joints} joints stand"
        parts.append(f"{many} elsewhere, by at most {amount(effect.farthest, 'mm')} ({effect.joint})")
    return "; ".join(parts)
