"""The characters that variants are made of, and what is said about each: one spec with gaps for what may be edited."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from tests.support.data import ROOT, shared_data
from tests.variants.model_file import Floats, Model, Primitive, parts, read_model

FRAMES = 5
BULGE = "bulge"  # a morph target that is put into every character
BULGED, SWOLLEN = 0.01, 0.006  # metres


@dataclass(frozen=True)
class Character:
    """A model, its name patterns (a star and the mark of a side), the axis that its mirror plane lies across, and the
    joints that its spec names: pairs without their side, or one in the middle. rigid: a joint that
    carries some of the skin alone; kept: of a large mesh only what these
    joints and those below them carry.
    """

    name: str
    file: tuple[str, ...]
    left: str
    right: str
    across: str
    upperarm: str
    forearm: str
    hand: str
    shin: str
    foot: str
    head: str
    rigid: str
    kept: tuple[str, ...] = ()

    @property
    def path(self) -> Path:
        """The model's file; skips the test where the shared data is not there."""
        return ROOT.joinpath(*self.file[1:]) if self.file[0] == "here" else shared_data("characters", *self.file)

    def joint(self, base: str, side: str = "left") -> str:
        """The name of a pair's joint."""
        return (self.left if side == "left" else self.right).replace("*", base)

    def pairs(self, model: Model) -> list[tuple[str, str, str]]:
        """The pairs by name: both joints and what they share."""
        names = [node.name for node in model.nodes if node.name is not None]
        result = []
        for name in names:
            base = name.removesuffix(self.left[1:])
            if base != name and self.joint(base, "right") in names:
                result.append((name, self.joint(base, "right"), base))
        return result


CHARACTERS = (
    Character(
        "full_body",
        ("full_body", "full_body.gltf"),
        "*_l",
        "*_r",
        "x",
        "upperarm",
        "lowerarm",
        "hand",
        "calf",
        "foot",
        "Head",
        "Head",
    ),
    Character(
        "base_mesh",
        ("base_mesh_facing_x", "base_mesh.glb"),
        "*.L",
        "*.R",
        "z",
        "upper_arm",
        "forearm",
        "hand",
        "shin",
        "foot",
        "spine.005",
        "spine.005",
    ),
    Character(
        "wren",
        ("here", "specs", "wren", "data", "wren.glb"),
        "*_lf",
        "*_rt",
        "x",
        "upperarm",
        "lowerarm",
        "paw",
        "lowerleg",
        "foot",
        "head",
        "jaw",
        ("collar_lf", "collar_rt", "jaw"),
    ),
)


@cache
def model_of(character: Character) -> Model:
    """The character's model with a morph target on its left upper arm; not to be changed."""
    model = read_model(character.path)
    if character.kept:
        _keep(model, {below for name in character.kept for below in model.below(model.node(name))})
    for primitive in model.primitives:
        weights = weights_of(model, primitive, character.joint(character.upperarm))
        offsets = np.outer(weights, BULGED * np.array((0.3, 1.0, 0.5)))
        primitive.morphs[BULGE] = offsets.astype(np.float32).astype(np.float64)
    return model


def _keep(model: Model, joints: set[int]) -> None:
    """Leaves only triangles that some joints carry most of."""
    start = 0
    for mesh in model.meshes:
        for number, primitive in enumerate(mesh.primitives):
            heaviest = np.take_along_axis(primitive.joints, primitive.weights.argmax(axis=1)[:, None], axis=1)[:, 0]
            carried = np.isin(np.array(model.skins[0].joints)[heaviest], list(joints))
            primitive = primitive.chosen(primitive.triangles[carried[primitive.triangles].all(axis=1)])
            primitive.source = np.arange(len(primitive.source)) + start
            start += len(primitive.source)
            mesh.primitives[number] = primitive


def weights_of(model: Model, primitive: Primitive, joint: str, skin: int = 0) -> Floats:
    """How much (v,) a joint carries of each vertex."""
    rows = [row for row, node in enumerate(model.skins[skin].joints) if model.nodes[node].name == joint]
    return np.asarray(np.where(np.isin(primitive.joints, rows), primitive.weights, 0.0).sum(axis=1))


def sculpt_of(character: Character, model: Model) -> Floats:
    """What a sculpt moves of the whole mesh, (v, 3) metres in model space: the left lower arm."""
    joint = character.joint(character.forearm)
    weights = np.concatenate([weights_of(model, primitive, joint) for primitive in model.primitives])
    return np.outer(np.where(weights > 0.5, weights, 0.0), SWOLLEN * np.array((-0.4, 0.7, 1.0)))


@cache
def motion_of(character: Character) -> Floats:
    """Where every node stands in each frame, (nodes, frames, 4, 4) in model space; at rest in the first."""
    model = model_of(character)
    random = np.random.default_rng(7)
    locals_of = {}
    for number, node in enumerate(model.nodes):
        translation, rotation, scale = parts(node.local, node.signs)
        there = random.uniform(-0.6, 0.6, (FRAMES // 2, 3)) * (node.parent is not None)
        angles = np.vstack([np.zeros((1, 3)), there, -there])  # there and back, so that every reading rises once
        turned = Rotation.from_quat(rotation) * Rotation.from_rotvec(angles)
        local = np.tile(np.eye(4), (FRAMES, 1, 1))
        local[:, :3, :3] = turned.as_matrix() * scale
        local[:, :3, 3] = translation
        if node.name in (character.joint(character.hand), character.joint(character.hand, "right")):
            moved = random.uniform(-0.02, 0.02, (FRAMES // 2, 3))
            local[1:, :3, 3] += np.vstack([moved, -moved])
        locals_of[number] = local
    return np.array([np.broadcast_to(world, (FRAMES, 4, 4)) for world in model.worlds(locals_of)])
