"""Wren's proportions: every measure of the otter's cage in one place, for the left half and the middle.

Metres and degrees; y is up, z is front, x is Wren's left. The radii are those of the finished, subdivided
surface; `cage` widens them for the control rings.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

Point = tuple[float, float, float]


@dataclass(frozen=True)
class BodyRing:
    """One cross-section of the trunk, from the tip of the tail to the nose.

    `axis_degrees` is the direction of the trunk there: 0 looks to the front, 90 looks up.
    """

    y: float
    z: float
    axis_degrees: float
    half_width: float
    dorsal: float
    ventral: float


@dataclass(frozen=True)
class LimbRing:
    """One cross-section of an arm or leg.

    `at` counts along the limb's stations (1.5 is halfway between stations 1 and 2). `squareness` 0 is an
    ellipse, 1 has flat upper and lower sides, as a paw needs. `lean_degrees` tips the ring about its width.
    """

    at: float
    half_width: float
    dorsal: float
    ventral: float
    squareness: float = 0.0
    lean_degrees: float = 0.0


BODY: Final[tuple[BodyRing, ...]] = (
    BodyRing(0.026, -0.640, 0.0, 0.016, 0.013, 0.013),
    BodyRing(0.030, -0.600, 2.0, 0.026, 0.020, 0.020),
    BodyRing(0.036, -0.525, 5.0, 0.036, 0.028, 0.027),
    BodyRing(0.046, -0.445, 9.0, 0.045, 0.036, 0.035),
    BodyRing(0.074, -0.345, 21.0, 0.058, 0.047, 0.046),
    BodyRing(0.126, -0.250, 36.0, 0.074, 0.062, 0.059),
    BodyRing(0.188, -0.165, 52.0, 0.099, 0.084, 0.078),
    BodyRing(0.224, -0.105, 63.0, 0.117, 0.098, 0.094),
    BodyRing(0.262, -0.058, 74.0, 0.131, 0.108, 0.112),
    BodyRing(0.303, -0.028, 82.0, 0.138, 0.112, 0.124),
    BodyRing(0.350, -0.009, 88.0, 0.140, 0.112, 0.127),
    BodyRing(0.412, 0.001, 91.0, 0.137, 0.107, 0.121),
    BodyRing(0.480, 0.002, 92.0, 0.130, 0.099, 0.110),
    BodyRing(0.546, -0.002, 91.0, 0.122, 0.094, 0.102),
    BodyRing(0.602, -0.005, 90.0, 0.116, 0.092, 0.099),
    BodyRing(0.642, -0.004, 89.0, 0.111, 0.089, 0.095),
    BodyRing(0.682, -0.001, 86.0, 0.103, 0.085, 0.089),
    BodyRing(0.720, 0.004, 83.0, 0.093, 0.080, 0.083),
    BodyRing(0.758, 0.010, 79.0, 0.083, 0.077, 0.077),
    BodyRing(0.796, 0.018, 73.0, 0.085, 0.079, 0.075),
    BodyRing(0.834, 0.030, 61.0, 0.098, 0.089, 0.075),
    BodyRing(0.868, 0.052, 44.0, 0.114, 0.095, 0.078),
    BodyRing(0.889, 0.079, 28.0, 0.120, 0.090, 0.080),
    BodyRing(0.896, 0.106, 15.0, 0.118, 0.083, 0.081),
    BodyRing(0.895, 0.131, 7.0, 0.109, 0.074, 0.077),
    BodyRing(0.886, 0.152, 1.0, 0.095, 0.059, 0.071),
    BodyRing(0.877, 0.171, -3.0, 0.082, 0.046, 0.063),
    BodyRing(0.872, 0.188, -4.0, 0.071, 0.038, 0.056),
    BodyRing(0.868, 0.202, -4.0, 0.058, 0.031, 0.046),
    BodyRing(0.868, 0.214, -4.0, 0.039, 0.022, 0.030),
)

TAIL_ROWS: Final = 6
"""The rows of quads that belong to the tail's texture island."""
HEAD_FIRST_RING: Final = 19
"""The ring where the neck ends and the head's texture island begins."""

ARM_STATIONS: Final[tuple[Point, ...]] = (
    (0.104, 0.668, 0.000),
    (0.182, 0.564, -0.014),
    (0.250, 0.467, 0.014),
    (0.283, 0.416, 0.030),
)
"""Shoulder, elbow, wrist and the middle of the knuckles."""

ARM: Final[tuple[LimbRing, ...]] = (
    LimbRing(0.24, 0.051, 0.046, 0.046),
    LimbRing(0.46, 0.041, 0.041, 0.042),
    LimbRing(0.72, 0.036, 0.037, 0.038),
    LimbRing(0.91, 0.033, 0.035, 0.035),
    LimbRing(1.02, 0.0325, 0.035, 0.035),
    LimbRing(1.12, 0.033, 0.035, 0.035),
    LimbRing(1.28, 0.034, 0.0345, 0.0345),
    LimbRing(1.58, 0.032, 0.03, 0.031),
    LimbRing(1.89, 0.030, 0.0235, 0.023),
    LimbRing(2.02, 0.030, 0.022, 0.021, 0.2),
    LimbRing(2.20, 0.033, 0.0215, 0.020, 0.5),
    LimbRing(2.50, 0.039, 0.020, 0.019, 0.8),
    LimbRing(2.80, 0.042, 0.017, 0.016, 1.0),
    LimbRing(3.00, 0.0425, 0.0145, 0.013, 1.0),
)
PRONATION_DEGREES: Final = 48.0
"""How far the relaxed forearm turns the back of the paw to the front between elbow and wrist."""

LEG_STATIONS: Final[tuple[Point, ...]] = (
    (0.084, 0.288, -0.004),
    (0.112, 0.166, 0.036),
    (0.116, 0.050, -0.004),
    (0.128, 0.024, 0.092),
)
"""Hip, knee, ankle and the middle of the toes' roots."""

LEG: Final[tuple[LimbRing, ...]] = (
    LimbRing(0.46, 0.064, 0.073, 0.066),
    LimbRing(0.68, 0.060, 0.066, 0.061),
    LimbRing(0.85, 0.051, 0.056, 0.054),
    LimbRing(1.00, 0.0455, 0.051, 0.049),
    LimbRing(1.15, 0.0435, 0.047, 0.047),
    LimbRing(1.42, 0.042, 0.041, 0.044),
    LimbRing(1.76, 0.036, 0.034, 0.036),
    LimbRing(2.02, 0.036, 0.024, 0.046, 0.1, 4.0),
    LimbRing(2.30, 0.041, 0.029, 0.032, 0.3),
    LimbRing(2.62, 0.050, 0.022, 0.023, 0.7),
    LimbRing(3.00, 0.057, 0.015, 0.017, 1.0),
)


@dataclass(frozen=True)
class Digit:
    """A finger or toe: the lengths of its three segments, its half thickness and how far it spreads."""

    name: str
    segments: Point
    half_width: float
    half_height: float
    spread_degrees: float


# In the order of the paw ring's quads, from the little finger to the index.
FINGERS: Final[tuple[Digit, ...]] = (
    Digit("little", (0.021, 0.016, 0.014), 0.0083, 0.0080, 15.0),
    Digit("ring", (0.025, 0.019, 0.016), 0.0088, 0.0085, 5.0),
    Digit("middle", (0.026, 0.020, 0.016), 0.0089, 0.0086, -4.0),
    Digit("index", (0.024, 0.018, 0.015), 0.0087, 0.0084, -13.0),
)
FINGER_RINGS: Final[tuple[float, ...]] = (0.45, 0.82, 1.18, 1.80, 2.20, 2.82)
"""Ring positions, counted in segments: 1 is the second joint, 2 the third."""
FINGER_CURL_DEGREES: Final = 8.0
"""The relaxed bend added at the root and at each of the two joints of a finger."""

# Outer to inner toe.
TOES: Final[tuple[Digit, ...]] = (
    Digit("toe_1", (0.016, 0.014, 0.012), 0.0125, 0.0105, 14.0),
    Digit("toe_2", (0.020, 0.016, 0.012), 0.0130, 0.0110, 5.0),
    Digit("toe_3", (0.020, 0.016, 0.012), 0.0130, 0.0110, -4.0),
    Digit("toe_4", (0.016, 0.014, 0.012), 0.0125, 0.0105, -13.0),
)
TOE_RINGS: Final[tuple[float, ...]] = (0.7, 1.9, 2.8)

ARM_PATCH: Final = (14, 17, 3, 5)
"""First and last ring, first and last column of the trunk's quads that open into the arm."""
LEG_PATCH: Final = (8, 10, 3, 6)
EAR_PATCH: Final = (21, 23, 2, 4)
EYE_PATCH: Final = (24, 26, 1, 3)

EAR_AXIS: Final[Point] = (0.80, 0.60, -0.10)
EAR_FRONT: Final[Point] = (0.25, -0.10, 0.96)

EAR_ROOT: Final[Point] = (0.105, 0.921, 0.060)
BROW_PAD: Final[Point] = (0.056, 0.953, 0.134)
WHISKER_PAD: Final[Point] = (0.042, 0.860, 0.213)
MOUTH_LINE: Final = ((0.10, 0.145, 0.165, 0.192, 0.21), (0.868, 0.860, 0.850, 0.838, 0.837))
"""The height of the corner and edge of the mouth: z values, and the y of each."""

EYE_RADIUS: Final = 0.0130

# Radius and rise in eye radii, and the share of the way from the middle in the texture.
EYE_RINGS: Final = ((1.45, 0.24, 0.70), (1.02, 0.02, 0.50), (0.74, 0.66, 0.32))
EYE_BULGE: Final = 0.95
# Height, half width and half depth.
EAR_RINGS: Final = (
    (0.002, 0.022, 0.013),
    (0.012, 0.024, 0.010),
    (0.021, 0.020, 0.008),
    (0.026, 0.012, 0.005),
)


@dataclass(frozen=True)
class Ridge:
    """A soft rise (or groove, if negative) of the finished surface along a line of places, on both sides."""

    line: tuple[Point, ...]
    radius: float
    height: float
    stretch: Point = (1.0, 1.0, 1.0)


RIDGES: Final[tuple[Ridge, ...]] = (
    # Whisker pads, brows, cheeks and the nose.
    Ridge(((0.030, 0.858, 0.205), (0.044, 0.858, 0.185)), 0.034, 0.0085),
    Ridge(((0.020, 0.942, 0.143), (0.050, 0.944, 0.130)), 0.024, 0.0030),
    Ridge(((0.078, 0.870, 0.120),), 0.050, 0.0060),
    Ridge(((0.0, 0.884, 0.212),), 0.020, 0.0070, (1.35, 0.85, 1.0)),
    # Nostrils, the cleft under the nose, and the mouth.
    Ridge(((0.010, 0.881, 0.221),), 0.0075, -0.0030),
    Ridge(((0.0, 0.868, 0.216), (0.0, 0.846, 0.214)), 0.0095, -0.0050),
    Ridge(
        (
            (0.0, 0.842, 0.214),
            (0.022, 0.835, 0.210),
            (0.044, 0.838, 0.192),
            (0.060, 0.850, 0.165),
            (0.072, 0.860, 0.145),
        ),
        0.0105,
        -0.0038,
    ),
)

RELAXED: Final[tuple[tuple[Point, float], ...]] = (
    ((0.085, 0.228, -0.058), 0.088),
    ((0.072, 0.218, -0.025), 0.065),
    ((0.064, 0.190, 0.025), 0.055),
    ((0.080, 0.255, 0.050), 0.060),
    ((0.108, 0.165, -0.014), 0.040),
    ((0.118, 0.066, 0.030), 0.055),
    ((0.110, 0.612, -0.030), 0.060),
)
"""Centres and radii of the places where the surface is smoothed: round the leg's root, at knee and ankle,
and under the arm.
"""
RELAXING_STEPS: Final = 24

BIB_DEPTH: Final = ((0.20, 0.40, 0.60, 0.76, 0.82, 0.86), (0.075, 0.070, 0.055, 0.045, 0.07, 0.12))
"""Where the pale front begins: heights, and the z of each."""
BIB_WIDTH: Final = ((0.20, 0.30, 0.45, 0.60, 0.78), (0.05, 0.085, 0.085, 0.065, 0.080))
MUZZLE_PALE: Final = ((0.08, 0.12, 0.17, 0.20, 0.23), (0.845, 0.862, 0.874, 0.876, 0.878))
"""The upper edge of the pale muzzle and cheek: z values, and the y of each."""
NOSE: Final[Point] = (0.0, 0.886, 0.217)
NOSE_SIZE: Final[Point] = (0.022, 0.0125, 0.020)
EYE_CENTER: Final[Point] = (0.0722, 0.9346, 0.1570)
EYE_COLOR_RADIUS: Final = 0.0112

BROW_AREA: Final[Point] = (0.045, 0.958, 0.128)
BROW_AREA_SIZE: Final[Point] = (0.058, 0.036, 0.046)
MUZZLE_AREA: Final[Point] = (0.040, 0.878, 0.195)
MUZZLE_AREA_SIZE: Final[Point] = (0.054, 0.038, 0.054)
