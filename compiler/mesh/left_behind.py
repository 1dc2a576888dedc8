"""Joints that poses leave behind: they carry skin at the end of a limb, and hang elsewhere, under a control say.

A sweep, or the pose of a sculpt, turns the joints that are read; what hangs below them goes along. A hand that hangs
under a control goes with the forearm because something moves the control with it, which no model's file says. So
such a pose tears the skin between the two, and that is told.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

import numpy as np
from scipy import sparse

from plica.diagnostics import Diagnostics
from plica.evaluate.evaluator import strengths_of
from plica.evaluate.pose_components import skeleton_of
from plica.kinds.readings import SeenFrom, joints_of, seen
from plica.mesh.arrays import Floats, Mesh
from plica.rig.expectations import goes_over_everything, swept_strengths
from plica.rig.rig import Rig
from plica.rig.strengths import Combine, Driver, Sample
from plica.rig.surfaces import JointPose, StrengthPose
from plica.skeleton.frames import body_size
from plica.skeleton.skeleton import Skeleton
from plica.source import Span

HOLDS: Final = 0.1
"""The weight from which a joint holds a vertex together with another one."""
_SHOWN: Final = 6  # names in a message, the others are counted
_FEWEST: Final = 4  # vertices that two joints hold together for their skin to be one
_FAR: Final = 0.05  # of the body's size: how far from a joint its end is at least
_NEARER: Final = 0.5  # how much nearer to the one at the end what both hold must be


class LeftBehind(NamedTuple):
    """A joint that hangs elsewhere, the one at whose end it carries skin, and those whose turns leave it behind."""

    joint: str
    carrier: str
    turned: tuple[str, ...]


def left_behind(rig: Rig, neutral: Mesh) -> list[LeftBehind]:
    """What the poses that Plica makes for a rig leave behind, in the order of the skeleton; `neutral`: the mesh in the
    neutral stance.
    """
    skeleton = skeleton_of(rig)
    carriers = dict(_carriers(rig, skeleton, neutral))
    turned = [skeleton.index[name] for name in _turned(rig) if name in skeleton.index]
    result = []
    for joint, carrier in sorted(carriers.items()):
        above = set(skeleton.ancestors(joint))
        if above & carriers.keys():
            continue  # what carries it is left behind, and it goes along
        leaving = [one for one in sorted(set(turned)) if carrier in skeleton.below(one) and one not in above]
        if leaving:
            names = tuple(skeleton.joints[one].name for one in leaving)
            result.append(LeftBehind(skeleton.joints[joint].name, skeleton.joints[carrier].name, names))
    return result


def _carriers(rig: Rig, skeleton: Skeleton, neutral: Mesh) -> Iterator[tuple[int, int]]:
    """Joints that hang elsewhere than under the joint that carries them: as readings say, and as the skin shows."""
    neighbours = set(_skin_neighbours(neutral, len(skeleton.joints)))
    held_above = {joint for joint, other in neighbours if other in skeleton.ancestors(joint)}
    for joint, carrier in sorted(neighbours):
        # What holds skin together with a joint above it hangs where it should.
        loose = joint not in held_above and not _related(skeleton, joint, carrier)
        if loose and _at_the_end(skeleton, neutral, joint, carrier):
            yield joint, carrier
    for view in _views(rig):
        if view.relative_to is None:
            continue
        joint, carrier = skeleton.index[view.joint], skeleton.index[view.relative_to]
        if not _related(skeleton, joint, carrier):
            yield joint, carrier


def _views(rig: Rig) -> Iterator[SeenFrom]:
    for strength in rig.strengths:
        if isinstance(strength, Driver) and joints_of(strength.reading):
            yield seen(strength.reading)
    yield from (seen(field) for field in rig.fields)


def _related(skeleton: Skeleton, one: int, other: int) -> bool:
    return one in skeleton.ancestors(other) or other in skeleton.ancestors(one)


def _skin_neighbours(mesh: Mesh, joints: int) -> Iterator[tuple[int, int]]:
    """Pairs of joints that hold vertices together, each both ways."""
    held = _held(mesh, joints)
    together = (held.T @ held).tocoo()
    for one, other, count in zip(*together.coords, together.data, strict=True):
        if one != other and count >= _FEWEST:
            yield int(one), int(other)


def report_left_behind(diagnostics: Diagnostics, span: Span | None, found: Sequence[LeftBehind]) -> None:
    """One warning of all joints that are left behind."""
    if not found:
        return
    names = [f"`{one.joint}` at the end of `{one.carrier}`" for one in found]
    turned = sorted({name for one in found for name in one.turned})
    diagnostics.add("joints-left-behind", span, joints=_listed(names), turned=_listed([f"`{name}`" for name in turned]))


def _listed(names: Sequence[str]) -> str:
    more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
    return ", ".join(names[:_SHOWN]) + more


def _held(mesh: Mesh, joints: int) -> sparse.csr_array:
    """1 where a joint holds a vertex, (v, joints)."""
    rows, columns = np.nonzero(mesh.weights >= HOLDS)
    held = mesh.bind_joints[mesh.joints[rows, columns]]
    values = np.ones(len(rows), np.int64)
    return sparse.csr_array((values, (rows, held)), shape=(mesh.vertex_count, joints)).sign()


def _at_the_end(skeleton: Skeleton, mesh: Mesh, joint: int, carrier: int) -> bool:
    """Whether what both hold lies where the one joint is, at a distance from the other."""
    place = _middle(mesh, joint, carrier)
    own, theirs = (np.linalg.norm(place - skeleton.frames[one].origin) for one in (joint, carrier))
    return bool(theirs > _FAR * body_size(skeleton) and own < _NEARER * theirs)


def _middle(mesh: Mesh, one: int, other: int) -> Floats:
    holds = [((mesh.weights >= HOLDS) & (mesh.bind_joints[mesh.joints] == joint)).any(axis=1) for joint in (one, other)]
    return np.asarray(mesh.positions[holds[0] & holds[1]].mean(axis=0))


def _turned(rig: Rig) -> set[str]:
    """The joints that are turned by poses of sculpts, stated poses, and sweeps of strengths."""
    strengths = {strength.name: strength for strength in rig.strengths}
    fields = {field.name: field for field in rig.fields}
    items = [item for shape in rig.shapes for sculpt in shape.sculpts for item in sculpt.pose]
    items += [item for pose in rig.poses for item in pose.items]
    joints = {item.joint for item in items if isinstance(item, JointPose)}
    pending = [item.strength for item in items if isinstance(item, StrengthPose)]
    for expectation in rig.expectations:
        pending += strengths if goes_over_everything(expectation) else swept_strengths(expectation)
    known: set[str] = set()
    while pending:
        name = pending.pop()
        strength = strengths.get(name)
        if strength is None or name in known:
            continue
        known.add(name)
        if isinstance(strength, Combine):
            pending += strengths_of(strength.combination)
        elif isinstance(strength, Sample):
            joints.add(fields[strength.field].joint)
        else:
            joints.update(joints_of(strength.reading)[:1])
    return joints
