"""Which joints of a model are worth reading: those whose turn bends skin, pairs once."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from plica.mesh.arrays import Mesh
from plica.mesh.vertex_places import joints_with_skin
from plica.skeleton.body import Body
from plica.skeleton.sides import Sides
from plica.skeleton.skeleton import Skeleton
from plica.start.name_words import writable


class Subject(NamedTuple):
    """A joint to read, or a pair of them.

    `joint`: the left or only one; `partner`: the right one; `base`: the name that both share; `part`: what it is
    (`plica.skeleton.joint_parts`). `seen_from`: the joint that it is read relative to, None for its parent.
    """

    joint: int
    partner: int | None
    base: str
    part: str
    seen_from: int | None


def followed_joints(skeleton: Skeleton, mesh: Mesh | None) -> list[bool]:
    """For each joint whether skin follows it: whether any vertex has a weight of it; the skin's joints without mesh."""
    if mesh is None or not mesh.joints.size:
        return [joint.skinned for joint in skeleton.joints]
    return joints_with_skin(mesh, len(skeleton.joints))


def base_names(skeleton: Skeleton, sides: Sides) -> list[str]:
    """The joints' names, those of a pair without their side."""
    bases = [joint.name for joint in skeleton.joints]
    for pair in sides.pairs.values():
        bases[pair.left] = bases[pair.right] = pair.base
    return bases


def subjects_of(body: Body, sides: Sides, followed: Sequence[bool]) -> tuple[Subject, ...]:
    """The joints to read, in the order of the skeleton.

    A joint counts where skin follows it or one below it, and other skin follows neither, so that its turn bends
    something. Controls have no skin below them; tips and what only twists have nothing to read.
    """
    bases = base_names(body.skeleton, sides)
    bends = _bends_skin(body, followed)
    result = []
    for index, base in enumerate(bases):
        part = body.parts[index]
        if part is None and followed[index] and index in body.hung:
            part = "unknown"  # named as a control, but skin follows it
        if index in sides.right or not writable(base) or not bends[index] or part is None:
            continue
        if not body.skeleton.joints[index].skinned:
            continue  # what only stands above the skin's joints carries them
        limb = body.hung.get(index)
        seen_from = limb if limb is not None and writable(bases[limb]) else None
        result.append(Subject(index, sides.partner.get(index), base, part, seen_from))
    return tuple(result)


def _bends_skin(body: Body, followed: Sequence[bool]) -> list[bool]:
    """Whether some but not all skin follows a joint and what hangs on it; feet under controls hang on their limbs."""
    counts = [int(one) for one in followed]
    total = sum(counts)
    for index in range(len(counts)):
        if followed[index]:
            for above in _carriers(body, index):
                counts[above] += 1
    return [0 < count < total for count in counts]


def _carriers(body: Body, index: int) -> list[int]:
    """The joints that carry one, from the nearest on: of what hangs under a control, those of its limb."""
    result: list[int] = []
    at: int | None = index
    while at is not None:
        at = body.hung.get(at, body.skeleton.joints[at].parent)
        if at is not None:
            result.append(at)
    return result
