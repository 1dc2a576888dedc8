"""The variants: the same character as other exporters write it."""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy

import numpy as np
from scipy.spatial.transform import Rotation

from tests.variants.characters import Character, weights_of
from tests.variants.model_file import Floats, MeshOf, Model, Node, Primitive
from tests.variants.variation import Variant, Variation, unchanged

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


def _stored_elsewhere(character: Character, stored: Floats) -> Variation:
    """The mesh stored in another space, which the inverse bind matrices take back."""
    return _mesh_moved(unchanged(character), stored)


def _mesh_moved(result: Variation, stored: Floats) -> Variation:
    _move_mesh(result.model, stored)
    return result


def _move_mesh(model: Model, stored: Floats) -> None:
    linear = stored[:3, :3]
    turn = linear / np.cbrt(np.linalg.det(linear))
    for primitive in model.primitives:
        primitive.positions = primitive.positions @ linear.T + stored[:3, 3]
        primitive.normals = None if primitive.normals is None else primitive.normals @ turn.T
        primitive.morphs = {name: offsets @ linear.T for name, offsets in primitive.morphs.items()}
    for skin in model.skins:
        skin.inverse_binds = skin.inverse_binds @ np.linalg.inv(stored)


def _root_moved(character: Character, place: Floats) -> Variation:
    """The roots of the skeleton placed otherwise: the whole character stands elsewhere, the stored mesh does not."""
    result = unchanged(character)
    for node in result.model.nodes:
        if node.parent is None:
            node.local = place @ node.local
    result.place = place
    result.follow()
    return result


def _z_up(character: Character) -> Variation:
    """Mesh, binds and roots with z up."""
    return _stored_with_root(character, turned("x", 90.0))


def _stored_with_root(character: Character, place: Floats) -> Variation:
    """The roots placed otherwise, and the mesh stored with them."""
    result = _root_moved(character, place)
    _move_mesh(result.model, result.place)
    return result


def _file_in_centimetres(character: Character) -> Variation:
    """Mesh, binds and translations in centimetres; no scale stands anywhere."""
    result = unchanged(character)
    model, result.place = result.model, scaled(100.0)
    model.put([result.place @ world @ np.linalg.inv(result.place) for world in model.worlds()])
    for skin in model.skins:
        skin.inverse_binds = result.place @ skin.inverse_binds
    _move_mesh(model, result.place)
    result.follow()
    result.facts = ("unit 1 cm",)
    return result


def _joints_in_centimetres(character: Character) -> Variation:
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


def _all_in_centimetres_below_a_root(character: Character) -> Variation:
    """As above, and the mesh is stored in centimetres too."""
    result = _joints_in_centimetres(character)
    _move_mesh(result.model, scaled(100.0))
    return result


# ---- joints -------------------------------------------------------------------------------------------


def _rest_posed(character: Character, changed: Variation | None = None) -> Variation:
    """The nodes stand in a pose of the motion; the inverse bind matrices are those of the even stance."""
    result = changed or unchanged(character)
    result.model.put([world[POSED_FRAME] for world in result.worlds()])
    return result


def _with_frames(character: Character, frames: dict[str, Floats]) -> Variation:
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


def _negative_scales(character: Character) -> Variation:
    """Joints that are mirrored by their own scale, each side by another axis, and turned back below."""
    return _with_frames(
        character,
        {
            character.joint(character.forearm): MIRRORED,
            character.joint(character.forearm, "right"): UPSIDE_DOWN,
            character.joint(character.shin, "right"): MIRRORED,
            character.head: HALF_TURN,
        },
    )


def _mirrored_arm(character: Character) -> Variation:
    """The whole right arm below one mirroring scale."""
    model = unchanged(character).model
    below = model.below(model.node(character.joint(character.upperarm, "right")))
    return _with_frames(character, {model.nodes[number].name or "": MIRRORED for number in below})


def _hung_under(result: Variation, base: str, side: str) -> None:
    """A joint hung under a helper at the root instead of the limb."""
    model = result.model
    number = model.node(result.character.joint(base, side))
    worlds = model.worlds()
    root = next(iter(model.order()))
    model.nodes.append(Node(f"helper_{model.nodes[number].name}", root, np.linalg.inv(worlds[root]) @ worlds[number]))
    model.nodes[number].parent = len(model.nodes) - 1
    model.nodes[number].local = np.eye(4)


def _under_controls(character: Character) -> Variation:
    result = unchanged(character)
    for side in ("left", "right"):
        for base in (character.hand, character.foot):
            _hung_under(result, base, side)
    result.follow()
    result.hung = True
    return result


def _extra_joints(character: Character) -> Variation:
    """End joints, twist joints that carry half of what the forearm carries, and a helper between forearm and hand."""
    result = unchanged(character)
    model = result.model
    for side in ("left", "right"):
        forearm, hand = (model.node(character.joint(base, side)) for base in (character.forearm, character.hand))
        middle = np.eye(4)
        middle[:3, 3] = model.nodes[hand].local[:3, 3] / 2.0
        model.nodes.append(Node(character.joint("twist", side), forearm, middle))
        _share_weights(model, forearm, len(model.nodes) - 1, np.linalg.inv(middle))
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


def _share_weights(model: Model, joint: int, other: int, between: Floats) -> None:
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


def _matrices(character: Character) -> Variation:
    """Every node's transform written as a matrix."""
    result = unchanged(character)
    for node in result.model.nodes:
        node.matrix = True
    return result


# ---- names --------------------------------------------------------------------------------------------


def _prefixed(character: Character) -> Variation:
    result = unchanged(character)
    for node in result.model.nodes:
        node.name = f"rig:{node.name}"
    result.left, result.right = (f"rig:{pattern}" for pattern in (character.left, character.right))
    return result


def _serial_names(character: Character) -> Variation:
    """Serial numbers that count on from side to side, so that no two joints of a pair share theirs."""
    result = unchanged(character)
    for number, node in enumerate(result.model.nodes):
        node.name = f"{node.name}_{17 + number:03}"
    result.stated = True
    return result


def _meaningless_names(character: Character) -> Variation:
    result = unchanged(character)
    for number, node in enumerate(result.model.nodes):
        node.name = f"n{(7919 * (number + 1)) % 9973}"
    result.stated = True
    return result


def _placed(result: Variation, *facts: str) -> Variation:
    """Pairs by position instead of those that names give or that are stated."""
    result.placed, result.facts = True, facts
    return result


def _nameless(character: Character, changed: Variation | None = None) -> Variation:
    result = changed or unchanged(character)
    for node in result.model.nodes:
        node.name = None
    result.stated = True
    return result


# ---- the mesh -----------------------------------------------------------------------------------------


def _cut(character: Character) -> Variation:
    """The skin cut into two primitives of one mesh and one of another, which lists the joints the other way round."""
    result = unchanged(character)
    model = result.model
    skin = deepcopy(model.skins[0])
    skin.joints.reverse()
    skin.inverse_binds = skin.inverse_binds[::-1].copy()
    model.skins.append(skin)
    for number in [number for number, node in enumerate(model.nodes) if node.mesh is not None]:
        node = model.nodes[number]
        assert node.mesh is not None
        (whole,) = model.meshes[node.mesh].primitives
        first, second, third = (whole.chosen(part) for part in np.array_split(whole.triangles, 3))
        third.joints = len(skin.joints) - 1 - third.joints
        model.meshes[node.mesh].primitives = [first, second]
        model.meshes.append(MeshOf(f"cut_{number}", [third]))
        model.nodes.append(Node(f"cut_{number}", node.parent, node.local, mesh=len(model.meshes) - 1, skin=1))
    return result


def _rigid_parts(character: Character) -> Variation:
    """What one joint alone carries as meshes of their own, hung on the joint without a skin."""
    result = unchanged(character)
    model = result.model
    joint = model.node(character.rigid)
    inverse = np.linalg.inv(model.worlds()[joint])
    hung: list[int] = []
    for mesh in list(model.meshes):
        (whole,) = mesh.primitives
        rigid = (weights_of(model, whole, character.rigid) > 0.9999)[whole.triangles].all(axis=1)
        if not rigid.any():
            continue
        part = _loose(whole.chosen(whole.triangles[rigid]), inverse)
        number = model.meshes.index(mesh)
        if rigid.all():
            mesh.primitives = [part]
            hung += [node for node, shown in enumerate(model.nodes) if shown.mesh == number]
            continue
        mesh.primitives = [whole.chosen(whole.triangles[~rigid])]
        model.meshes.append(MeshOf(f"rigid_{number}", [part]))
        model.nodes.append(Node(f"rigid_{number}", joint, np.eye(4), mesh=len(model.meshes) - 1))
    for number in hung:
        model.nodes[number] = Node(model.nodes[number].name, joint, np.eye(4), mesh=model.nodes[number].mesh)
        del result.follows[number]
    return result


def _loose(part: Primitive, inverse: Floats) -> Primitive:
    """A part in the axes of the joint that it hangs on, without weights."""
    part.positions = part.positions @ inverse[:3, :3].T + inverse[:3, 3]
    part.normals = None
    part.morphs = {}
    part.joints, part.weights = np.zeros((len(part.joints), 0), np.int64), np.zeros((len(part.joints), 0))
    return part


def _shown_twice(character: Character) -> Variation:
    """Two nodes that show the same mesh with the same skin."""
    result = unchanged(character)
    for node in [node for node in result.model.nodes if node.mesh is not None]:
        result.model.nodes.append(Node(f"{node.name}_again", None, np.eye(4), mesh=node.mesh, skin=node.skin))
    return result


def _each_primitive(character: Character, columns: Sequence[int], factor: float) -> Variation:
    result = unchanged(character)
    for primitive in result.model.primitives:
        joints = np.hstack([primitive.joints, np.zeros_like(primitive.joints)])
        weights = np.hstack([primitive.weights, np.zeros_like(primitive.weights)])
        primitive.joints, primitive.weights = joints[:, columns], weights[:, columns] * factor
    return result


def _two_sets(character: Character) -> Variation:
    """Weights in two sets, the light ones first."""
    return _each_primitive(character, (4, 3, 5, 2, 1, 6, 7, 0), 1.0)


def _unnormalised(character: Character) -> Variation:
    return _each_primitive(character, (0, 1, 2, 3), 0.2)


def _unused_vertices(character: Character) -> Variation:
    """Vertices that no triangle uses, at the origin and far off."""
    result = unchanged(character)
    for primitive in result.model.primitives:
        more = np.array([[0.0, 0.0, 0.0], [3.0, 4.0, 5.0], [0.1, 0.2, 0.3]])
        primitive.positions = np.vstack([primitive.positions, more])
        primitive.normals = None
        primitive.uvs = None
        primitive.joints = np.vstack([primitive.joints, primitive.joints[:3]])
        primitive.weights = np.vstack([primitive.weights, primitive.weights[:3]])
        primitive.morphs = {name: np.vstack([offsets, np.zeros((3, 3))]) for name, offsets in primitive.morphs.items()}
        primitive.source = np.concatenate([primitive.source, np.full(3, -1)])
    return result


VARIANTS: tuple[Variant, ...] = (
    Variant("written_again", "the same model in another file", unchanged),
    Variant("rest_posed", "the rest is a pose, the bind pose is kept", _rest_posed, chained=True),
    Variant(
        "rest_posed_in_centimetres",
        "the rest is a pose, and the mesh is stored in centimetres",
        lambda character: _mesh_moved(_rest_posed(character), scaled(100.0)),
        chained=True,
    ),
    Variant(
        "rest_posed_rigid_parts",
        "the rest is a pose, and what one joint carries hangs on it without a skin",
        lambda character: _rest_posed(character, _rigid_parts(character)),
        chained=True,
    ),
    Variant(
        "mesh_in_centimetres",
        "the mesh is stored in centimetres, inverse bind matrices make up for it",
        lambda character: _stored_elsewhere(character, scaled(100.0)),
    ),
    Variant("joints_in_centimetres", "joints in centimetres below a root of scale 0.01", _joints_in_centimetres),
    Variant("all_in_centimetres", "joints and mesh in centimetres below such a root", _all_in_centimetres_below_a_root),
    Variant("file_in_centimetres", "everything in centimetres, nothing makes up for it", _file_in_centimetres),
    Variant("scaled_root", "the root scaled by 1.25", lambda character: _root_moved(character, scaled(1.25))),
    Variant("turned_root", "the root turned by 90 degrees", lambda character: _root_moved(character, turned("y", 90))),
    Variant(
        "oddly_turned_root",
        "the root turned by 30 degrees, so that the mirror plane lies along no axis",
        lambda character: _root_moved(character, turned("y", 30)),
        chained=True,
    ),
    Variant(
        "tilted_root",
        "the root turned by odd angles about all three axes, and moved",
        lambda character: _root_moved(character, moved(0.3, 0.1, -0.2) @ turned("xyz", (17, 41, -23))),
        chained=True,
    ),
    Variant(
        "oddly_stored",
        "root and mesh turned by 30 degrees",
        lambda character: _stored_with_root(character, turned("y", 30)),
        chained=True,
    ),
    Variant(
        "bind_space_oddly_turned",
        "the mesh is stored turned by an odd angle about z",
        lambda character: _stored_elsewhere(character, turned("z", 37)),
    ),
    Variant(
        "bind_space_turned",
        "the mesh is stored turned by 90 degrees about z",
        lambda character: _stored_elsewhere(character, turned("z", 90)),
    ),
    Variant("z_up", "everything with z up", _z_up),
    Variant("negative_scales", "joints with negative scales of their own", _negative_scales),
    Variant("mirrored_arm", "the right arm below a mirroring scale", _mirrored_arm),
    Variant("under_controls", "feet and hands under helpers at the root", _under_controls, chained=True),
    Variant("extra_joints", "end joints, twist joints, helpers between joints", _extra_joints),
    Variant("matrices", "transforms written as matrices", _matrices),
    Variant("prefixed", "names with a prefix", _prefixed),
    Variant("serial_names", "names with serial numbers, pairs stated", _serial_names),
    Variant("meaningless_names", "names without a meaning, pairs stated", _meaningless_names),
    Variant("nameless", "no names, pairs stated", _nameless),
    Variant(
        "prefixed_placed", "names with a prefix, pairs by position", lambda character: _placed(_prefixed(character))
    ),
    Variant(
        "serial_names_placed",
        "names with serial numbers, pairs by position",
        lambda character: _placed(_serial_names(character)),
    ),
    Variant(
        "meaningless_names_placed",
        "names without a meaning, pairs by position",
        lambda character: _placed(_meaningless_names(character)),
    ),
    Variant("nameless_placed", "no names, pairs by position", lambda character: _placed(_nameless(character))),
    Variant(
        "nameless_turned",
        "no names, pairs by position, the root turned by 30 degrees",
        lambda character: _placed(_nameless(character, _root_moved(character, turned("y", 30)))),
        chained=True,
    ),
    Variant(
        "nameless_rest_posed",
        "no names, pairs by position in the bind pose, the rest is a pose",
        lambda character: _placed(_nameless(character, _rest_posed(character)), "stance bind pose"),
        chained=True,
    ),
    Variant("cut", "the skin cut into primitives and meshes with skins of their own", _cut),
    Variant("rigid_parts", "what one joint carries hangs on it without a skin", _rigid_parts),
    Variant("shown_twice", "two nodes show each mesh", _shown_twice),
    Variant("two_sets", "weights in two sets", _two_sets),
    Variant("unnormalised", "weights that add up to 0.2", _unnormalised),
    Variant("unused_vertices", "vertices without triangles", _unused_vertices),
)
