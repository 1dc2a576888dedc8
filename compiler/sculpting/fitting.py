"""One body's skin brought to another body of like build, so that places on both can be compared.

Joints of both skeletons are matched. Each matched joint has a similarity that takes its bone in one body's neutral
stance to the same bone in the other's: origin to origin, turned with the joints right below it, scaled by their
distances; the skin follows by linear blend skinning (glTF 2.0 section 3.7.3). Rotations between several directions:
W. Kabsch, "A solution for the best rotation to relate two sets of vectors", 1976.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from scipy.spatial.transform import Rotation

from plica.evaluate.pose_components import skeleton_of
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.normals import least_turns
from plica.mesh.skinning import Skinning
from plica.rig.rig import Rig
from plica.sculpting.rebase import SkinFit
from plica.skeleton.joint_parts import parts_of

FEWEST: Final = 3  # matched joints
ENOUGH: Final = 0.5  # of a vertex's weights, and of those of all sculpted vertices, have to be of matched joints
SPREAD: Final = 0.1  # directions whose second extent is less, of the first, tell nothing of the turn around the first
SHORT: Final = 1e-6  # metres: joints that are closer have no bone between them


class BodyInStance(NamedTuple):
    """A rig and its skin in the neutral stance."""

    rig: Rig
    mesh: Mesh

    @property
    def origins(self) -> Floats:
        """Where the joints stand (j, 3)."""
        return np.array([frame.origin for frame in skeleton_of(self.rig).frames]).reshape(-1, 3)


class MatchedJoints(NamedTuple):
    """partners: the index of each joint's partner in the other skeleton; named: how many have the same name; held (v,):
    of each vertex's weights, the share that is of joints with a partner, 0 to 1."""

    partners: dict[int, int]
    named: int
    held: Floats

    def share(self, vertices: Integers) -> float:
        """Of the weights of some vertices (n,), the share that is of joints with a partner."""
        return float(self.held[vertices].mean()) if len(vertices) else 0.0

    def enough(self, vertices: Integers) -> bool:
        """Whether these vertices can be fitted to the other body by them."""
        return len(self.partners) >= FEWEST and self.share(vertices) >= ENOUGH


def match_joints(other: BodyInStance, own: BodyInStance) -> MatchedJoints:
    """The joints of `other` matched with those of `own`: by name; then by side and what their names say that they are,
    where there is one such joint in each body."""
    index = {joint.name: number for number, joint in enumerate(own.rig.skeleton)}
    partners = {row: index[joint.name] for row, joint in enumerate(other.rig.skeleton) if joint.name in index}
    named, taken = len(partners), set(partners.values())
    theirs, ours = _single_parts(other.rig), _single_parts(own.rig)
    for part, row in theirs.items():
        if row not in partners and part in ours and ours[part] not in taken:
            partners[row] = ours[part]
    return MatchedJoints(dict(sorted(partners.items())), named, _held(other.mesh, partners))


def _single_parts(rig: Rig) -> dict[tuple[str, str], int]:
    """Joints by side and part, of the parts that a side has only once."""
    skeleton = skeleton_of(rig)
    found: dict[tuple[str, str], list[int]] = {}
    for row, part in enumerate(parts_of(skeleton, [joint.name for joint in skeleton.joints])):
        if part not in ("none", "unknown"):
            found.setdefault((rig.skeleton[row].side, part), []).append(row)
    return {key: rows[0] for key, rows in found.items() if len(rows) == 1}


def _held(mesh: Mesh, partners: dict[int, int]) -> Floats:
    """Of each vertex's weights (v,), the share that is of joints with a partner; they add up to 1."""
    if not mesh.weights.size:
        return np.zeros(mesh.vertex_count)
    return np.asarray((mesh.weights * np.isin(mesh.bind_joints, list(partners))[mesh.joints]).sum(axis=1))


def fitted(other: BodyInStance, own: BodyInStance, matched: MatchedJoints) -> SkinFit:
    """What takes the other body's skin to this body.

    Joints without partner go with the nearest one above that has one, or with the body as a whole.
    """
    similarities = _Similarities(other, own, matched.partners).all()
    (matrices,) = Skinning(other.mesh).matrices(similarities[other.mesh.bind_joints][np.newaxis])
    return SkinFit(matrices, matched.held < ENOUGH)


class _Similarities:
    """The similarities (j, 3, 4) of all joints of a body that is fitted to another."""

    def __init__(self, other: BodyInStance, own: BodyInStance, partners: dict[int, int]) -> None:
        self.other, self.own, self.partners = other, own, partners
        self.skeleton, self.own_skeleton = skeleton_of(other.rig), skeleton_of(own.rig)
        self.here, self.there = other.origins, own.origins
        rows, columns = np.array(list(partners)), np.array(list(partners.values()))
        self.middles = self.here[rows].mean(axis=0), self.there[columns].mean(axis=0)
        one, two = self.here[rows] - self.middles[0], self.there[columns] - self.middles[1]
        self.facing = _quarter_turns(_turn(one, two, np.eye(3)))
        self.scale = _ratio(one, two) or 1.0
        self.below = self._bones()

    def all(self) -> Floats:
        """Parents come before their children, so that those without bone of their own can go with them."""
        linears = np.empty((len(self.here), 3, 3))
        result = np.empty((len(self.here), 3, 4))
        for row, joint in enumerate(self.skeleton.joints):
            if row in self.partners:
                above = self.facing * self.scale if joint.parent is None else linears[joint.parent]
                linears[row] = self._linear(row, above)
                move = self.there[self.partners[row]] - linears[row] @ self.here[row]
                result[row] = np.column_stack([linears[row], move])
            elif joint.parent is not None:
                linears[row], result[row] = linears[joint.parent], result[joint.parent]
            else:
                linears[row] = self.facing * self.scale
                result[row] = np.column_stack([linears[row], self.middles[1] - linears[row] @ self.middles[0]])
        return result

    def _linear(self, row: int, above: Floats) -> Floats:
        """A joint's turn and scale; one that no bone goes out from is turned as the joint above, and scaled as far as
        its skin reaches."""
        below = self.below.get(row, [])
        one = self.here[below] - self.here[row]
        two = self.there[[self.partners[child] for child in below]] - self.there[self.partners[row]]
        ratio = _ratio(one, two)
        if ratio is not None:
            return np.asarray(_turn(one, two, self.facing) * ratio)
        reach = _reach(self.other, row, self.here), _reach(self.own, self.partners[row], self.there)
        size = float(np.cbrt(np.linalg.det(above)))
        return above / size * (reach[1] / reach[0]) if min(reach) > SHORT else above

    def _bones(self) -> dict[int, list[int]]:
        """For each matched joint the nearest matched ones below it that lie below it in both bodies."""
        result: dict[int, list[int]] = {}
        for row in self.partners:
            parent = next((above for above in self.skeleton.ancestors(row) if above in self.partners), None)
            if parent is not None and self.partners[parent] in self.own_skeleton.ancestors(self.partners[row]):
                result.setdefault(parent, []).append(row)
        return result


def _ratio(one: Floats, two: Floats) -> float | None:
    """How much longer vectors (n, 3) are in another body; None where they have no length."""
    lengths = float(np.linalg.norm(one)), float(np.linalg.norm(two))
    return lengths[1] / lengths[0] if min(lengths) > SHORT else None


def _turn(one: Floats, two: Floats, facing: Floats) -> Floats:
    """The rotation (3, 3) that takes vectors (n, 3) to others; what they leave open is as `facing`."""
    faced = one @ facing.T
    extents = [np.linalg.svd(each, compute_uv=False) for each in (one, two)]
    if len(one) == 1 or min(each[1] / max(each[0], 1e-300) for each in extents) < SPREAD:
        longest = int(np.argmax(np.linalg.norm(one, axis=1)))
        pair = [each[longest] / max(np.linalg.norm(each[longest]), 1e-300) for each in (faced, two)]
        return np.asarray(least_turns(pair[0][np.newaxis], pair[1][np.newaxis])[0] @ facing)
    left, _, right = np.linalg.svd(two.T @ faced)
    sign = np.diag([1.0, 1.0, float(np.sign(np.linalg.det(left @ right)))])
    return np.asarray(left @ sign @ right @ facing)


def _quarter_turns(turn: Floats) -> Floats:
    """The nearest rotation by quarter turns about the axes: which way a body faces, whatever its build."""
    group = Rotation.create_group("O").as_matrix()
    return np.asarray(np.rint(group[int(np.argmax(np.einsum("gij,ij->g", group, turn)))]))


def _reach(body: BodyInStance, joint: int, origins: Floats) -> float:
    """How far from a joint the skin lies that it carries: the root of the weighted mean of squares, metres."""
    mesh = body.mesh
    weights = (mesh.weights * (mesh.bind_joints[mesh.joints] == joint)).sum(axis=1)
    squares = ((mesh.positions - origins[joint]) ** 2).sum(axis=1)
    return float(np.sqrt((weights * squares).sum() / max(weights.sum(), 1e-300)))
