"""A reader that deforms a character, written from targets/json/skin.md and offsets.md alone.

It shares no code with Plica. The model's file is read by the variants' own reader."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from tests.variants.model_file import Floats, Integers, Model, Primitive


@dataclass(frozen=True, eq=False)
class Part:
    """A part of the vertices: `starts` (v, 3) in model space; `columns` (v, k) of its list of joints; `weights`.

    `joints` (n,) are those of the skeleton, and `binds` (n, 4, 4) take model space into the space of each."""

    rows: slice
    starts: Floats
    triangles: Integers
    columns: Integers
    weights: Floats
    joints: Integers
    binds: Floats
    to_model: Floats
    primitive: Primitive


class SkinReader:
    """A rig of JSON with the model's file and the offsets file."""

    def __init__(self, rig: Mapping[str, Any], model: Model, offsets: Mapping[str, Any]) -> None:
        if str(offsets["build"]) != rig["build"]:
            raise ValueError("the rig and the offsets belong to different builds")
        self.rig, self.model, self.offsets = rig, model, offsets
        self.names = [joint["name"] for joint in rig["skeleton"]]
        self.unit = np.diag([rig["character"]["geometry"]["unit"]] * 3 + [1.0])
        self.parts = [self._part(part) for part in rig["offsets"]["parts"]]

    @property
    def neutral(self) -> Floats:
        """The stored vertices in model space."""
        return np.concatenate([part.starts for part in self.parts])

    @property
    def triangles(self) -> Integers:
        """Three vertices of the rig each."""
        return np.concatenate([part.triangles + part.rows.start for part in self.parts])

    def positions(self, pose: Mapping[str, Any], strengths: Mapping[str, float]) -> Floats:
        """All vertices in a pose of the vectors, (v, 3) metres."""
        frames = self._frames(pose)
        moved = self._offsets(strengths)
        for part in self.parts:
            self._add_morphs(part, pose, moved)
        result = np.empty_like(moved)
        for part in self.parts:
            blend = dual if self.rig["character"]["skinning"] == "dual quaternion" else linear
            places = part.starts + moved[part.rows]
            result[part.rows] = blend(frames[part.joints] @ part.binds, part.columns, part.weights, places)
        return result

    def _frames(self, pose: Mapping[str, Any]) -> Floats:
        frames: list[Floats] = []
        for joint in self.rig["skeleton"]:
            local = {**joint["neutral"], **pose["joints"].get(joint["name"], {})}
            matrix = np.eye(4)
            matrix[:3, :3] = rotation(np.array(local["rotation"])) * np.array(local["scale"])
            matrix[:3, 3] = local["translation"]
            frames.append(matrix if joint["parent"] is None else frames[self.names.index(joint["parent"])] @ matrix)
        return np.array(frames)

    def _offsets(self, strengths: Mapping[str, float]) -> Floats:
        result = np.zeros((int(self.offsets["vertex_count"]), 3))
        for shape in self.rig["shapes"]:
            if shape["name"] not in self.offsets["shapes"] or shape["follows"] is None:
                continue
            name, weight = shape["name"], strengths[shape["follows"]]
            stages = [(0.0, None), (1.0, name)]
            if f"{name}/inbetweens" in self.offsets:
                stages += [(at, f"{name}/{n}") for n, at in enumerate(self.offsets[f"{name}/inbetweens"].tolist())]
            stages.sort()
            upper = next((n for n, (at, _) in enumerate(stages) if n and weight < at), len(stages) - 1)
            (a, before), (b, after) = stages[upper - 1], stages[upper]
            share = (weight - a) / (b - a)
            for amount, member in ((1.0 - share, before), (share, after)):
                if member is not None:
                    result[self.offsets[f"{member}/indices"]] += amount * self.offsets[f"{member}/offsets"]
        return result

    def _add_morphs(self, part: Part, pose: Mapping[str, Any], moved: Floats) -> None:
        taken = {shape["source"]["name"] for shape in self.rig["shapes"]
                 if shape["source"] is not None and shape["source"]["kind"] == "morph"}  # fmt: skip
        for control in self.rig["controls"]:
            if control["morph"] in part.primitive.morphs and control["rest"] == 0 and control["morph"] not in taken:
                weight = pose["controls"].get(control["name"], 0.0)
                moved[part.rows] += weight * part.primitive.morphs[control["morph"]] @ part.to_model[:3, :3].T

    def _part(self, part: Mapping[str, Any]) -> Part:
        meshes = [mesh.name or f"mesh_{number}" for number, mesh in enumerate(self.model.meshes)]
        mesh = meshes.index(part["mesh"])
        shown = next(n for n, node in enumerate(self.model.nodes) if node.mesh == mesh and node.name == part["node"])
        primitives = [self.model.meshes[mesh].primitives[number] for number in part["primitives"]]
        primitive, to_model = primitives[0], np.array(part["to_model"])
        triangles = np.concatenate([one.triangles for one in primitives])
        rows = slice(part["first"], part["first"] + part["vertices"])
        starts = primitive.positions @ to_model[:3, :3].T + to_model[:3, 3]
        if np.linalg.det(to_model[:3, :3]) < 0.0:
            triangles = triangles[:, ::-1]
        columns, weights, joints, binds = self._binding(shown, primitive)
        binds = self.unit @ binds @ np.linalg.inv(to_model)
        return Part(rows, starts, triangles, columns, weights, joints, binds, to_model, primitive)

    def _binding(self, shown: int, primitive: Primitive) -> tuple[Integers, Floats, Integers, Floats]:
        """Columns and weights (v, k), the joints, and the file's matrices into their spaces."""
        number = self.model.nodes[shown].skin
        if number is None:
            count, below, at = len(primitive.positions), np.eye(4), shown
            while self.model.nodes[at].name not in self.names or self.model.nodes[at].mesh is not None:
                below, above = self.model.nodes[at].local @ below, self.model.nodes[at].parent
                assert above is not None
                at = above
            joint = self.names.index(self.model.nodes[at].name or "")
            return np.zeros((count, 1), np.int64), np.ones((count, 1)), np.array([joint]), below[np.newaxis]
        skin = self.model.skins[number]
        joints = np.array([self.names.index(self.model.nodes[node].name or f"joint_{node}") for node in skin.joints])
        weights = np.maximum(primitive.weights, 0.0)
        weights = weights / weights.sum(axis=1, keepdims=True)
        return primitive.joints, weights, joints, skin.inverse_binds


def linear(skins: Floats, columns: Integers, weights: Floats, places: Floats) -> Floats:
    """Linear blend of skin matrices (n, 4, 4), of which each vertex has some columns (v, k)."""
    blended = np.einsum("vk,vkij->vij", weights, skins[columns])
    return np.einsum("vij,vj->vi", blended[:, :3, :3], places) + blended[:, :3, 3]


def dual(skins: Floats, columns: Integers, weights: Floats, places: Floats) -> Floats:
    """Dual quaternions, stretches first."""
    left, sizes, right = np.linalg.svd(skins[:, :3, :3])
    turn = left @ right
    sign = np.sign(np.linalg.det(turn))[:, None, None]
    stretch = sign * (np.swapaxes(right, -1, -2) * sizes[:, None, :]) @ right
    moves = np.concatenate([skins[:, :3, 3], np.zeros((len(skins), 1))], axis=1)
    turns = quaternion(turn * sign)
    real, moved = turns[columns], (0.5 * multiplied(moves, turns))[columns]
    heaviest = np.take_along_axis(real, weights.argmax(axis=1)[:, None, None], axis=1)
    signs = np.where((real * heaviest).sum(axis=-1) < 0.0, -1.0, 1.0)
    amounts = (weights * signs)[..., None]
    b, f = (amounts * real).sum(axis=1), (amounts * moved).sum(axis=1)
    size = np.linalg.norm(b, axis=1, keepdims=True)
    b, f = b / size, f / size
    k = np.einsum("vk,vkij->vij", weights, stretch[columns])
    away = 2.0 * multiplied(f, b * (-1.0, -1.0, -1.0, 1.0))[:, :3]
    return np.asarray(np.einsum("vij,vj->vi", rotation(b), np.einsum("vij,vj->vi", k, places)) + away)


def multiplied(a: Floats, b: Floats) -> Floats:
    """Quaternion products."""
    turned = a[..., 3:] * b[..., :3] + b[..., 3:] * a[..., :3] + np.cross(a[..., :3], b[..., :3])
    scalar = a[..., 3] * b[..., 3] - (a[..., :3] * b[..., :3]).sum(axis=-1)
    return np.concatenate([turned, scalar[..., None]], axis=-1)


def rotation(q: Floats) -> Floats:
    """Rotation matrices of quaternions of any length: the turned axes as columns."""
    unit = np.array(q, dtype=np.float64) / np.linalg.norm(q, axis=-1, keepdims=True)
    columns = []
    for axis in np.eye(3):
        v = unit[..., :3]
        first = np.cross(v, np.broadcast_to(axis, v.shape))
        columns.append(axis + 2.0 * (unit[..., 3:] * first + np.cross(v, first)))
    return np.stack(columns, axis=-1)


def quaternion(matrix: Floats) -> Floats:
    """A unit quaternion of rotation matrices: the eigenvector of the largest eigenvalue (Bar-Itzhack 2000)."""
    m = matrix
    k = np.zeros((*m.shape[:-2], 4, 4))
    for i in range(3):
        for j in range(3):
            k[..., i, j] = m[..., i, j] + m[..., j, i]
        k[..., i, i] -= np.trace(m, axis1=-2, axis2=-1)
    for i, (p, q) in enumerate(((2, 1), (0, 2), (1, 0))):
        k[..., i, 3] = k[..., 3, i] = m[..., p, q] - m[..., q, p]
    k[..., 3, 3] = np.trace(m, axis1=-2, axis2=-1)
    return np.asarray(np.linalg.eigh(k)[1][..., -1])
