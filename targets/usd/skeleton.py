"""The rig's joints as a UsdSkel skeleton: names as paths, and frames without the scale that OpenUSD could only round.

A SkelAnimation holds scales in half precision, which has three digits. So what scales whole limbs evenly, the hundredth
of a file in centimetres above all, is taken out of the frames: with s the product of the even scales from the root
down to a joint, its frame becomes W / s, its inverse bind matrix s B, and what a joint does to the skin, W B, stays.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

import numpy as np

from plica.evaluate.poses import file_rest
from plica.mesh.arrays import Floats, Mesh, MeshPart
from plica.mesh.joint_matrices import rotation_matrices
from plica.rig.rig import Rig

_EVEN: Final = 1e-5
"""By which share the three scales of a joint may differ and be one, as single precision leaves them."""
_SAME_BIND: Final = 1e-6
"""By which share of the largest element two bind matrices may differ and be one."""


class JointTree(NamedTuple):
    """The joints in the rig's order, parents before their children.

    parents: by place, -1 for roots; paths: as UsdSkel names them; above, own (joints,): the even scale of what is above
    a joint, and that of the joint itself.
    """

    parents: tuple[int, ...]
    paths: tuple[str, ...]
    above: Floats
    own: Floats


def joint_tree(rig: Rig) -> JointTree:
    """The joints of a rig."""
    places = {joint.name: place for place, joint in enumerate(rig.skeleton)}
    parents: list[int] = []
    paths: list[str] = []
    above, own = np.ones(len(places)), np.ones(len(places))
    taken: set[str] = set()
    for place, joint in enumerate(rig.skeleton):
        parent = -1 if joint.parent is None else places[joint.parent]
        scale = np.array(joint.rest.scale)
        own[place] = scale.mean() if scale.min() > 0.0 and np.ptp(scale) <= _EVEN * scale.max() else 1.0
        above[place] = 1.0 if parent < 0 else above[parent] * own[parent]
        path = free_name(joint.name, taken, "" if parent < 0 else f"{paths[parent]}/")
        parents.append(parent)
        paths.append(path)
    return JointTree(tuple(parents), tuple(paths), above, own)


def free_name(wanted: str, taken: set[str], before: str = "") -> str:
    """A name of a prim like the one wanted, behind `before`, that nothing has yet; it is then taken.

    OpenUSD's names are letters, digits and underscores of ASCII, and begin with no digit.
    """
    base = re.sub(r"[^A-Za-z0-9_]", "_", wanted) or "_"
    base = f"_{base}" if base[0].isdigit() else base
    number, name = 2, f"{before}{base}"
    while name in taken:
        number, name = number + 1, f"{before}{base}_{number}"
    taken.add(name)
    return name


def rest_matrices(rig: Rig, tree: JointTree) -> Floats:
    """The local frames at rest, (joints, 4, 4) for columns, without the even scales."""
    rest = file_rest(rig)
    assert rest.scales is not None
    result = np.tile(np.eye(4), (len(tree.paths), 1, 1))
    result[:, :3, :3] = rotation_matrices(rest.rotations[0]) * (rest.scales[0] / tree.own[:, None])[:, None]
    result[:, :3, 3] = rest.translations[0] * tree.above[:, None]
    return result


def world_matrices(local: Floats, parents: Sequence[int]) -> Floats:
    """The frames in model space, (joints, 4, 4)."""
    result = local.copy()
    for place, parent in enumerate(parents):
        if parent >= 0:
            result[place] = result[parent] @ local[place]
    return result


class BoundSkin(NamedTuple):
    """Parts of the mesh that one skeleton binds, and its bind transforms, (joints, 4, 4) for columns."""

    parts: tuple[int, ...]
    binds: Floats


def bound_skins(mesh: Mesh, tree: JointTree, world: Floats) -> list[BoundSkin]:
    """The parts that share a skeleton: UsdSkel gives a joint one bind transform, glTF one for each skin.

    Joints that move nothing have their frame at rest for one.
    """
    groups: list[tuple[list[int], dict[int, Floats]]] = []
    for number, part in enumerate(mesh.parts):
        stated = _binds_of(mesh, part, tree)
        for parts, held in groups:
            if all(place not in held or _alike(held[place], bind) for place, bind in stated.items()):
                parts.append(number)
                held.update({place: bind for place, bind in stated.items() if place not in held})
                break
        else:
            groups.append(([number], stated))
    result = []
    for parts, held in groups:
        binds = world.copy()
        for place, bind in held.items():
            binds[place] = bind
        result.append(BoundSkin(tuple(parts), binds))
    return result


def _binds_of(mesh: Mesh, part: MeshPart, tree: JointTree) -> dict[int, Floats]:
    rows = part.rows
    used: Iterable[int] = np.unique(mesh.joints[rows][mesh.weights[rows] > 0.0]).tolist()
    result = {}
    for bind in used:
        place = int(mesh.bind_joints[bind])
        scale = tree.above[place] * tree.own[place]
        even = np.diag([1.0 / scale, 1.0 / scale, 1.0 / scale, 1.0])
        result[place] = np.linalg.inv(mesh.inverse_binds[bind]) @ even
    return result


def _alike(left: Floats, right: Floats) -> bool:
    return bool(np.abs(left - right).max() <= _SAME_BIND * np.abs(left).max())
