"""The poses in which two states of a skin differ most.

Poses that are looked at: the neutral stance, declared poses, every strength all the way alone, and those that a change
is about at quarters of their way, by the spans of both states. Where only shapes and strengths differ, poses are chosen
by what shapes add before joints move the skin, which is quick; what is told of the chosen ones is measured on
the posed skin.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np

from plica.diff.skin_states import PosableSkin, in_other_state
from plica.evaluate.poses import Poses, SparsePose, poses_from
from plica.mesh.arrays import Floats, Mesh
from plica.prove.pose_rows import sparse_poses
from plica.prove.sweeps import PoseTrack, Sweeper
from plica.rig.rig import Rig

LEAST: Final = 1e-6
"""Metres: skin that moves by less has not changed."""
_WAYS: Final = (
    (0.25, "a quarter of the way"),
    (0.5, "half way"),
    (0.75, "three quarters of the way"),
    (1.0, "all the way"),
)
_MOST_ALONE: Final = 120
"""Strengths that no change is about and that are looked at all the same; of more, evenly many."""
_MOST_MOVED: Final = 48
"""Poses that are looked at where joints have to move the skin for it."""
_AT_ONCE: Final = 16


class DifferentPose(NamedTuple):
    """A pose of the new state: in words, how far apart the skins are at most (metres), and the vertex where."""

    words: str
    pose: SparsePose
    apart: float
    vertex: int


class _Candidate(NamedTuple):
    words: str
    strength: str
    pose: SparsePose


class ComparedSkins:
    """Two states of a skin whose vertices are the same ones."""

    def __init__(
        self, old: PosableSkin, new: PosableSkin, asked: frozenset[str], declared: Mapping[str, PoseTrack]
    ) -> None:
        """asked: the strengths that changes are about; declared: the poses of the new state. Raises ValueError where
        the vertices are others."""
        if not same_vertices(old.attached.mesh, new.attached.mesh):
            raise ValueError("the vertices of the two skins are others")
        self._old, self._new = old, new
        self._candidates = list(_candidates(old.rig, new.rig, asked, declared))
        if not self._only_shapes:
            step = -(-len(self._candidates) // _MOST_MOVED)
            about = [one.strength in asked for one in self._candidates]
            kept = [row for row, is_asked in enumerate(about) if is_asked][:_MOST_MOVED]
            self._candidates = [self._candidates[row] for row in sorted({*kept, *range(0, len(about), step)})]

    def most(self, strengths: frozenset[str] | None) -> DifferentPose | None:
        """The pose in which they differ most, of those that move some strengths (None: of all), where shapes of these
        strengths move the skin; None where it is the same there in all of these poses.
        """
        candidates = [one for one in self._candidates if strengths is None or one.strength in strengths]
        moved = self._moved(strengths)
        amounts = self._amounts(candidates, moved)
        if amounts.max(initial=0.0) < LEAST:
            return None
        words, _, pose = candidates[int(amounts.argmax())]
        apart = self._apart(poses_from(self._new.rig, [pose]))[0] * moved
        vertex = int(apart.argmax())
        return DifferentPose(words, pose, float(apart[vertex]), vertex)

    def full(self, strength: str) -> DifferentPose | None:
        """The pose in which a strength is full, where it is one of those that were looked at."""
        found = [one for one in self._candidates if one.strength == strength]
        if not found:
            return None
        apart = self._apart(poses_from(self._new.rig, [found[-1].pose]))[0]
        return DifferentPose(found[-1].words, found[-1].pose, float(apart.max(initial=0.0)), -1)

    @cached_property
    def _only_shapes(self) -> bool:
        """Whether joints move both skins alike."""
        one, other = self._old, self._new
        meshes = one.attached.mesh, other.attached.mesh
        same = all(
            np.array_equal(getattr(meshes[0], name), getattr(meshes[1], name))
            for name in ("positions", "joints", "weights", "bind_joints", "inverse_binds")
        )
        stands = [[(joint.name, joint.parent, joint.neutral) for joint in skin.rig.skeleton] for skin in (one, other)]
        return same and stands[0] == stands[1] and one.deformer.method == other.deformer.method

    def _moved(self, strengths: frozenset[str] | None) -> Floats:
        """1 for each vertex that shapes of some strengths move in either state, else 0; of all where joints move both
        skins in different ways.
        """
        count = self._new.attached.mesh.vertex_count
        if strengths is None or not self._only_shapes:
            return np.ones(count)
        result = np.zeros(count)
        for skin in (self._old, self._new):
            for shape in skin.rig.shapes:
                if shape.follows in strengths and shape.name in skin.attached.shapes:
                    for column in skin.attached.shapes[shape.name].columns:
                        result[column.indices] = 1.0
        return result

    def _amounts(self, candidates: Sequence[_Candidate], moved: Floats) -> Floats:
        """How far apart the skins are at most in each candidate, or what shapes add is, metres, where `moved` is 1."""
        most = []
        for start in range(0, len(candidates) if moved.any() else 0, _AT_ONCE):
            poses = poses_from(self._new.rig, [one.pose for one in candidates[start : start + _AT_ONCE]])
            apart = self._added_apart(poses) if self._only_shapes else self._apart(poses)
            most.append((apart * moved).max(axis=1, initial=0.0))
        return np.concatenate([np.zeros(0), *most])

    def _apart(self, poses: Poses) -> Floats:
        """How far apart each vertex is, (frames, v) metres."""
        positions = [skin.positions(poses, self._new.rig) for skin in (self._old, self._new)]
        return np.asarray(np.linalg.norm(positions[1] - positions[0], axis=2))

    def _added_apart(self, poses: Poses) -> Floats:
        added = [
            skin.deformer.offsets(skin.deformer.motion(in_other_state(poses, self._new.rig, skin.rig)))
            for skin in (self._old, self._new)
        ]
        return np.asarray(np.linalg.norm(added[1] - added[0], axis=2))


def same_vertices(old: Mesh, new: Mesh) -> bool:
    """Whether vertices of the same number are the same ones: as many, joined by the same triangles."""
    return old.vertex_count == new.vertex_count and np.array_equal(old.triangles, new.triangles)


def _candidates(old: Rig, new: Rig, asked: frozenset[str], declared: Mapping[str, PoseTrack]) -> Iterator[_Candidate]:
    yield _Candidate("at rest", "", SparsePose())
    for track in declared.values():
        yield from (_Candidate(track.name, "", pose) for pose in sparse_poses(new, track.poses))
    for rig in (new, old):
        sweeper, names = Sweeper(rig), [strength.name for strength in rig.strengths]
        alone = [name for name in names if name not in asked]
        few = frozenset(alone[:: -(-len(alone) // _MOST_ALONE)] if alone and rig is new else ())
        for name in names:
            ways = _WAYS if name in asked else _WAYS[-1:] if name in few else ()
            swept = sweeper.sweep(name).between if ways else None
            if swept is None:
                continue
            poses = in_other_state(swept(np.array([place for place, _ in ways])), rig, new)
            said = " of what it was before" if rig is old else ""
            for (_, words), pose in zip(ways, sparse_poses(new, poses), strict=True):
                yield _Candidate(f"{name} {words}{said}", name, pose)
