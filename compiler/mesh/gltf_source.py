"""What is looked up in a glTF 2.0 file again and again while its meshes are read."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from functools import cached_property
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from plica.mesh.arrays import Floats
from plica.readers.gltf_arrays import Elements, GltfArrays
from plica.readers.gltf_document import parents_of_nodes
from plica.readers.gltf_shown import shown_meshes
from plica.readers.gltf_skeleton import NodeSkeleton, chosen_bind_pose, skeleton_of_document
from plica.readers.json_fields import Fields, numbers, objects
from plica.readers.model_outline import UnreadableModel
from plica.skeleton.skeleton import Skeleton


class GltfMeshes:
    """The document and what is looked up in it again and again."""

    def __init__(self, path: Path, chosen: Collection[str], joints: Mapping[str, int]) -> None:
        self.arrays, self.chosen = GltfArrays(path), tuple(chosen)
        document = self.arrays.document
        self.nodes = objects(document, "nodes", "the file")
        self.meshes = objects(document, "meshes", "the file")
        self.skins = objects(document, "skins", "the file")
        self.parents = parents_of_nodes(document)
        self.shown = shown_meshes(document, chosen)
        self.names = self.shown.names
        self.skeleton: NodeSkeleton = skeleton_of_document(document, chosen)
        self.row_of_node = {node: row for row, node in enumerate(self.skeleton.nodes)}
        self.joint_of_node = {
            node: joints[joint.name]
            for node, joint in zip(self.skeleton.nodes, self.skeleton.skeleton.joints, strict=True)
            if joint.name in joints
        }
        self.problems: list[str] = []

    @cached_property
    def bound(self) -> Skeleton:
        """The skeleton in the pose in which the skin was bound; as it rests where nothing usable states that pose."""
        pose = chosen_bind_pose(self.arrays.document, self.arrays.path, self.chosen, self.skeleton)
        return pose.skeleton or self.skeleton.skeleton

    @cached_property
    def bind_frames(self) -> Mapping[int, Floats]:
        """The joints' frames (4, 4) in the bind pose, in model space, by their places in the rig's skeleton."""
        frames = self.bound.frames
        result = {}
        for node, joint in self.joint_of_node.items():
            frame = frames[self.row_of_node[node]]
            result[joint] = np.eye(4)
            result[joint][:3, :3], result[joint][:3, 3] = frame.linear, frame.origin
        return result


def elements(arrays: GltfArrays, number: object, count: int | None, width: int, place: str) -> Elements:
    """An accessor's rows (count, width) as they are stored. Raises UnreadableModel where it has others."""
    if number is None:
        raise UnreadableModel(f"{place} is missing")
    result = arrays.accessor(number)
    if result.ndim != 2 or result.shape[1] != width:
        raise UnreadableModel(f"{place} has not {width} numbers for each vertex")
    if count is not None and len(result) != count:
        raise UnreadableModel(f"{place} is for {len(result)} vertices, but there are {count}")
    return result


def floats(arrays: GltfArrays, number: object, count: int | None, width: int, place: str) -> Floats:
    """An accessor's rows (count, width) as floats. Raises UnreadableModel where it has others."""
    return elements(arrays, number, count, width, place).astype(np.float64)


def bind_matrices(file: GltfMeshes, skin: int, count: int) -> Floats:
    """The inverse bind matrices (count, 4, 4) that a skin states."""
    matrices = file.arrays.accessor(file.skins[skin]["inverseBindMatrices"])
    if matrices.shape[1:] != (4, 4) or len(matrices) < count:
        raise UnreadableModel(f"skins[{skin}] has not one inverse bind matrix for each of its joints")
    return matrices[:count].astype(np.float64)


def local_matrix(node: Fields, place: str) -> Floats:
    """A node's transform (4, 4): its matrix, or T R S (section 3.5.3)."""
    stated = numbers(node, "matrix", 16, place)
    if stated is not None:
        return np.array(stated).reshape(4, 4).T
    rotation = np.array(numbers(node, "rotation", 4, place) or (0.0, 0.0, 0.0, 1.0))
    result = np.eye(4)
    if np.any(rotation):
        result[:3, :3] = Rotation.from_quat(rotation).as_matrix()
    result[:3, :3] *= np.array(numbers(node, "scale", 3, place) or (1.0, 1.0, 1.0))
    result[:3, 3] = numbers(node, "translation", 3, place) or (0.0, 0.0, 0.0)
    return result
