"""Mirrored poses: what the left side does, done by the right side, and the other way round."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final

import numpy as np

from plica.evaluate.inverse_readings import ReadingInverter, solved
from plica.evaluate.pose_table import PoseRows, PoseTable
from plica.evaluate.poses import Array, JointPlacement, SparsePose
from plica.rig.rig import Rig, RigJoint, Symmetry
from plica.skeleton.algebra import (
    Matrix,
    Quaternion,
    Vector,
    conjugate,
    determinant,
    multiply,
    product,
    scaled,
    subtract,
    times,
    transpose,
)
from plica.skeleton.quaternions import conjugate as conjugates
from plica.skeleton.quaternions import multiply as products
from plica.skeleton.quaternions import normalised_rows
from plica.skeleton.skeleton import Skeleton
from plica.values import Side


def control_partners(rig: Rig) -> dict[str, str | None]:
    """The control of the other side for each, itself for one without a side, None where the other side has none."""
    by_declaration = {(control.declared, control.side): control.name for control in rig.controls}
    opposite: dict[Side, Side] = {"left": "right", "right": "left", "none": "none"}
    return {control.name: by_declaration.get((control.declared, opposite[control.side])) for control in rig.controls}


class PoseMirror:
    """Mirrors poses of a rig that has a symmetry.

    With F the orientations of two partners at rest in model space (columns) and S the reflection, K =
    F_partner^T S F_joint takes one frame to the other; a turn (v, w) since rest becomes (det(K) K v, w),
    because a rotation axis is a pseudovector. Translations since rest go through model space in their
    parents' rest frames. A scale since rest D, a diagonal matrix in the joint's own axes, becomes K D K^T. Where that
    is not diagonal, as the partner's axes stand askew to the mirrored ones, no scale of the partner is the mirror
    image, and the nearest is taken: the diagonal.
    """

    def __init__(self, rig: Rig, skeleton: Skeleton, symmetry: Symmetry) -> None:
        self._skeleton = skeleton
        self._placer = ReadingInverter(rig, skeleton)
        self._joints = {joint.name: joint for joint in rig.skeleton}
        self._reflection: Matrix = symmetry.plane.reflection
        self._controls = control_partners(rig)

    def pose(self, pose: SparsePose) -> SparsePose:
        """The mirrored pose; what has no partner stays at rest."""
        joints = {}
        for name, placement in pose.joints.items():
            partner = self._partner(self._joints[name])
            if partner is not None:
                joints[partner] = self._placement(name, partner, placement)
        controls = {
            partner: value for name, value in pose.controls.items() if (partner := self._controls[name]) is not None
        }
        return SparsePose(joints, controls)

    def table(self, table: PoseTable) -> PoseTable:
        """Mirrored poses, many at once; as `pose` gives each, but for rounding."""

        def mirrored(kind: str, rows: PoseRows) -> PoseRows:
            partners = [
                self._controls[one] if kind == "controls" else self._partner(self._joints[one]) for one in rows.names
            ]
            index = {name: number for number, name in enumerate(rows.names)}
            partner_of = np.array([index.get(one or "", -1) for one in partners], dtype=np.intp)
            values = np.array(rows.values)
            for column, at in rows.by_column() if kind in _MIRRORED else ():
                partner = partners[column]
                if partner is not None:
                    values[at] = _MIRRORED[kind](self, rows.names[column], partner, rows.values[at])
            columns = partner_of[rows.columns]
            # As for one pose, a move that the partner cannot make leaves it at rest.
            possible = np.isfinite(values).all(axis=1) if kind == "translations" else True
            return replace(rows, columns=columns, values=values).taken((columns >= 0) & possible)

        return table.each(mirrored)

    def _rotations(self, name: str, partner: str, rotations: Array) -> Array:
        turns = products(conjugates(np.array(self._joints[name].neutral.rotation)), rotations)
        across = self._across(name, partner)
        turns[:, :3] = determinant(across) * (turns[:, :3] @ np.array(across).T)
        return normalised_rows(products(np.array(self._joints[partner].neutral.rotation), turns))

    def _translations(self, name: str, partner: str, translations: Array) -> Array:
        index = self._skeleton.index
        steps = translations - np.array(self._joints[name].neutral.translation)
        across = np.array(product(self._reflection, self._skeleton.parent_frame(index[name]).linear))
        into = self._skeleton.parent_frame(index[partner]).linear
        columns = [solved(into, axis) or (np.nan,) * 3 for axis in ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))]
        moved: Array = steps @ across.T @ np.array(columns) + np.array(self._joints[partner].neutral.translation)
        return moved

    def _scales(self, name: str, partner: str, scales: Array) -> Array:
        rest = np.array(self._joints[name].neutral.scale)
        factors = np.where(rest == 0.0, 1.0, scales / np.where(rest == 0.0, 1.0, rest))
        across = np.array(self._across(name, partner))
        scaled_so: Array = (factors @ (across * across).T) * np.array(self._joints[partner].neutral.scale)
        return scaled_so

    def _partner(self, joint: RigJoint) -> str | None:
        partner = joint.name if joint.side == "none" else joint.partner
        return partner if partner in self._joints else None  # a part of a rig may lack it

    def _placement(self, name: str, partner: str, placement: JointPlacement) -> JointPlacement:
        rotation, translation, scale = placement.rotation, placement.translation, placement.scale
        return JointPlacement(
            None if rotation is None else self._rotation(name, partner, rotation),
            None if translation is None else self._translation(name, partner, translation),
            None if scale is None else self._scale(name, partner, scale),
        )

    def _across(self, name: str, partner: str) -> Matrix:
        """K, from a joint's own axes to its partner's."""
        index = self._skeleton.index
        orientations = (self._skeleton.orientation(index[partner]), self._skeleton.orientation(index[name]))
        return product(product(transpose(orientations[0]), self._reflection), orientations[1])

    def _rotation(self, name: str, partner: str, rotation: Quaternion) -> Quaternion | None:
        turn = multiply(conjugate(self._joints[name].neutral.rotation), rotation)
        across = self._across(name, partner)
        x, y, z = scaled(times(across, (turn[0], turn[1], turn[2])), determinant(across))
        return self._placer.turned(partner, (x, y, z, turn[3])).joints[partner].rotation

    def _translation(self, name: str, partner: str, translation: Vector) -> Vector | None:
        index = self._skeleton.index
        step = subtract(translation, self._joints[name].neutral.translation)
        mirrored = times(self._reflection, times(self._skeleton.parent_frame(index[name]).linear, step))
        local = solved(self._skeleton.parent_frame(index[partner]).linear, mirrored)
        return None if local is None else self._placer.moved(partner, local).joints[partner].translation

    def _scale(self, name: str, partner: str, scale: Vector) -> Vector | None:
        rest = self._joints[name].neutral.scale
        factors = [own / neutral if neutral else 1.0 for own, neutral in zip(scale, rest, strict=True)]
        x, y, z = (
            sum(part * part * factor for part, factor in zip(row, factors, strict=True))
            for row in self._across(name, partner)
        )
        return self._placer.scaled(partner, (x, y, z)).joints[partner].scale


_MIRRORED: Final[Mapping[str, Callable[[PoseMirror, str, str, Array], Array]]] = {
    "rotations": PoseMirror._rotations,
    "translations": PoseMirror._translations,
    "scales": PoseMirror._scales,
}
"""How the values of one joint become those of its partner, (rows, width)."""
