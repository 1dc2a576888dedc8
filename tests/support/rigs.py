"""Rigs made up at random, with every kind of reading, curve and combination, for tests and benchmarks."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from random import Random
from typing import Literal

import numpy as np
from scipy.spatial.transform import Rotation as Turn

from plica.evaluate.poses import Array
from plica.kinds.readings import (
    Bend,
    ControlValue,
    Euler,
    Gap,
    MorphWeight,
    Offset,
    Reading,
    Rotation,
    Scale,
    Swing,
    complete,
    kind_of,
    weight_control,
)
from plica.rig.radial import solve
from plica.rig.ramps import default_widths
from plica.rig.rig import Character, Rig, RigJoint, Symmetry
from plica.rig.strengths import Combination, Combine, Control, Driver, Field, FieldSample, Sample, StrengthOf
from plica.skeleton.algebra import Quaternion, Vector
from plica.skeleton.planes import Plane
from plica.units import Dimension
from plica.values import Bezier, Curve, Hermite, Linear, Points, Side
from tests.support.joints import rig_joint

Metric = Literal["rotation", "direction"]
Kernel = Literal["ramp", "gaussian", "linear"]
METRICS: tuple[Metric, ...] = ("rotation", "direction")
KERNELS: tuple[Kernel, ...] = ("ramp", "gaussian", "linear")
WAYS: tuple[Literal["product", "least", "greatest", "sum"], ...] = ("product", "least", "greatest", "sum")
CHANNELS: tuple[Literal["x", "y", "z"], ...] = ("x", "y", "z")
ORDERS = ("xyz", "xzy", "yxz", "yzx", "zxy", "zyx")
CURVES: tuple[Curve, ...] = (
    Linear(),
    Hermite("smooth", ((0.0, 0.0, 0.0), (1.0, 1.0, 0.0))),
    Hermite("harmonic", ((0.0, 0.0, 0.5), (0.5, 0.35, 1.0), (1.0, 1.0, 1.5))),
    Bezier((0.25, 0.1, 0.25, 1.0)),
    Bezier((0.42, 0.0, 1.0, 1.0)),
    Points(((0.0, 0.0), (0.3, 0.1), (0.6, 0.55), (1.0, 1.0))),
    Hermite("monotone", ((0.0, 0.0, 0.1), (0.25, 0.1, 0.5), (0.6, 0.55, 1.2), (1.0, 1.0, 0.4))),
)


def unit_vector(random: Random) -> Vector:
    """A direction, all alike."""
    x, y, z = (random.gauss(0.0, 1.0) for _ in range(3))
    size = (x * x + y * y + z * z) ** 0.5
    return (x / size, y / size, z / size)


def vector(values: Iterable[float]) -> Vector:
    """The three parts as a vector."""
    x, y, z = map(float, values)
    return (x, y, z)


def quaternion(values: Iterable[float]) -> Quaternion:
    """The four parts as a quaternion."""
    x, y, z, w = map(float, values)
    return (x, y, z, w)


def unit_quaternion(random: Random) -> Quaternion:
    """A rotation, all alike."""
    parts = np.array([random.gauss(0.0, 1.0) for _ in range(4)])
    return quaternion(parts / np.linalg.norm(parts))


def random_skeleton(random: Random, middle: int, pairs: int) -> tuple[RigJoint, ...]:
    """Joints `middle_0`.. in a row up y and pairs `left_0`, `right_0`.. hanging off them or off each other.

    Mirrored across x = 0 in position; each frame is turned at random, so no two partners share their axes.
    """
    points: dict[str, Array] = {}
    frames: dict[str, Turn] = {}
    joints: list[RigJoint] = []

    def add(name: str, parent: str | None, point: Array, side: Side, partner: str | None) -> None:
        points[name], frames[name] = point, Turn.from_quat(unit_quaternion(random))
        above = frames[parent] if parent else Turn.identity()
        translation = above.inv().apply(point - (points[parent] if parent else np.zeros(3)))
        rotation = (above.inv() * frames[name]).as_quat()
        joints.append(
            rig_joint(
                name,
                parent,
                vector(translation),
                quaternion(rotation),
                (1.0, 1.0, 1.0),
                side,
                partner,
                True,
            )
        )

    for index in range(middle):
        add(
            f"middle_{index}", f"middle_{index - 1}" if index else None, np.array([0.0, 0.3 * index, 0.0]), "none", None
        )
    for index in range(pairs):
        hangs = random.randrange(-middle, index)
        step = np.array([random.uniform(0.1, 0.4), random.uniform(-0.3, 0.3), random.uniform(-0.3, 0.3)])
        for side, factor in (("left", 1.0), ("right", -1.0)):
            parent = f"middle_{-hangs - 1}" if hangs < 0 else f"{side}_{hangs}"
            other = "right" if side == "left" else "left"
            point = points[parent] + step * np.array([factor, 1.0, 1.0])
            add(f"{side}_{index}", parent, point, "left" if side == "left" else "right", f"{other}_{index}")
    return tuple(joints)


def _reading(kind: int, random: Random, joints: tuple[RigJoint, ...], controls: tuple[Control, ...]) -> Reading:
    joint = random.choice(joints).name
    # Every third reading is of the joint as another one sees it; drawn apart, so that all else stays as it was.
    apart = Random(f"{kind} {joint}")
    looking = apart.choice([other.name for other in joints if other.name != joint]) if apart.random() < 0.35 else None
    along = unit_vector(random)
    toward = np.cross(along, unit_vector(random))
    toward /= np.linalg.norm(toward)
    order = random.choice(ORDERS)
    makers: Mapping[str, Callable[[], Reading]] = {
        "rotation": lambda: Rotation(joint, along, looking),
        "bend": lambda: Bend(joint, looking),
        "swing": lambda: Swing(joint, along, vector(toward), looking),
        "euler": lambda: Euler(joint, order, random.choice(CHANNELS), unit_quaternion(random), looking),
        "offset": lambda: Offset(joint, along, looking),
        "scale": lambda: Scale(joint, along),
        "gap": lambda: Gap(joint, random.choice([other.name for other in joints if other.name != joint]), 0.0),
        "control": lambda: ControlValue(random.choice([one.name for one in controls if one.morph is None])),
        "weight": lambda: MorphWeight(random.choice([one.morph for one in controls if one.morph is not None])),
    }
    names = list(complete("random reading", makers))
    return makers[names[kind % len(names)]]()


def _span(reading: Reading, random: Random) -> tuple[float, float]:
    kind = kind_of(reading)
    if kind.dimension is Dimension.LENGTH:
        return (0.0, random.choice((-1, 1)) * random.uniform(0.005, 0.05))
    if kind.dimension is Dimension.NUMBER:
        return (0.0, 0.5)
    if kind.dimension is Dimension.SHARE:
        return (0.0, random.choice((-1, 1)) * random.uniform(0.1, 0.4))
    sign = 1 if kind.reach is not None and kind.reach.least == 0.0 else random.choice((-1, 1))
    return (sign * random.uniform(0.0, 0.2), sign * random.uniform(0.8, 2.0))


def random_field(random: Random, name: str, joint: str, metric: Metric, kernel: Kernel, samples: int = 4) -> Field:
    """A field with samples well apart, solved, and drawn anew where a wide kernel cannot tell them apart."""
    axis = unit_vector(random) if metric == "direction" else None
    result = [FieldSample("rest", (0.0, 0.0, 0.0, 1.0))]
    while len(result) < samples + 1:
        turn = Turn.from_rotvec(np.array(unit_vector(random)) * random.uniform(0.5, 1.5))
        trial = [*result, FieldSample(f"pose_{len(result)}", quaternion(turn.as_quat()))]
        near = Turn.from_quat([sample.rotation for sample in result]).inv() * turn
        if near.magnitude().min() > 0.4:
            result = trial
    if kernel == "ramp":
        widths = default_widths(result, metric, axis)
        result = [sample._replace(width=width) for sample, width in zip(result, widths, strict=True)]
        return Field(name, "none", name, joint, metric, axis, kernel, None, tuple(result), (), ())
    try:
        width, coefficients, constants = solve(result, metric, axis, kernel)
    except ValueError:
        return random_field(random, name, joint, metric, kernel, samples)
    return Field(name, "none", name, joint, metric, axis, kernel, width, tuple(result), coefficients, constants)


def random_rig(
    seed: int, *, middle: int = 3, pairs: int = 5, drivers: int = 21, fields: int = 2, combines: int = 4
) -> Rig:
    """A rig whose drivers go through all kinds of reading and curve in turn."""
    random = Random(seed)
    joints = random_skeleton(random, middle, pairs)
    controls = tuple(Control(f"{side}_dial", side, "dial", (-1.0, 1.0), 0.125) for side in ("left", "right"))
    names = {side: weight_control(f"smile_{side}") for side in ("left", "right")}
    controls += tuple(
        Control(name, side, names["left"], (0.0, 1.0), 0.25, f"smile_{side}") for side, name in names.items()
    )
    strengths: list[Driver | Sample | Combine] = []
    for index in range(drivers):
        reading = _reading(index, random, joints, controls)
        curve = CURVES[random.randrange(len(CURVES))]
        clamped = index % 5 != 4
        start, end = _span(reading, random)
        name = f"driver_{index}"
        # Open at the start, a driver is off at rest only if its span starts there.
        span = (start if clamped else 0.0, end)
        strengths.append(Driver(name, "none", name, reading, span, clamped, curve))
    made = []
    for index in range(fields):
        metric, kernel = METRICS[index % 2], KERNELS[index // 2 % 3]
        made.append(random_field(random, f"field_{index}", random.choice(joints).name, metric, kernel))
        for sample in made[-1].samples[1:]:
            name = f"field_{index}_{sample.name}"
            strengths.append(Sample(name, "none", name, f"field_{index}", sample.name))
    for index in range(combines):
        how = WAYS[index % 4]
        parts = [StrengthOf(random.choice(strengths).name) for _ in range(3)]
        inner = Combination("sum", (parts[0], parts[1]))
        name = f"combine_{index}"
        combination = Combination(how, (inner, parts[2])) if index % 2 else Combination(how, tuple(parts))
        strengths.append(Combine(name, "none", name, combination))
    return Rig(
        Character("wren", "Wren", None, 1e-4),
        joints,
        Symmetry.of(Plane.across("x", 0.0), False),
        controls,
        tuple(made),
        tuple(strengths),
    )
