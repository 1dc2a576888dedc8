"""What a rig needs of the poses, by component and contiguous frames, a cacheful at a time."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import TypeVar, assert_never

import numpy as np
from numpy.typing import NDArray

from plica.evaluate.poses import Array, Poses
from plica.evaluate.reading_groups import Chunk, indexes
from plica.evaluate.seen_turns import SeenTurns
from plica.kinds.reading_kind import Needs
from plica.kinds.readings import Reading, SeenFrom, chain_ends, joints_of, kind_of, seen
from plica.rig.rig import Rig
from plica.skeleton.chains import joints_between
from plica.skeleton.quaternions import turn_since, with_positive_scalar
from plica.skeleton.skeleton import Joint, Skeleton


def skeleton_of(rig: Rig) -> Skeleton:
    """The rig's joints in the neutral stance. Raises ValueError where a parent does not come before its child."""
    rows = {joint.name: row for row, joint in enumerate(rig.skeleton)}
    for joint in rig.skeleton:
        if joint.parent is not None and joint.parent not in rows:
            raise ValueError(f"the rig has no joint {joint.parent}")
    return Skeleton(
        tuple(
            Joint(
                joint.name,
                None if joint.parent is None else rows[joint.parent],
                *joint.neutral,
                joint.skinned,
            )
            for joint in rig.skeleton
        )
    )


@dataclass(frozen=True)
class NeededComponents:
    """Where joints and controls stand in a chunk: those whose turn since rest, whose local rotation, whose
    translation and whose scale is read. Every joint of `local` stands at the same place in `moved` and `scaled`."""

    turned: dict[SeenFrom, int]
    local: dict[str, int]
    moved: dict[str, int]
    scaled: dict[str, int]
    controls: dict[str, int]


def needs_of(rig: Rig, skeleton: Skeleton, readings: Iterable[Reading]) -> NeededComponents:
    """What these readings and the rig's fields need. Raises ValueError for unknown joints."""
    turned = dict.fromkeys(seen(field) for field in rig.fields)
    chains = [(one.joint, one.relative_to) for one in turned if one.relative_to is not None]
    moved: dict[str, None] = {}
    scaled: dict[str, None] = {}
    for reading in readings:
        if (ends := chain_ends(reading)) is not None:
            chains.append(ends)
        match needs := kind_of(reading).needs:
            case Needs.TURN:
                turned[seen(reading)] = None
            case Needs.TRANSLATION:
                moved.update(dict.fromkeys(joints_of(reading)))
            case Needs.SCALE:
                scaled.update(dict.fromkeys(joints_of(reading)))
            case Needs.CHAIN | Needs.CONTROL:
                pass  # chains are gathered, all controls are read
            case _:
                assert_never(needs)
    _refuse_unknown((*(one.joint for one in turned), *moved, *scaled, *chain.from_iterable(chains)), skeleton)
    local: dict[str, None] = {}
    for ends in chains:
        local.update(dict.fromkeys(sorted(joints_between(skeleton, *ends))))
    controls = (control.name for control in rig.controls)
    return NeededComponents(
        _numbered(turned),
        _numbered(local),
        _numbered({**local, **moved}),
        _numbered({**local, **scaled}),
        _numbered(controls),
    )


class ComponentReader:
    """Cuts poses into chunks for one rig."""

    def __init__(self, rig: Rig, skeleton: Skeleton, needs: NeededComponents) -> None:
        self._needs = needs
        self._known = (frozenset(skeleton.index), frozenset(needs.controls))
        self._control_rest = np.array([control.rest for control in rig.controls], dtype=np.float64)
        joints = skeleton.joints
        self._turned_rest = _rows([joints[skeleton.index[one.joint]].rotation for one in needs.turned], 4)
        self._local_rest = _rows([joints[skeleton.index[name]].rotation for name in needs.local], 4)
        self._looking = np.array([one.relative_to is not None for one in needs.turned], dtype=bool)
        looked = [one for one in needs.turned if one.relative_to is not None]
        self._seen = SeenTurns(skeleton, looked, needs.local, self._local_rest.T[:, :, np.newaxis])
        self._moved_rest = _rows([joints[skeleton.index[name]].translation for name in needs.moved], 3)
        self._scaled_rest = _rows([joints[skeleton.index[name]].scale for name in needs.scaled], 3)

    @property
    def rotation_rest(self) -> Array:
        """The rest rotations of the local joints, (4, joints)."""
        return self._local_rest.T

    @property
    def translation_rest(self) -> Array:
        """The rest translations of the moved joints, (3, joints)."""
        return self._moved_rest.T

    @property
    def scale_rest(self) -> Array:
        """The rest scales of the scaled joints, (3, joints)."""
        return self._scaled_rest.T

    @property
    def control_rest(self) -> Array:
        """The rest values of the controls, (controls,)."""
        return self._control_rest

    def chunks(self, poses: Poses, size: int) -> Iterator[tuple[slice, Chunk]]:
        """The poses by at most `size` frames. Raises ValueError for unknown joints and controls."""
        for names, known, what in zip(
            (poses.joints, poses.control_names), self._known, ("joint", "control"), strict=True
        ):
            unknown = [name for name in names if name not in known]
            if unknown:
                raise ValueError(f"the rig has no {what} {unknown[0]}")
        needs, joints = self._needs, [one.joint for one in self._needs.turned]
        turned, local, moved, scaled = (
            _columns(names, poses.joints) for names in (joints, needs.local, needs.moved, needs.scaled)
        )
        controls = _columns(self._needs.controls, poses.control_names)
        rest_turned = self._turned_rest.T[:, :, np.newaxis]
        for start in range(0, poses.frames, size):
            frames = slice(start, min(start + size, poses.frames))
            rotations, translations = poses.rotations[frames], poses.translations[frames]
            turns = turn_since(rest_turned, _taken(rotations, turned, self._turned_rest))
            between = _at_rest_where_null(_taken(rotations, local, self._local_rest), self._local_rest)
            if self._looking.any():
                turns[:, self._looking] = self._seen.of(between)
            yield (
                frames,
                Chunk(
                    with_positive_scalar(turns),
                    between,
                    _taken(translations, moved, self._moved_rest),
                    self._scales(poses, frames, scaled),
                    _taken(poses.controls[frames], controls, self._control_rest),
                ),
            )

    def _scales(self, poses: Poses, frames: slice, scaled: NDArray[np.intp]) -> Array:
        if poses.scales is None:
            return self.scale_rest[:, :, np.newaxis]
        return _taken(poses.scales[frames], scaled, self._scaled_rest)


_Name = TypeVar("_Name", bound=Hashable)


def _numbered(names: Iterable[_Name]) -> dict[_Name, int]:
    return {name: row for row, name in enumerate(names)}


def _refuse_unknown(names: Iterable[str], skeleton: Skeleton) -> None:
    for name in names:
        if name not in skeleton.index:
            raise ValueError(f"the rig has no joint {name}")


def _rows(values: Sequence[Sequence[float]], width: int) -> Array:
    return np.array(values, dtype=np.float64).reshape(-1, width)


def _columns(names: Iterable[str], given: Sequence[str]) -> NDArray[np.intp]:
    """Where the names stand among the given ones; -1 where they do not."""
    where = _numbered(given)
    return indexes(tuple(names), {name: where.get(name, -1) for name in names})


def _at_rest_where_null(rotations: Array, rest: Array) -> Array:
    """(4, joints, frames), with the rest rotation (joints, 4) in place of those of length 0."""
    null = ~rotations.any(axis=0)
    return np.where(null, rest.T[:, :, np.newaxis], rotations) if null.any() else rotations


def _taken(values: Array, columns: NDArray[np.intp], rest: Array) -> Array:
    """Columns of (frames, columns, ...) as contiguous (..., columns, frames); at rest where -1."""
    missing = columns < 0
    if missing.all():
        result = np.repeat(rest[np.newaxis], len(values), axis=0)
    else:
        result = values[:, columns]
        result[:, missing] = rest[missing]
    return np.ascontiguousarray(result.transpose())
