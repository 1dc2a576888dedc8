"""Variants of where and in which unit things are stored, and of the joints."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.spatial.transform import Rotation

from tests.variants.characters import Character
from tests.variants.model_file import Floats, Model, Node
from tests.variants.variation import Variation, unchanged

MIRRORED = np.diag((-1.0, 1.0, 1.0, 1.0))
UPSIDE_DOWN = np.diag((1.0, -1.0, 1.0, 1.0))
HALF_TURN = np.diag((-1.0, -1.0, 1.0, 1.0))
POSED_FRAME = 3  # of the motion, in which a posed rest stands


def scaled(factor: float) -> Floats:
    """The matrix that makes everything so many times as large."""
    return np.diag((factor, factor, factor, 1.0))


def moved(x: float, y: float, z: float) -> Floats:
    """The matrix that moves everything, metres."""
    result = np.eye(4)
    result[:3, 3] = x, y, z
    return result


def turned(axis: str, degrees: float | Sequence[float]) -> Floats:
    """The matrix that turns everything about an axis, or about several of them in turn."""
    result = np.eye(4)
    result[:3, :3] = Rotation.from_euler(axis, degrees, degrees=True).as_matrix()
    return result


# ---- spaces and units ---------------------------------------------------------------------------------


def stored_elsewhere(character: Character, stored: Floats) -> Variation:
    """The mesh stored in another space, which the inverse bind matrices take back."""
    return mesh_moved(unchanged(character), stored)


def mesh_moved(result: Variation, stored: Floats) -> Variation:
    move_mesh(result.model, stored)
    return result


def move_mesh(model: Model, stored: Floats) -> None:
    linear = stored[:3, :3]
    turn = linear / np.cbrt(np.linalg.det(linear))
    for primitive in model.primitives:
        primitive.positions = primitive.positions @ linear.T + stored[:3, 3]
        primitive.normals = None if primitive.normals is None else primitive.normals @ turn.T
        primitive.morphs = {name: offsets @ linear.T for name, offsets in primitive.morphs.items()}
    for skin in model.skins:
        skin.inverse_binds = skin.inverse_binds @ np.linalg.inv(stored)


def root_moved(character: Character, place: Floats) -> Variation:
    """The roots of the skeleton placed otherwise: the whole character stands elsewhere, the stored mesh does not."""
    result = unchanged(character)
    for node in result.model.nodes:
        if node.parent is None:
            node.local = place @ node.local
    result.place = place
    result.follow()
    return result


def z_up(character: Character) -> Variation:
    """Mesh, binds and roots with z up."""
    return stored_with_root(character, turned("x", 90.0))


def stored_with_root(character: Character, place: Floats) -> Variation:
    """The roots placed otherwise, and the mesh stored with them."""
    result = root_moved(character, place)
    move_mesh(result.model, result.place)
    return result


def file_in_centimetres(character: Character) -> Variation:
    """Mesh, binds and translations in centimetres; no scale stands anywhere."""
    result = unchanged(character)
    model, result.place = result.model, scaled(100.0)
    model.put([result.place @ world @ np.linalg.inv(result.place) for world in model.worlds()])
    for skin in model.skins:
        skin.inverse_binds = result.place @ skin.inverse_binds
    move_mesh(model, result.place)
    result.follow()
    result.facts = ("unit 1 cm",)
    return result


def joints_in_centimetres(character: Character) -> Variation:
    """The joints count in centimetres below a root that is scaled by 0.01; the mesh does not."""
    result = unchanged(character)
    model = result.model
    small = scaled(0.01)
    model.put([world @ small for world in model.worlds()])
    roots = [number for number, node in enumerate(model.nodes) if node.parent is None]
    model.nodes.append(Node("unit", None, small))
    for root in roots:
        model.nodes[root].parent = len(model.nodes) - 1
        model.nodes[root].local = np.linalg.inv(small) @ model.nodes[root].local
    for skin in model.skins:
        skin.inverse_binds = np.linalg.inv(small) @ skin.inverse_binds
    result.follow()
    return result


def all_in_centimetres_below_a_root(character: Character) -> Variation:
    """As above, and the mesh is stored in centimetres too."""
    result = joints_in_centimetres(character)
    move_mesh(result.model, scaled(100.0))
    return result


# ---- joints -------------------------------------------------------------------------------------------


def rest_posed(character: Character, changed: Variation | None = None) -> Variation:
    """The nodes stand in a pose of the motion; the inverse bind matrices are those of the even stance."""
    result = changed or unchanged(character)
    result.model.put([world[POSED_FRAME] for world in result.worlds()])
    return result


def with_frames(character: Character, frames: dict[str, Floats]) -> Variation:
    """Joints by name with other axes, world' = world N; what hangs below stands where it stood."""
    result = unchanged(character)
    model = result.model
    changes = [frames.get(node.name or "", np.eye(4)) for node in model.nodes]
    for node, change in zip(model.nodes, changes, strict=True):
        above = np.eye(4) if node.parent is None else changes[node.parent]
        node.signs = node.signs * np.diag(above)[:3] * np.diag(change)[:3]
    model.put([world @ change for world, change in zip(model.worlds(), changes, strict=True)])
    for skin in model.skins:
        for row, number in enumerate(skin.joints):
            skin.inverse_binds[row] = np.linalg.inv(changes[number]) @ skin.inverse_binds[row]
    result.follow()
    return result


def negative_scales(character: Character) -> Variation:
    """Joints that are mirrored by their own scale, each side by another axis, and turned back below."""
    return with_frames(
        character,
        {
            character.joint(character.forearm): MIRRORED,
            character.joint(character.forearm, "right"): UPSIDE_DOWN,
            character.joint(character.shin, "right"): MIRRORED,
            character.head: HALF_TURN,
        },
    )


def mirrored_arm(character: Character) -> Variation:
    """The whole right arm below one mirroring scale."""
    model = unchanged(character).model
    below = model.below(model.node(character.joint(character.upperarm, "right")))
    return with_frames(character, {model.nodes[number].name or "": MIRRORED for number in below})


def hung_under(result: Variation, base: str, side: str) -> None:
    """A joint hung under a helper at the root instead of the limb."""
    model = result.model
    number = model.node(result.character.joint(base, side))
    worlds = model.worlds()
    root = next(iter(model.order()))
    model.nodes.append(Node(f"helper_{model.nodes[number].name}", root, np.linalg.inv(worlds[root]) @ worlds[number]))
    model.nodes[number].parent = len(model.nodes) - 1
    model.nodes[number].local = np.eye(4)


def under_controls(character: Character) -> Variation:
    result = unchanged(character)
    for side in ("left", "right"):
        for base in (character.hand, character.foot):
            hung_under(result, base, side)
    result.follow()
    result.hung = True
    return result


def extra_joints(character: Character) -> Variation:
    """End joints, twist joints that carry half of what the forearm carries, and a helper between forearm and hand."""
    result = unchanged(character)
    model = result.model
    for side in ("left", "right"):
        forearm, hand = (model.node(character.joint(base, side)) for base in (character.forearm, character.hand))
        middle = np.eye(4)
        middle[:3, 3] = model.nodes[hand].local[:3, 3] / 2.0
        model.nodes.append(Node(character.joint("twist", side), forearm, middle))
        share_weights(model, forearm, len(model.nodes) - 1, np.linalg.inv(middle))
        model.nodes.append(Node(f"helper_{model.nodes[hand].name}", forearm, middle.copy()))
        model.nodes[hand].parent = len(model.nodes) - 1
        model.nodes[hand].local = np.linalg.inv(middle) @ model.nodes[hand].local
    worlds = model.worlds()
    for number in [number for number in range(len(model.nodes)) if not model.children(number)]:
        if model.nodes[number].mesh is None:
            above = worlds[number].copy()
            above[1, 3] += 0.03
            end = np.linalg.inv(worlds[number]) @ above
            model.nodes.append(Node(f"end_{model.nodes[number].name}", number, end))
    result.forearm = ("twist",)
    result.follow()
    return result


def share_weights(model: Model, joint: int, other: int, between: Floats) -> None:
    """Every vertex of a joint carried by it and another one half each."""
    for skin in model.skins:
        row = skin.joints.index(joint)
        skin.joints.append(other)
        skin.inverse_binds = np.concatenate([skin.inverse_binds, (between @ skin.inverse_binds[row])[None]])
        for primitive in model.primitives:
            held = np.where(primitive.joints == row, primitive.weights / 2.0, 0.0)
            more = np.where(held > 0.0, len(skin.joints) - 1, 0)
            primitive.weights = np.hstack([primitive.weights - held, held])
            primitive.joints = np.hstack([primitive.joints, more])


def matrices(character: Character) -> Variation:
    """Every node's transform written as a matrix."""
    result = unchanged(character)
    for node in result.model.nodes:
        node.matrix = True
    return result
