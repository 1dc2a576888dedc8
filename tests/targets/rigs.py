"""Hand-made rigs for the tests of targets: between them every reading, curve, combination and kind of entry."""

from __future__ import annotations

from math import cos, pi, sin, sqrt

from plica.kinds.readings import Bend, ControlValue, Euler, Gap, MorphWeight, Offset, Reading, Rotation, Scale, Swing
from plica.rig.rig import Character, Expectation, Pose, Rig, RigJoint, Symmetry
from plica.rig.strengths import Combination, Combine, Control, Driver, Field, FieldSample, Sample, StrengthOf
from plica.rig.surfaces import (
    Detail,
    Fold,
    Inbetween,
    JointPose,
    Morph,
    Painted,
    Region,
    RegionSet,
    Sculpt,
    Shape,
    SkinOf,
    Stored,
    StrengthPose,
)
from plica.skeleton.algebra import Quaternion, Vector
from plica.skeleton.planes import Plane
from plica.values import LINEAR, About, Alias, Bezier, Curve, Geometry, Hermite, Linear, Photo, Points
from tests.support.joints import rig_joint

HALF = sqrt(0.5)
TILTED: Quaternion = (0.1, -0.2, 0.3, sqrt(1 - 0.01 - 0.04 - 0.09))
SOFT = Hermite("smooth", ((0.0, 0.0, 0.0), (0.5, 0.35, 1.0), (1.0, 1.0, 0.0)))
OVERSHOOT = Hermite("monotone", ((0.0, 0.0, 0.5), (0.25, 0.1, 3.0), (0.75, 0.4, 2.0), (1.0, 1.0, 2.0)))
BROKEN = Points(((0.0, 0.0), (0.25, 0.5), (0.5, 0.25), (1.0, 1.0)))
CURVES: dict[str, Curve] = {
    "linear": Linear(),
    "points": BROKEN,
    "smooth": SOFT,
    "monotone": OVERSHOOT,
    "ease": Bezier((0.25, 0.1, 0.25, 1.0)),
    "beyond": Bezier((0.3, -0.5, 0.6, 1.6)),
    "upright": Bezier((0.0, 0.5, 1.0, 0.5)),
}


def turn(axis: Vector, degrees: float) -> Quaternion:
    """The quaternion of a turn about a unit axis."""
    half = degrees * pi / 360
    return (axis[0] * sin(half), axis[1] * sin(half), axis[2] * sin(half), cos(half))


def joint(
    name: str,
    parent: str | None = None,
    translation: Vector = (0.0, 0.0, 0.0),
    rotation: Quaternion = (0.0, 0.0, 0.0, 1.0),
    scale: Vector = (1.0, 1.0, 1.0),
) -> RigJoint:
    """A joint of no side."""
    return rig_joint(name, parent, translation, rotation, scale, "none", None, True)


def driver(
    name: str,
    reading: Reading,
    span: tuple[float, float] = (0.0, 1.0),
    curve: Curve = LINEAR,
    clamped: bool = True,
) -> Driver:
    """A driver of no side."""
    return Driver(name, "none", name, reading, span, clamped, curve)


SKELETON = (
    joint("root", None, (0.0, 0.9, 0.0), TILTED, (1.0, 1.0, 1.0)),
    joint("back", "root", (0.0, 0.2, 0.01), (0.0, 0.0, 0.0, 1.0), (1.1, 1.1, 1.1)),
    joint("left_upperarm", "back", (0.2, 0.3, 0.0), turn((0.6, 0.0, 0.8), 40)),
    joint("left_lowerarm", "left_upperarm", (0.25, 0.0, 0.0), (0.0, HALF, 0.0, HALF), (1.0, 0.9, 1.0)),
    joint("left_hand", "left_lowerarm", (0.2, 0.01, 0.0)),
    joint("left_whiskerpad", "back", (0.02, 0.4, 0.1), turn((0.0, 0.6, 0.8), -75)),
)


def every_reading() -> tuple[Driver, ...]:
    """Drivers of every kind of reading, over spans that start elsewhere than 0, clamped and not."""
    arm = "left_upperarm"
    eulers = tuple(
        driver(f"euler_{order}_{channel}", Euler(arm, order, channel, frame), (-1.5, 1.5))
        for order, frame in (("xyz", TILTED), ("yzx", (0.0, 0.0, 0.0, 1.0)), ("zyx", TILTED), ("xzy", TILTED))
        for channel in ("x", "y", "z")
    )
    return (
        driver("twist", Rotation("left_lowerarm", (1.0, 0.0, 0.0)), (0.0, 2.2), SOFT),
        driver("twist_back", Rotation("left_lowerarm", (1.0, 0.0, 0.0)), (0.0, -0.5)),
        driver("twist_aslant", Rotation(arm, (0.6, 0.0, -0.8)), (-0.5, 1.5), clamped=False),
        driver("hand_down", Rotation("left_hand", (0.0, 0.0, -1.0)), (0.0, 1.0), BROKEN),
        driver("bent", Bend(arm), (0.0, 1.5), OVERSHOOT),
        driver("raised", Swing(arm, (1.0, 0.0, 0.0), (0.0, 0.6, 0.8)), (0.0, 1.3)),
        driver("lowered", Swing("left_hand", (0.0, 1.0, 0.0), (1.0, 0.0, 0.0)), (0.0, 1.3)),
        *eulers,
        driver("lift", Offset("left_whiskerpad", (0.0, 1.1, 0.0)), (0.0, 0.004)),
        driver("slide", Offset("left_whiskerpad", (0.3, -0.4, 0.5)), (-0.01, 0.01), clamped=False),
        driver("squash", Scale("left_whiskerpad", (0.6, 0.8, 0.0)), (0.0, -0.3)),
        driver("near", Gap("left_hand", "left_whiskerpad", 0.25), (0.0, -0.2)),
        driver("far", Gap("left_upperarm", "left_hand", 0.45), (0.0, 0.1), clamped=False),
        driver("level", Gap("root", "left_hand", 0.7), (0.0, 0.3)),
        driver("smile", ControlValue("mood"), (0.0, 0.5)),
        driver("frown", ControlValue("mood"), (0.0, -1.5), SOFT),
        driver("grinning", MorphWeight("grin"), (0.1, 0.8), SOFT),
    )


def every_curve() -> tuple[Driver, ...]:
    """Every curve, clamped and not, over one control."""
    return tuple(
        driver(f"{name}_{'clamped' if clamped else 'open'}", ControlValue("share"), (0.0, 1.0), curve, clamped)
        for name, curve in CURVES.items()
        for clamped in (True, False)
    )


FIELDS = (
    Field(
        "reach",
        "none",
        "reach",
        "left_upperarm",
        "rotation",
        None,
        "gaussian",
        0.8,
        (
            FieldSample("rest", (0.0, 0.0, 0.0, 1.0)),
            FieldSample("up", turn((0.0, 0.0, 1.0), 80)),
            FieldSample("ahead", turn((0.0, -1.0, 0.0), 70)),
        ),
        ((-0.4, -0.3), (1.2, -0.1), (-0.2, 1.1)),
        (0.05, 0.03),
    ),
    Field(
        "aim",
        "none",
        "aim",
        "left_hand",
        "direction",
        (0.6, 0.8, 0.0),
        "linear",
        None,
        (FieldSample("rest", (0.0, 0.0, 0.0, 1.0)), FieldSample("in", turn((0.0, 0.0, 1.0), 60))),
        ((0.6,), (-0.5,)),
        (0.4,),
    ),
    Field(
        "glide",
        "none",
        "glide",
        "left_upperarm",
        "rotation",
        None,
        "ramp",
        None,
        (
            FieldSample("rest", (0.0, 0.0, 0.0, 1.0)),
            FieldSample("raised", turn((0.0, 0.0, 1.0), 70), 2.0),
            FieldSample("forward", turn((0.0, -1.0, 0.0), 60), 1.8),
        ),
        (),
        (),
    ),
)


def every_combination() -> tuple[Combine, ...]:
    """Products, least, greatest, sums, nested and plain."""

    def of(*names: str) -> tuple[StrengthOf, ...]:
        return tuple(StrengthOf(name) for name in names)

    inner = Combination("sum", (*of("lift", "smile"), Combination("least", of("bent", "raised"))))
    return (
        Combine("both", "none", "both", Combination("product", of("twist", "bent"))),
        Combine("either", "none", "either", Combination("greatest", of("twist", "hand_down", "up"))),
        Combine("mixed", "none", "mixed", Combination("product", (inner, *of("both", "either")))),
        Combine("one", "none", "one", Combination("least", of("mixed"))),
        Combine("full", "none", "full", Combination("sum", of("twist", "bent", "smile", "slide"))),
    )


def whole_rig() -> Rig:
    """A rig that holds everything that a rig can hold."""
    samples = (
        Sample("up", "none", "reach", "reach", "up"),
        Sample("ahead", "none", "reach", "reach", "ahead"),
        Sample("aimed_in", "none", "aim", "aim", "in"),
        Sample("glide_raised", "none", "glide", "glide", "raised"),
        Sample("glide_forward", "none", "glide", "glide", "forward"),
    )
    about = About(("seen on the river “stage”",), (Photo("photos/otter.jpg", "wet fur"),), "old_elbow")
    return Rig(
        Character(
            name="wren",
            title="Wren, the otter who runs the river post",
            geometry=Geometry("wren.glb", ("skin",)),
            tolerance=0.0005,
            skinning="dual quaternion",
        ),
        SKELETON,
        Symmetry.of(Plane.across("x", 0.0), False),
        (
            Control("mood", "none", "mood", (-1.0, 1.0), 0.25),
            Control("share", "none", "share", (-1.0, 2.0), 0.0),
            Control("weight of grin", "none", "weight of grin", (0.0, 1.0), 0.05, "grin"),
        ),
        FIELDS,
        (*every_reading(), *every_curve(), *samples, *every_combination()),
        (
            Region("forearm", "left", "forearm", SkinOf(("left_lowerarm",)), 0.012, about),
            Region("brow", "none", "brow", Painted("masks/brow.png", "skin"), 0.0),
            Region("nose", "none", "nose", Stored("sets/nose.txt"), 0.0),
            Region("all", "none", "all", RegionSet("union", ("brow", "nose")), 0.0),
        ),
        (
            Shape(
                "swell",
                "left",
                "swell",
                Sculpt("sculpts/swell.npz", (StrengthPose("bent", 1.0), JointPose("back", (1.0, 0.0, 0.0), 0.2))),
                "forearm",
                "bent",
                (Inbetween(0.5, Sculpt("sculpts/swell_half.npz")),),
                1e-5,
            ),
            Shape("grin", "none", "grin", Morph("grin"), None, "smile", (), 0.0),
            Shape("later", "none", "later", None, None, None, (), 0.0),
        ),
        (Detail("fur", "maps/relaxed.png", "maps/contracted.png", "skin", 2097152.0, "reoriented"),),
        (
            Fold("muzzle_lines", "none", "muzzle_lines", "fur", "nose", "lift", 0.004),
            Fold("quiet_lines", "none", "quiet_lines", "fur", "brow", None, 0.004),
        ),
        (
            Pose(
                "salute", "left", "salute", (StrengthPose("bent", 1.0), JointPose("back", (1.0, 0.0, 0.0), 0.2)), about
            ),
        ),
        (
            Expectation("volume", "left", ("forearm",), limit=0.04, over=("bent",)),
            Expectation(
                "squeeze", "left", ("forearm",), uv="skin", limit=0.4, border=0.25, share=0.98, over_poses=("salute",)
            ),
            Expectation("clearance", "left", ("forearm",), "nose", limit=0.0005, over_clips=("walk.glb",)),
            Expectation("rest", "none", over_everything=True),
        ),
        (Alias("LeftForeArm", "left_lowerarm"),),
    )
