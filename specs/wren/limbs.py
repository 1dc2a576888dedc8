"""The centre lines of Wren's left arm, leg and digits, which the cage and the skeleton both follow."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from plica.picture.directions import Floats, across, unit
from plica.specs.wren import otter
from plica.specs.wren.vectors import rotation_about


@dataclass(frozen=True)
class CrossSection:
    """An upright cross-section: its centre, where the limb goes (`axis`), and its upper side (`dorsal`);
    (3,) each.
    """

    center: Floats
    axis: Floats
    dorsal: Floats

    @property
    def width(self) -> Floats:
        """The third direction, so that width, dorsal and axis are right-handed."""
        return np.cross(self.dorsal, self.axis)


def along(stations: tuple[otter.Point, ...], at: float) -> Floats:
    """The point at station number `at` on a polyline, between stations by proportion; shape (3,)."""
    points = np.asarray(stations, dtype=np.float64)
    first = min(int(at), len(points) - 2)
    place: Floats = points[first] + (at - first) * (points[first + 1] - points[first])
    return place


def _frames(stations: tuple[otter.Point, ...], rings: tuple[otter.LimbRing, ...]) -> list[tuple[Floats, Floats]]:
    centers = [along(stations, ring.at) for ring in rings]
    before = [np.asarray(stations[0]), *centers[:-1]]
    after = [*centers[1:], 2.0 * centers[-1] - centers[-2]]
    return [
        (center, unit(unit(center - previous) + unit(following - center)))
        for center, previous, following in zip(centers, before, after, strict=True)
    ]


@lru_cache(maxsize=1)
def arm_frames() -> tuple[CrossSection, ...]:
    """A cross-section for each ring of `otter.ARM`; the back of the paw is the dorsal side."""
    frames = []
    for ring, (center, axis) in zip(otter.ARM, _frames(otter.ARM_STATIONS, otter.ARM), strict=True):
        share = min(max(ring.at - 1.0, 0.0), 1.0)
        outward = across((1.0, 0.6, 0.0), axis)
        turned = rotation_about(axis, otter.PRONATION_DEGREES * share) @ outward
        frames.append(CrossSection(center, axis, turned))
    return tuple(frames)


@lru_cache(maxsize=1)
def leg_frames() -> tuple[CrossSection, ...]:
    """A cross-section for each ring of `otter.LEG`; the shin and the top of the foot are the dorsal side."""
    frames = []
    for ring, (center, axis) in zip(otter.LEG, _frames(otter.LEG_STATIONS, otter.LEG), strict=True):
        dorsal = across((0.0, 0.5, 1.0) if ring.at < 2.0 else (0.0, 1.0, 0.5), axis)
        tip = rotation_about(np.cross(dorsal, axis), ring.lean_degrees)
        frames.append(CrossSection(center, tip @ axis, tip @ dorsal))
    return tuple(frames)


@dataclass(frozen=True)
class DigitPath:
    """A digit's root, its three joints' ends (4, 3) and the frame of each segment."""

    name: str
    points: Floats
    frames: tuple[CrossSection, ...]

    def frame_at(self, at: float) -> CrossSection:
        """The cross-section `at` segments from the root; on a joint it halves the angle."""
        segment = min(int(at), 2)
        start, stop = self.points[segment], self.points[segment + 1]
        center = start + (at - segment) * (stop - start)
        nearest = round(at)
        if 0 < nearest < 3 and abs(at - nearest) < 0.3:
            share = 0.5 + (at - nearest) / 0.6
            low, high = self.frames[nearest - 1], self.frames[nearest]
            axis = unit((1.0 - share) * low.axis + share * high.axis)
            return CrossSection(center, axis, across(low.dorsal, axis))
        return CrossSection(center, self.frames[segment].axis, self.frames[segment].dorsal)


def _digit(digit: otter.Digit, root: Floats, base: CrossSection, curl: float) -> DigitPath:
    spread = rotation_about(base.dorsal, digit.spread_degrees)
    axis, dorsal = spread @ base.axis, base.dorsal
    width = np.cross(dorsal, axis)
    points, frames = [root], []
    for length in digit.segments:
        # Width, dorsal and axis are right-handed, so a positive turn about the width curls away from the
        # dorsal side.
        turn = rotation_about(width, curl)
        axis, dorsal = turn @ axis, turn @ dorsal
        frames.append(CrossSection(points[-1], axis, dorsal))
        points.append(points[-1] + length * axis)
    return DigitPath(digit.name, np.array(points), tuple(frames))


def _roots(base: CrossSection, half_width: float) -> list[Floats]:
    # Four digits share the paw's width; their roots are the middles of its four quads.
    return [base.center + share * half_width * base.width for share in (0.75, 0.25, -0.25, -0.75)]


@lru_cache(maxsize=1)
def fingers() -> tuple[DigitPath, ...]:
    """The left fingers from little to index."""
    base = arm_frames()[-1]
    roots = _roots(base, otter.ARM[-1].half_width)
    return tuple(
        _digit(digit, root, base, otter.FINGER_CURL_DEGREES) for digit, root in zip(otter.FINGERS, roots, strict=True)
    )


@lru_cache(maxsize=1)
def toes() -> tuple[DigitPath, ...]:
    """The left toes from the outer to the inner one."""
    base = leg_frames()[-1]
    level = CrossSection(base.center, across((0.10, 0.0, 1.0), base.dorsal), base.dorsal)
    roots = _roots(base, otter.LEG[-1].half_width)
    return tuple(_digit(digit, root, level, 0.0) for digit, root in zip(otter.TOES, roots, strict=True))
