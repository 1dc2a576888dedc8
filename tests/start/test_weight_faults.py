"""Skin weights at fault: uneven between the sides, on joints far away, torn between neighbours."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from plica.mesh.arrays import Floats, Integers
from plica.start.skin_figures import SkinLook, WeightFault
from plica.start.skin_words import fault_texts
from plica.start.weight_faults import weight_faults
from tests.support.arms import ELBOW, Arms, arms


@pytest.fixture(name="made")
def made_arms() -> Arms:
    return arms(ELBOW, shapes={})


def _faults(made: Arms, weights: Floats | None = None, joints: Integers | None = None) -> tuple[WeightFault, ...]:
    mesh = made.attached.mesh
    changed = replace(
        mesh,
        weights=mesh.weights if weights is None else weights,
        joints=mesh.joints if joints is None else joints,
    )
    return weight_faults(made.rig, replace(made.attached, mesh=changed), {})


def test_weights_without_fault_are_not_told_of(made: Arms) -> None:
    assert _faults(made) == ()


def test_a_point_that_differs_from_its_mirror_image(made: Arms) -> None:
    mesh = made.attached.mesh
    weights = mesh.weights.copy()
    vertex = int(np.argmin(np.abs(mesh.positions[:, 0] - 0.5)))
    share = weights[vertex, 1]
    weights[vertex] = [1.0 - share + 0.2, share - 0.2]
    (fault,) = _faults(made, weights)
    assert (fault.kind, fault.size) == ("uneven", 1)
    assert fault.worst == pytest.approx(0.2)
    assert abs(fault.position[0]) == pytest.approx(abs(mesh.positions[vertex, 0]))
    assert fault.joint in ("upperarm_lf", "lowerarm_lf", "upperarm_rt", "lowerarm_rt")
    weights[vertex] = [1.0 - share + 0.05, share - 0.05]
    assert _faults(made, weights) == ()


def test_weight_on_a_joint_far_away(made: Arms) -> None:
    """Three points near the left paw follow the right paw with a tenth of their weight, on both sides alike."""
    mesh, names = made.attached.mesh, [joint.name for joint in made.rig.skeleton]
    partners = made.attached.symmetry.vertex_partners if made.attached.symmetry is not None else None
    assert partners is not None
    third = np.zeros((mesh.vertex_count, 1))
    joints = np.column_stack([mesh.joints, np.zeros(mesh.vertex_count, np.int64)])
    chosen = np.argsort(-mesh.positions[:, 0])[:3]
    for vertices, far in ((chosen, "paw_rt"), (partners[chosen], "paw_lf")):
        third[vertices] = 0.1
        joints[vertices, 2] = names.index(far)
    weights = np.column_stack([mesh.weights * (1.0 - third), third])
    faults = [fault for fault in _faults(made, weights, joints) if fault.kind == "far"]
    assert {(fault.joint, fault.size) for fault in faults} == {("paw_rt", 3), ("paw_lf", 3)}
    assert all(fault.worst == pytest.approx(0.1) for fault in faults)
    assert {fault.vertex for fault in faults} <= {*chosen.tolist(), *partners[chosen].tolist()}
    third[third > 0] = 0.04
    small = np.column_stack([mesh.weights * (1.0 - third), third])
    assert not [fault for fault in _faults(made, small, joints) if fault.kind == "far"]


def test_the_bones_of_a_flat_hierarchy_can_be_told(made: Arms) -> None:
    """A joint without children carries what is around it; where its bone leads is told."""
    mesh, names = made.attached.mesh, [joint.name for joint in made.rig.skeleton]
    # All of the forearm hangs on the spine's joint, which stands between the arms.
    lower = mesh.weights[:, 1] > 0.5
    joints = np.where(lower[:, None], names.index("spine"), mesh.joints)
    faults = weight_faults(made.rig, replace(made.attached, mesh=replace(mesh, joints=joints)), {})
    assert {fault.joint for fault in faults if fault.kind == "far"} == {"spine"}
    led = weight_faults(made.rig, replace(made.attached, mesh=replace(mesh, joints=joints)), {"spine": "paw_lf"})
    counts = {fault.joint: fault.size for fault in faults if fault.kind == "far"}
    assert sum(fault.size for fault in led if fault.kind == "far") < counts["spine"]


def test_skin_that_is_torn_between_neighbours(made: Arms) -> None:
    """A step from 0 to 1 a quarter of a metre beyond the elbow: an edge of 2 cm is drawn out by w r / l = 0.25 / 0.02
    of its length for each radian, 12.5 times or so."""
    mesh = made.attached.mesh
    along = np.abs(mesh.positions[:, 0])
    weights = np.where((along > 0.751)[:, None], [0.0, 1.0], [1.0, 0.0])
    faults = [fault for fault in _faults(made, weights) if fault.kind == "torn"]
    assert {fault.joint for fault in faults} == {"lowerarm_lf", "lowerarm_rt"}
    assert {fault.size for fault in faults} == {2 * 16}  # all edges along the tube across the step, and diagonals
    distance, length = 0.25, (0.9 - 0.1) / 40
    assert all(fault.worst == pytest.approx(np.hypot(distance, 0.05) / length, rel=0.1) for fault in faults)
    # A step at the joint itself folds the skin and does not tear it.
    at_elbow = np.where((along > 0.501)[:, None], [0.0, 1.0], [1.0, 0.0])
    assert _faults(made, at_elbow) == ()


def test_faults_are_told_with_figures_and_places() -> None:
    faults = (
        WeightFault("uneven", "arm\nlf", 3, 0.25, 7, (0.1, -0.0, 0.25)),
        WeightFault("torn", "thigh", 2, 4.0, 9, (0.0, 1.0, 0.0)),
        *(WeightFault("torn", f"toe{number}", 1, 3.0, number, (0.0, 0.0, 0.0)) for number in range(3)),
    )
    uneven, torn, read = (*fault_texts(SkinLook(faults=faults)), *fault_texts(SkinLook(problems=("2 vertices\x07",))))
    assert uneven.whole == "3 points whose weights differ from those of the mirror image by 10 % or more"
    assert uneven.joints == ("3 at arm\\nlf (25 % at vertex 7, 0.1 0 0.25 m)",)
    assert torn.whole == "5 edges that one radian of a joint draws out to 4 times the length or more"
    assert torn.joints[0] == "2 at thigh (5.0 times at vertex 9, 0 1 0 m)" and torn.joints[-1] == "1 elsewhere"
    assert "\x07" not in read.whole
