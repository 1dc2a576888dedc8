"""How long the evaluator takes, against the same formulas written straight in numpy, one driver after
another.

Run `python -m tests.bench.evaluate` from the repository. Prints milliseconds and the ratio; below 1 the
evaluator is faster. The reference is what one would write for one driver at a time, on columns of the pose
arrays; it shares the solver of Bezier curves with the evaluator and nothing else.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np

from plica.evaluate import Evaluator, Poses, rest_poses
from plica.evaluate.easing import Easing
from plica.evaluate.pose_components import skeleton_of
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
    controls_of,
)
from plica.rig.rig import Rig
from plica.rig.strengths import Driver
from plica.skeleton.algebra import matrix_of
from plica.values import Bezier, Curve, Hermite
from tests.support.rigs import random_rig

FRAMES = 10_000
ROUNDS = 7


class Straight:
    """The formulas, driver by driver."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.skeleton = skeleton_of(rig)
        self.index = self.skeleton.index
        self.drivers = [driver for driver in rig.strengths if isinstance(driver, Driver)]
        self.controls = {control.name: row for row, control in enumerate(rig.controls)}
        self.easings = {
            driver.curve: Easing(driver.curve.controls) for driver in self.drivers if isinstance(driver.curve, Bezier)
        }

    def strengths(self, poses: Poses) -> Array:
        """(frames, drivers)."""
        out = np.empty((poses.frames, len(self.drivers)))
        for column, driver in enumerate(self.drivers):
            u = (self.reading(driver.reading, poses) - driver.span[0]) / (driver.span[1] - driver.span[0])
            if driver.clamped:
                out[:, column] = np.clip(self.curve(driver.curve, np.clip(u, 0, 1)), 0, 1)
            else:
                out[:, column] = self.open(driver.curve, u)
        return out

    def turn(self, joint: str, poses: Poses) -> tuple[Array, Array, Array, Array]:
        """x, y, z, w of the turn since rest."""
        at = self.index[joint]
        rx, ry, rz, rw = self.skeleton.joints[at].rotation
        qx, qy, qz, qw = poses.rotations[:, at].T
        return (
            rw * qx - rx * qw + rz * qy - ry * qz,
            rw * qy - ry * qw + rx * qz - rz * qx,
            rw * qz - rz * qw + ry * qx - rx * qy,
            rw * qw + rx * qx + ry * qy + rz * qz,
        )

    def reading(self, reading: Reading, poses: Poses) -> Array:
        """One reading in all frames."""
        return np.asarray(self._reading(reading, poses))

    def _reading(self, reading: Reading, poses: Poses) -> Any:
        if isinstance(reading, ControlValue | MorphWeight):
            column = self.controls[controls_of(reading)[0]]
            return poses.controls[:, column] - self.rig.controls[column].rest
        if isinstance(reading, Gap):
            return self.gap(reading, poses)
        if isinstance(reading, Offset):
            at = self.index[reading.joint]
            return (poses.translations[:, at] - self.skeleton.joints[at].translation) @ np.array(reading.weights)
        if isinstance(reading, Scale):
            at = self.index[reading.joint]
            rest = np.array(self.skeleton.joints[at].scale)
            scales = np.tile(rest, (poses.frames, 1)) if poses.scales is None else poses.scales[:, at]
            return (scales / rest - 1.0) @ np.square(reading.axis)
        x, y, z, w = self.turn(reading.joint, poses)
        if isinstance(reading, Rotation):
            axis = reading.axis
            s = axis[0] * x + axis[1] * y + axis[2] * z
            return 2 * np.arctan2(np.where(w < 0, -s, s), np.abs(w))
        if isinstance(reading, Bend):
            return 2 * np.arctan2(np.sqrt(x * x + y * y + z * z), np.abs(w))
        v = np.stack([x, y, z], axis=1)
        if isinstance(reading, Swing):
            a, t = np.array(reading.along), np.array(reading.toward)
            va, vt, vb = v @ a, v @ t, v @ np.cross(a, t)
            k, h = np.sqrt(vt * vt + vb * vb), np.sqrt(va * va + w * w)
            size = np.where(h * k == 0, 1, h * k)
            return 2 * np.arctan2(k, h) * (va * vt + w * vb) / size
        assert isinstance(reading, Euler)
        return self.euler(reading, v, w)

    def euler(self, reading: Euler, v: Array, w: Array) -> Array:
        """One Euler angle."""
        x, y, z = (v @ np.array(matrix_of(reading.frame)).T).T
        p, q, r = ({"x": x, "y": y, "z": z}[axis] for axis in reading.order)
        e = 1 if reading.order in ("xyz", "yzx", "zxy") else -1
        q = e * q
        rise, run = 2 * (w * r + p * q), w * w + p * p - q * q - r * r
        size = np.sqrt(rise * rise + run * run)
        locked = size <= 1e-7 * (w * w + p * p + q * q + r * r)
        place = reading.order.index(reading.channel)
        if place == 1:
            return np.asarray(e * np.arctan2(2 * (w * q - p * r), size))
        if place == 2:
            return np.asarray(np.where(locked, 0, np.arctan2(rise, run)))
        first = np.arctan2(2 * (w * p + q * r), w * w + r * r - p * p - q * q)
        return np.asarray(np.where(locked, np.arctan2(2 * (w * p - q * r), w * w + q * q - p * p - r * r), first))

    def gap(self, reading: Gap, poses: Poses) -> Array:
        """One distance since rest."""
        paths = [[at, *self.skeleton.ancestors(at)] for at in (self.index[reading.joint], self.index[reading.other])]
        shared = next(at for at in paths[0] if at in paths[1])
        lengths = []
        rest = rest_poses(self.rig)
        for rotations, translations in ((poses.rotations, poses.translations), (rest.rotations, rest.translations)):
            ends = []
            for path in paths:
                point: Array = np.zeros((len(rotations), 3))
                for depth, at in enumerate(path[: path.index(shared)]):
                    if depth:
                        u, scalar = rotations[:, at, :3], rotations[:, at, 3:]
                        cross = np.cross(u, point)
                        size = (rotations[:, at] ** 2).sum(axis=1, keepdims=True)
                        point = point + 2 * (scalar * cross + np.cross(u, cross)) / size
                    point = point + translations[:, at]
                ends.append(point)
            lengths.append(np.sqrt(((ends[0] - ends[1]) ** 2).sum(axis=1)))
        return np.asarray(lengths[0] - lengths[1])

    def curve(self, curve: Curve, u: Array) -> Array:
        """The curve inside 0..1."""
        return np.asarray(self._curve(curve, u))

    def _curve(self, curve: Curve, u: Array) -> Any:
        if isinstance(curve, Bezier):
            return self.easings[curve](u)
        if isinstance(curve, Hermite):
            x, y, slope = np.array(curve.knots).T
            at = np.clip(np.searchsorted(x, u, side="right") - 1, 0, len(x) - 2)
            h = np.diff(x)[at]
            t = (u - x[at]) / h
            r = 1 - t
            return r * r * ((1 + 2 * t) * y[at] + t * h * slope[at]) + t * t * (
                (1 + 2 * r) * y[at + 1] - r * h * slope[at + 1]
            )
        if curve.kind == "points":
            x, y = np.array(curve.points).T
            return np.interp(u, x, y)
        return u

    def open(self, curve: Curve, u: Array) -> Array:
        """The curve with its tangents beyond both ends."""
        if isinstance(curve, Bezier):
            before, after = self.easings[curve].end_slopes
        elif isinstance(curve, Hermite):
            before, after = curve.knots[0][2], curve.knots[-1][2]
        elif curve.kind == "points":
            (a, b), (c, d) = curve.points[:2]
            (e, f), (g, h) = curve.points[-2:]
            before, after = (d - b) / (c - a), (h - f) / (g - e)
        else:
            return u
        inside = self.curve(curve, np.clip(u, 0, 1))
        return np.asarray(inside + np.minimum(u, 0) * before + np.maximum(u - 1, 0) * after)


def random_poses(rig: Rig, frames: int, seed: int = 7) -> Poses:
    """Smooth motion: every number swings about its rest value."""
    random = np.random.default_rng(seed)
    rest = rest_poses(rig)
    time_axis = np.linspace(0.0, 60.0, frames)

    def waves(shape: tuple[int, ...], size: float) -> Array:
        speed, phase = random.uniform(0.5, 3.0, shape), random.uniform(0.0, 6.0, shape)
        return np.asarray(size * np.sin(time_axis.reshape(-1, *[1] * len(shape)) * speed + phase))

    return Poses(
        rest.joints,
        rest.rotations + waves(rest.rotations.shape[1:], 0.4),
        rest.translations + waves(rest.translations.shape[1:], 0.02),
        rest.control_names,
        np.clip(waves(rest.controls.shape[1:], 1.0), -1, 1),
    )


def best(work: Callable[[], object]) -> float:
    """Milliseconds of the fastest of several rounds."""
    times = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times) * 1000


def compare(what: str, rig: Rig) -> None:
    """Measures both on the same poses and prints."""
    poses = random_poses(rig, FRAMES)
    evaluator, straight = Evaluator(rig), Straight(rig)
    error = np.abs(evaluator.strengths(poses) - straight.strengths(poses)).max()
    ours, theirs = best(lambda: evaluator.strengths(poses)), best(lambda: straight.strengths(poses))
    print(
        f"{what}: {len(rig.strengths)} drivers x {FRAMES} frames, {len(rig.skeleton)} joints: evaluator {ours:.0f} ms, "
        f"straight numpy {theirs:.0f} ms, ratio {ours / theirs:.2f} (largest difference {error:.1e})"
    )


def main() -> None:
    """All kinds of reading; then without gaps, whose kinematics the straight form repeats for every driver."""
    rig = random_rig(1, middle=4, pairs=28, drivers=500, fields=0, combines=0)
    compare("all readings", rig)
    drivers = random_rig(1, middle=4, pairs=28, drivers=584, fields=0, combines=0).strengths
    kept = [driver for driver in drivers if isinstance(driver, Driver) and not isinstance(driver.reading, Gap)]
    compare("without gaps", rig._replace(strengths=tuple(kept[:500])))


if __name__ == "__main__":
    main()
