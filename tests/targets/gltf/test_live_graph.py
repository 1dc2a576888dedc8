"""Behaviour graphs of rigs, interpreted as the specification's text says, against the evaluator."""

from __future__ import annotations

from functools import lru_cache
from math import pi

import numpy as np
import pytest

from plica.evaluate.poses import JointPlacement, SparsePose
from plica.evaluate.vectors import vectors
from plica.kinds.combinations import COMBINATION_KINDS
from plica.kinds.curves import CURVE_NAMES
from plica.kinds.kernels import KERNEL_KINDS
from plica.kinds.readings import READING_KINDS, Bend, Euler, Offset, Rotation, Swing
from plica.mesh.inbetweens import coefficients
from plica.rig.rig import Rig
from plica.rig.strengths import Combine, Driver
from plica.targets.gltf import TARGET
from plica.targets.gltf.live.arithmetic import Arithmetic
from plica.targets.gltf.live.document import extension_of
from plica.targets.gltf.live.driving import DrivenWeight
from plica.targets.gltf.live.flow import MOST_SOCKETS, kept_in_variables, run_every_frame, weight_step
from plica.targets.gltf.live.graph import GraphBuilder
from plica.targets.gltf.live.weights import Following, weights_of
from tests.support.behaviour import Behaviour
from tests.targets.gltf.live_rigs import Compiled, reader, seen_rig
from tests.targets.rigs import driver, whole_rig

RIGS = {"whole": whole_rig, "seen": seen_rig}


@lru_cache
def rig_and_poses(name: str) -> tuple[Rig, list[SparsePose]]:
    rig = RIGS[name]()
    return rig, [example.pose for example in vectors(rig)]


@pytest.mark.parametrize("name", RIGS)
def test_every_strength_is_the_evaluators(name: str) -> None:
    rig, poses = rig_and_poses(name)
    off = Compiled(rig).errors(poses)
    assert max(off.values()) <= 1e-9, sorted(off.items(), key=lambda item: -item[1])[:5]


def test_the_two_rigs_have_every_kind() -> None:
    rigs = [rig_and_poses(name)[0] for name in RIGS]
    drivers = [one for rig in rigs for one in rig.strengths if isinstance(one, Driver)]
    fields = [one for rig in rigs for one in rig.fields]
    assert {one.reading.kind for one in drivers} == set(READING_KINDS)
    assert {one.curve.kind for one in drivers} == set(CURVE_NAMES)
    assert {one.kernel for one in fields} == set(KERNEL_KINDS)
    assert {one.combination.how for rig in rigs for one in rig.strengths if isinstance(one, Combine)} <= set(
        COMBINATION_KINDS
    )
    assert {type(one.reading) for one in drivers if getattr(one.reading, "relative_to", None)} == {
        Rotation,
        Bend,
        Swing,
        Euler,
        Offset,
    }
    named = {word for feature in TARGET.supports for word in feature.split()[1:]}
    assert {*READING_KINDS, *CURVE_NAMES, *KERNEL_KINDS, *COMBINATION_KINDS} <= named


@pytest.mark.parametrize("name", RIGS)
def test_rest_is_exactly_zero_where_it_has_to_be(name: str) -> None:
    rig, _ = rig_and_poses(name)
    expected, found = (Compiled(rig).errors([SparsePose()]), Compiled(rig).strengths(SparsePose()))
    assert max(expected.values()) <= 1e-9
    from_rest = [one.name for one in rig.strengths if isinstance(one, Driver) and one.span[0] == 0.0]
    assert {name: found[name] for name in from_rest} == dict.fromkeys(from_rest, 0.0)


@pytest.mark.parametrize("name", RIGS)
def test_in_single_precision_it_is_nearly_the_same(name: str) -> None:
    """Poses, constants and every result rounded to 24 bits. Short spans far from the origin take most."""
    rig, poses = rig_and_poses(name)
    single = Compiled(rig, np.float32)
    steep = {one.name for one in rig.strengths if isinstance(one, Driver) and one.curve.kind == "bezier"}
    off = single.errors(poses)
    assert max(value for name, value in off.items() if name not in steep) <= 1e-4
    assert max(off.values()) < np.inf
    # Of joints far apart, lengths are rounded more coarsely than a thousandth of a short span.
    rest = single.errors([SparsePose()])
    assert max(rest.values()) <= (1e-6 if name == "whole" else 1e-5), sorted(rest.items(), key=lambda item: -item[1])


def test_half_turns_are_positive_and_where_no_twist_is_defined_it_is_zero() -> None:
    rig = whole_rig()
    span = (-2 * pi, 2 * pi)
    rig = rig._replace(
        strengths=(
            driver("x", Rotation("left_hand", (1.0, 0.0, 0.0)), span),
            driver("back", Rotation("left_hand", (-1.0, 0.0, 0.0)), span),
        ),
        fields=(),
        shapes=(),
        folds=(),
    )
    compiled = Compiled(rig)
    for quaternion, expected in (
        ((1.0, 0.0, 0.0, 0.0), pi),
        ((-1.0, 0.0, 0.0, 0.0), pi),
        ((1.0, 0.0, 0.0, -0.0), pi),
        ((0.0, 1.0, 0.0, 0.0), 0.0),
        ((0.0, 0.0, 0.0, 0.0), 0.0),
        ((-0.6, 0.0, 0.0, -0.8), 2 * np.arctan2(0.6, 0.8)),
    ):
        found = compiled.strengths(SparsePose({"left_hand": JointPlacement(quaternion)}))
        assert found["x"] * 4 * pi - 2 * pi == pytest.approx(expected, abs=1e-12)
        assert found["back"] * 4 * pi - 2 * pi == pytest.approx(expected if expected == pi else -expected, abs=1e-12)


@pytest.mark.parametrize("at", [(), (0.35,), (0.2, 0.7), (0.1, 0.5, 0.9), (-0.5,), (1.5,), (-0.5, 0.4, 1.5)])
def test_weights_of_inbetweens_follow_the_rule(at: tuple[float, ...]) -> None:
    builder = GraphBuilder()
    build = Arithmetic(builder)
    strength = build.read("/strength", "float")
    weights = weights_of(build, {"shape": Following(strength, at)})["shape"]
    assert set(weights) == {1.0, *at}
    run_every_frame(builder, [weight_step(0, index, weights[knot]) for index, knot in enumerate((1.0, *at))])
    behaviour = Behaviour({"extensions": {"KHR_interactivity": extension_of(builder.graph())}})
    strengths = np.array([-1.0, -0.25, 0.0, 0.05, 0.2, 0.35, 0.6, 0.95, 1.0, 1.25, 2.0])
    for value, expected in zip(strengths, coefficients(at, strengths), strict=True):
        found = behaviour.tick(lambda _pointer, value=value: value)
        np.testing.assert_allclose(
            [found[f"/nodes/0/weights/{index}"] for index in range(len(at) + 1)], expected, atol=1e-12
        )
        if value == 0.0:
            assert not any(found.values())


def test_weights_of_several_shapes_at_once_are_those_of_each() -> None:
    builder = GraphBuilder()
    build = Arithmetic(builder)
    inbetweens = [(0.2, 0.7), (), (0.35,), (0.2, 0.7), (0.1, 0.5), (0.4,), (0.3, 0.9), (1.5,), (0.6, 0.8), (-0.5,)]
    shapes = {str(number): Following(build.read(f"/{number}", "float"), at) for number, at in enumerate(inbetweens)}
    steps = [
        weight_step(int(name), index, weights[knot])
        for name, weights in weights_of(build, shapes).items()
        for index, knot in enumerate((1.0, *shapes[name].inbetweens))
    ]
    run_every_frame(builder, steps)
    behaviour = Behaviour({"extensions": {"KHR_interactivity": extension_of(builder.graph())}})
    for start in np.linspace(-0.2, 1.2, 15):
        values = start + 0.03 * np.arange(len(inbetweens))
        found = behaviour.tick(lambda pointer, values=values: values[int(pointer[1:])])
        for number, at in enumerate(inbetweens):
            expected = coefficients(at, values[number : number + 1])[0]
            weights = [found[f"/nodes/{number}/weights/{index}"] for index in range(len(at) + 1)]
            np.testing.assert_allclose(weights, expected, atol=1e-12)
    assert not any(behaviour.tick(lambda _pointer: 0.0).values())


def test_long_sequences_are_split_and_keep_their_order() -> None:
    builder = GraphBuilder()
    value = Arithmetic(builder).read("/any", "float")
    steps, kept = kept_in_variables(builder, {f"strength {number}": value for number in range(150)})
    count = MOST_SOCKETS**2 + 3
    steps += [weight_step(0, index, kept("strength 149")) for index in range(count)]
    run_every_frame(builder, steps)
    graph = builder.graph()
    assert max(len(node.flows) for node in graph.nodes) <= MOST_SOCKETS
    assert max(len(node.values) for node in graph.nodes) <= MOST_SOCKETS
    found = Behaviour({"extensions": {"KHR_interactivity": extension_of(graph)}}).tick(lambda _pointer: 0.5)
    assert list(found) == [f"/nodes/0/weights/{index}" for index in range(count)]
    assert set(found.values()) == {0.5}


def test_what_is_alike_is_computed_once() -> None:
    rig = whole_rig()
    reading = Rotation("left_upperarm", (0.6, 0.0, -0.8))
    once, twice = (
        len(Compiled(rig._replace(fields=(), shapes=(), folds=(), strengths=drivers)).graph.nodes)
        for drivers in (
            (driver("one", reading, (0.5, 1.5)),),
            (driver("one", reading, (0.5, 1.5)), driver("other", reading, (0.5, 1.5))),
        )
    )
    assert once == twice


def test_a_shape_that_follows_a_strength_gets_its_weights() -> None:
    rig, poses = rig_and_poses("whole")
    written = [DrivenWeight("swell", 1.0, 77, 3), DrivenWeight("swell", 0.5, 77, 2), DrivenWeight("grin", 1.0, 78, 0)]
    compiled = Compiled(rig, written=written)
    strengths = compiled.strengths(poses[5])
    weights = compiled.behaviour.tick(reader(rig, compiled.places, poses[5]))
    bent = coefficients((0.5,), np.array([strengths["bent"]]))[0]
    assert weights["/nodes/77/weights/3"] == pytest.approx(bent[0], abs=1e-12)
    assert weights["/nodes/77/weights/2"] == pytest.approx(bent[1], abs=1e-12)
    assert weights["/nodes/78/weights/0"] == strengths["smile"]


def test_no_operation_is_used_that_engines_lack() -> None:
    used = {node.operation for name in RIGS for node in Compiled(rig_and_poses(name)[0]).graph.nodes}
    assert not {one for one in used if "smoothStep" in one or "extract" in one}
