"""Many sparse poses as arrays: what each says of a joint or a control in a row of its own, all turned at once."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from plica.evaluate.poses import LARGEST, Array, Poses, SparsePose, rest_poses, rest_scales
from plica.rig.rig import Rig

_WIDTHS = {"rotations": 4, "translations": 3, "scales": 3, "controls": 1}


@dataclass(frozen=True, eq=False)
class PoseRows:
    """One kind of value: row i says `values[i]` (rows, width) of `names[columns[i]]` in the pose `frames[i]`."""

    names: tuple[str, ...]
    frames: NDArray[np.intp]
    columns: NDArray[np.intp]
    values: Array

    def taken(self, rows: NDArray[np.bool_]) -> PoseRows:
        """Some of the rows."""
        return PoseRows(self.names, self.frames[rows], self.columns[rows], self.values[rows])

    def by_column(self) -> Iterator[tuple[int, NDArray[np.intp]]]:
        """Each column that is named, and the rows of it."""
        order = np.argsort(self.columns, kind="stable")
        for rows in np.split(order, np.flatnonzero(np.diff(self.columns[order])) + 1):
            if len(rows):
                yield int(self.columns[rows[0]]), rows

    def after(self, frames: int) -> PoseRows:
        """The same rows of poses that stand behind so many others."""
        return replace(self, frames=self.frames + frames)


@dataclass(frozen=True, eq=False)
class PoseTable:
    """Poses that name only what is away from rest: rotations (x y z w), translations (metres) and scales of joints,
    and values of controls.
    """

    frames: int
    rotations: PoseRows
    translations: PoseRows
    scales: PoseRows
    controls: PoseRows

    def poses(self, rig: Rig) -> Poses:
        """Full poses of a rig that has every joint and control that is named; what is not named is at its rest.

        Raises ArrayError where a value is not one that poses take, KeyError for what the rig does not have.
        """
        poses = rest_poses(rig, self.frames)
        if len(self.scales.frames):
            poses = replace(poses, scales=rest_scales(rig, self.frames))
        joints = {name: index for index, name in enumerate(poses.joints)}
        controls = {name: index for index, name in enumerate(poses.control_names)}
        _put(poses.rotations, self.rotations, joints)
        _put(poses.translations, self.translations, joints)
        if poses.scales is not None:
            _put(poses.scales, self.scales, joints)
        _put(poses.controls[..., np.newaxis], self.controls, controls)
        return replace(poses)  # checked once more, as they are filled now

    def each(self, change: Callable[[str, PoseRows], PoseRows]) -> PoseTable:
        """The same number of poses with all rows changed, given the kind of each."""
        return PoseTable(self.frames, *(change(kind, getattr(self, kind)) for kind in _WIDTHS))

    def usable(self) -> PoseTable:
        """The poses all of whose numbers are ones that `Poses` takes."""
        good = np.ones(self.frames, dtype=bool)
        for kind in _WIDTHS:
            rows: PoseRows = getattr(self, kind)
            good[rows.frames[~(np.abs(rows.values) <= LARGEST).all(axis=1)]] = False
        if good.all():
            return self
        number = np.cumsum(good) - 1

        def kept(_: str, rows: PoseRows) -> PoseRows:
            left = rows.taken(good[rows.frames])
            return replace(left, frames=number[left.frames])

        return replace(self.each(kept), frames=int(good.sum()))

    def followed_by(self, other: PoseTable) -> PoseTable:
        """The poses of both, which name the same joints and controls in the same order."""

        def both(kind: str, rows: PoseRows) -> PoseRows:
            more: PoseRows = getattr(other, kind).after(self.frames)
            parts = [np.concatenate([getattr(one, part) for one in (rows, more)]) for part in ("frames", "columns")]
            return PoseRows(rows.names, parts[0], parts[1], np.concatenate([rows.values, more.values]))

        return replace(self.each(both), frames=self.frames + other.frames)


def _put(values: Array, rows: PoseRows, index: dict[str, int]) -> None:
    used = np.unique(rows.columns).tolist()
    column = np.zeros(len(rows.names), dtype=np.intp)
    column[used] = [index[rows.names[one]] for one in used]
    values[rows.frames, column[rows.columns]] = rows.values


def poses_of(rig: Rig, sparse: Sequence[SparsePose]) -> Poses:
    """Full poses of a rig, one frame for each sparse pose made for it. Raises ArrayError as `PoseTable.poses` does."""
    return table_of(sparse, [one.name for one in rig.skeleton], [one.name for one in rig.controls]).poses(rig)


def table_of(poses: Sequence[SparsePose], joints: Collection[str], controls: Collection[str]) -> PoseTable:
    """Sparse poses as a table; what they say of other joints and controls is left out."""
    index = {name: number for number, name in enumerate(joints)}
    placed = [
        (frame, index[name], placement)
        for frame, pose in enumerate(poses)
        for name, placement in pose.joints.items()
        if name in index
    ]
    names = tuple(index)
    turned = [(frame, at, one.rotation) for frame, at, one in placed if one.rotation is not None]
    moved = [(frame, at, one.translation) for frame, at, one in placed if one.translation is not None]
    scaled = [(frame, at, one.scale) for frame, at, one in placed if one.scale is not None]
    known = {name: number for number, name in enumerate(controls)}
    set_to = [
        (frame, known[name], (value,))
        for frame, pose in enumerate(poses)
        for name, value in pose.controls.items()
        if name in known
    ]
    return PoseTable(
        len(poses), _rows(names, turned, 4), _rows(names, moved, 3), _rows(names, scaled, 3), _rows(known, set_to, 1)
    )


def _rows(names: Iterable[str], found: Sequence[tuple[int, int, tuple[float, ...]]], width: int) -> PoseRows:
    frames, columns = (np.array([one[part] for one in found], dtype=np.intp) for part in (0, 1))
    values = np.array([one[2] for one in found], dtype=np.float64).reshape(-1, width)
    return PoseRows(tuple(names), frames, columns, values)
