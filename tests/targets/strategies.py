"""Rigs that hold together, with any names and numbers, for property tests."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from plica.kinds.readings import Bend, ControlValue, Euler, Gap, MorphWeight, Offset, Reading, Rotation, Swing
from plica.rig.rig import Character, Pose, Rig
from plica.rig.strengths import Combination, Combine, Control, Driver, Field, FieldSample, Sample, StrengthOf
from plica.rig.surfaces import Detail, Fold, Inbetween, Region, Sculpt, Shape, SkinOf, StrengthPose
from plica.skeleton.algebra import Quaternion, normalised
from plica.values import About, Bezier, Curve, Hermite, Linear, Photo, Points
from tests.support.joints import rig_joint

HOSTILE = (
    "",
    "'",
    '"',
    '"""',
    "'''",
    "\\",
    "\n",
    "\r",
    "\\N{BULLET}",
    "{}",
    "{0.__class__}",
    "%s%a",
    "\u2028",
    "\x00",
    "Zoë",
    "\U0001f9a6",
    "# x",
    "'); raise SystemExit(9) #",
    '"\n    raise SystemExit(9)\n"',
    "__import__('os')._exit(9)",
    "{{ 7 * 7 }}",
    "{% endfor %}",
)
hostile = st.sampled_from(HOSTILE)
names = hostile | st.text(max_size=12) | st.tuples(hostile, st.text(max_size=3)).map("".join)
numbers = st.floats(-1e6, 1e6)
smalls = st.floats(-3, 3)
vectors = st.tuples(smalls, smalls, smalls)
quaternions = st.tuples(smalls, smalls, smalls, smalls).map(lambda q: normalised(q))
AXES = ((1.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.6, 0.0, 0.8))
sides = st.sampled_from(("left", "right", "none"))
abouts = st.builds(
    About,
    st.lists(names, max_size=2).map(tuple),
    st.lists(st.builds(Photo, names, names), max_size=2).map(tuple),
    st.none() | names,
)


def _rising(draw: Any) -> list[float]:
    inner = draw(st.lists(st.integers(1, 19), max_size=3, unique=True))
    return [0.0, *(place / 20 for place in sorted(inner)), 1.0]


@st.composite
def curves(draw: Any) -> Curve:
    """Any curve."""
    kind = draw(st.integers(0, 3))
    if kind == 0:
        return Linear()
    if kind == 1:
        shares = st.floats(0.05, 0.95)  # where x(t) is nowhere level, so that rounding does not count
        return Bezier((draw(shares), draw(smalls), draw(shares), draw(smalls)))
    places = _rising(draw)
    if kind == 2:
        return Points(tuple((x, draw(smalls)) for x in places))
    return Hermite("smooth", tuple((x, draw(smalls), draw(smalls)) for x in places))


@st.composite
def readings(draw: Any, joints: list[str], controls: list[str]) -> Reading:
    """Any reading of these joints and controls."""
    one = draw(st.sampled_from(joints))
    looking = draw(st.sampled_from([None, *(name for name in joints if name != one)]))
    kind = draw(st.integers(0, 7))
    if kind == 0:
        return Rotation(one, draw(st.sampled_from(AXES)), looking)
    if kind == 1:
        return Bend(one, looking)
    if kind == 2:
        toward = draw(st.sampled_from(((1.0, 0.0, 0.0), (0.6, 0.0, -0.8))))
        return Swing(one, (0.0, 1.0, 0.0), toward, looking)
    if kind == 3:
        order = draw(st.permutations("xyz").map("".join))
        return Euler(one, order, draw(st.sampled_from("xyz")), draw(quaternions), looking)
    if kind == 4:
        return Offset(one, draw(vectors), looking)
    if kind == 5 or not controls:
        return Gap(one, draw(st.sampled_from(joints)), draw(st.floats(0, 9)))
    if kind == 6:
        return MorphWeight("grin")
    return ControlValue(draw(st.sampled_from(controls)))


def _combination(draw: Any, known: list[str], depth: int) -> Combination:
    parts = [
        _combination(draw, known, depth + 1)
        if depth < 2 and draw(st.integers(0, 3)) == 0
        else StrengthOf(draw(st.sampled_from(known)))
        for _ in range(draw(st.integers(1, 3)))
    ]
    return Combination(draw(st.sampled_from(("product", "least", "greatest", "sum"))), tuple(parts))


@st.composite
def rigs(draw: Any) -> Rig:
    """A whole rig: some joints and controls, drivers, a field, combinations, a region, shapes, a detail and folds."""
    joints = draw(st.lists(names, min_size=1, max_size=4, unique=True))
    parents = [None, *(draw(st.none() | st.sampled_from(joints[:place])) for place in range(1, len(joints)))]
    skeleton = tuple(
        rig_joint(name, parent, draw(vectors), draw(quaternions), (1.0, 1.5, 1.0), draw(sides), None, True)
        for name, parent in zip(joints, parents, strict=True)
    )
    control_names = draw(st.lists(names, max_size=2, unique=True))
    controls = tuple(
        Control(name, draw(sides), name, (-1.0, 1.0), draw(smalls), None, draw(abouts)) for name in control_names
    )
    controls += (Control("weight of grin", "none", "weight of grin", (0.0, 1.0), draw(smalls), "grin"),)
    strength_names = draw(st.lists(names, min_size=2, max_size=8, unique=True))
    count = draw(st.integers(1, len(strength_names) - 1))
    field = _field(draw, draw(st.sampled_from(joints)))
    strengths: list[Any] = [
        Driver(
            name,
            draw(sides),
            name,
            draw(readings(joints, control_names)),
            (start := draw(numbers), start + draw(st.sampled_from((-1.0, 0.25, 1.0, 7.0)))),
            draw(st.booleans()),
            draw(curves()),
            draw(abouts),
        )
        for name in strength_names[:count]
    ]
    for place, name in enumerate(strength_names[count:], count):
        if place == count:
            strengths.append(Sample(name, "none", field.name, field.name, field.samples[1].name))
        else:
            strengths.append(Combine(name, "none", name, _combination(draw, strength_names[:place], 0)))
    follows = st.none() | st.sampled_from(strength_names)
    shapes = tuple(
        Shape(name, draw(sides), name, None, "area", draw(follows), (Inbetween(0.5, Sculpt(name)),), 0.0)
        for name in draw(st.lists(names, max_size=2, unique=True))
    )
    folds = tuple(
        Fold(name, draw(sides), name, "fur", "area", draw(follows), 0.01)
        for name in draw(st.lists(names, max_size=2, unique=True))
    )
    poses = tuple(
        Pose(
            name, draw(sides), name, (StrengthPose(draw(st.sampled_from(strength_names)), draw(smalls)),), draw(abouts)
        )
        for name in draw(st.lists(names, max_size=2, unique=True))
    )
    return Rig(
        Character(draw(names), draw(names), None, draw(st.floats(0, 1)), draw(abouts)),
        skeleton,
        None,
        controls,
        (field,),
        tuple(strengths),
        (Region("area", "none", "area", SkinOf((joints[0],)), 0.0),),
        shapes,
        (Detail("fur", draw(names), draw(names), None, None, "plain"),),
        folds,
        poses,
    )


def _field(draw: Any, joint: str) -> Field:
    rest: Quaternion = (0.0, 0.0, 0.0, 1.0)
    direction = draw(st.booleans())
    return Field(
        draw(names),
        "none",
        "field",
        joint,
        "direction" if direction else "rotation",
        (0.0, 0.0, 1.0) if direction else None,
        "gaussian",
        0.7,
        (FieldSample("rest", rest), FieldSample(draw(names.filter("rest".__ne__)), draw(quaternions))),
        ((draw(smalls),), (draw(smalls),)),
        (draw(smalls),),
    )
