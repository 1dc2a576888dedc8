"""Generated Python against straight-line Python written by hand: one pose, 200 drivers, same host, same result.

The competitor is what somebody who knows the trick of each reading would write for speed: joints read once, constants
worked out beforehand, straight lines clipped in place, curves as local helper functions, results in one dict.
Run it from the root of the repository: `python -m tests.bench.python_target`. The aim is a ratio of at most 1.3.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from random import Random
from time import perf_counter
from types import ModuleType
from typing import Any

from plica.kinds.readings import Bend, Offset, Rotation
from plica.rig.rig import Character, Rig, RigJoint
from plica.targets.python import module_text
from plica.values import Hermite, Linear
from tests.bench.goals import judge
from tests.targets.rigs import driver, joint, turn

SOFT = Hermite("smooth", ((0.0, 0.0, 0.0), (0.5, 0.35, 1.0), (1.0, 1.0, 0.0)))
STEEP = Hermite("monotone", ((0.0, 0.0, 0.2), (0.3, 0.1, 0.9), (0.7, 0.8, 0.9), (1.0, 1.0, 0.1)))
CURVES = (Linear(), SOFT, Linear(), STEEP)
AXES = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0), (0.6, 0.0, -0.8))
JOINTS = 50
ROUNDS, REPEATS = 40, 60


def make_rig() -> Rig:
    """50 joints, half of them with turned rest frames; each with 3 twists and a bend or an offset."""
    joints: list[RigJoint] = []
    drivers = []
    for place in range(JOINTS):
        rotation = turn((0.6, 0.0, 0.8), 20 + place) if place % 2 else (0.0, 0.0, 0.0, 1.0)
        joints.append(joint(f"joint_{place}", None, (0.1, 0.2 + place / 100, 0.3), rotation))
        name = joints[-1].name
        for part in range(3):
            reading = Rotation(name, AXES[(place + part) % 4])
            span = (0.0, 1.0 + part / 4) if part else (-0.1, 1.2)
            drivers.append(driver(f"twist_{place}_{part}", reading, span, CURVES[(place + part) % 4]))
        last = Bend(name) if place % 2 else Offset(name, (0.0, 1.0, 0.0))
        drivers.append(driver(f"last_{place}", last, (0.0, 0.5), CURVES[place % 4]))
    return Rig(Character("bench", "", None, 0.0), tuple(joints), strengths=tuple(drivers))


HELPERS = """
from math import atan2, sqrt

def soft(u):
    if u <= 0.0:
        return 0.0
    if u >= 1.0:
        return 1.0
    if u < 0.5:
        return u * u * (2.2 - 1.6 * u)
    u -= 0.5
    return 0.35 + u * (1.0 + u * (3.8 - 6.4 * u))

def steep(u):
    if u <= 0.0:
        return 0.0
    if u >= 1.0:
        return 1.0
    if u < 0.3:
        s = u * (0.2 + u * (STEEP_0 + u * STEEP_1))
    elif u < 0.7:
        u -= 0.3
        s = 0.1 + u * (0.9 + u * (STEEP_2 + u * STEEP_3))
    else:
        u -= 0.7
        s = 0.8 + u * (0.9 + u * (STEEP_4 + u * STEEP_5))
    return 0.0 if s < 0.0 else s if s < 1.0 else 1.0

"""


def by_hand(rig: Rig) -> ModuleType:
    """The competitor. Written by a loop only because nobody types 200 drivers; each line is as by hand."""
    text = HELPERS
    powers = []
    for (x0, y0, m0), (x1, y1, m1) in zip(STEEP.knots, STEEP.knots[1:], strict=False):
        width, secant = x1 - x0, (y1 - y0) / (x1 - x0)
        powers += [(3 * secant - 2 * m0 - m1) / width, (m0 + m1 - 2 * secant) / width**2]
    for place, power in enumerate(powers):
        text = text.replace(f"STEEP_{place}", f"({power!r})")
    lines = ["def strengths(host):", "    get = host.local_transform", "    s = {}"]
    rests = {entry.name: entry for entry in rig.skeleton}
    previous = None
    for entry in rig.strengths:
        assert entry.kind == "driver"
        assert not hasattr(entry.reading, "control")
        name = entry.reading.joint
        if name != previous:
            previous = name
            lines.append(f"    (tx, ty, tz), (x, y, z, w) = get({name!r})")
            a, _, c, d = rests[name].neutral.rotation
            if d != 1.0:
                # The rest frame is turned about an axis in the x z plane: b is 0.
                lines.append(
                    f"    x, y, z, w = {d!r} * x - {a!r} * w + {c!r} * y, {d!r} * y + {a!r} * z - {c!r} * x, "
                    f"{d!r} * z - {c!r} * w - {a!r} * y, {d!r} * w + {a!r} * x + {c!r} * z"
                )
        lines.append(f"    s[{entry.name!r}] = {_strength_by_hand(entry, rests[name])}")
    lines.append("    return s")
    module = ModuleType("by_hand")
    exec(compile(text + "\n".join(lines), "by_hand", "exec"), module.__dict__)
    return module


def _strength_by_hand(entry: Any, rest: RigJoint) -> str:
    start, end = entry.span
    reading, scale, shift = entry.reading, 1.0 / (end - start), -start / (end - start)
    if isinstance(reading, Rotation):
        part = {AXES[0]: "x", AXES[1]: "y", AXES[2]: "z"}.get(reading.axis, "(0.6 * x - 0.8 * z)")
        value = f"atan2({part}, w) * {2 * scale!r}"
        if entry.span[0]:
            value += f" + {shift!r}"
        # The other half of the turns: the signs of both are flipped.
        value = f"({value} if w >= 0.0 else {value.replace(f'atan2({part}, w)', f'atan2(-{part}, -w)')})"
    elif isinstance(reading, Bend):
        value = f"atan2(sqrt(x * x + y * y + z * z), abs(w)) * {2 * scale!r}"
    else:
        value = f"(ty - {rest.neutral.translation[1]!r}) * {scale!r}"
    if isinstance(entry.curve, Linear):
        return f"0.0 if (u := {value}) < 0.0 else u if u < 1.0 else 1.0"
    return f"{'soft' if entry.curve == SOFT else 'steep'}({value})"


class Host:
    """A pose held in a dict."""

    def __init__(self, pose: dict[str, tuple[Any, Any]]) -> None:
        self.pose = pose

    def local_transform(self, name: str) -> tuple[Any, Any]:
        return self.pose[name]

    def control(self, name: str) -> float:
        raise KeyError(name)


def make_hosts(rig: Rig) -> list[Host]:
    random = Random(5)
    hosts = []
    for _ in range(8):
        pose = {}
        for entry in rig.skeleton:
            q = [part + random.gauss(0, 0.4) for part in entry.neutral.rotation]
            size = sum(part * part for part in q) ** 0.5
            t = tuple(part + random.gauss(0, 0.2) for part in entry.neutral.translation)
            pose[entry.name] = (t, tuple(part / size for part in q))
        hosts.append(Host(pose))
    return hosts


def best_time(function: Callable[[Host], object], hosts: list[Host]) -> float:
    """The fastest of several rounds, in seconds for one pose."""
    started = perf_counter()
    for _ in range(REPEATS):
        for host in hosts:
            function(host)
    return (perf_counter() - started) / REPEATS / len(hosts)


def main() -> None:
    """Checks that both give the same, then prints times and their ratio."""
    rig = make_rig()
    generated = ModuleType("generated")
    exec(compile(module_text(rig), "generated", "exec"), generated.__dict__)
    competitor = by_hand(rig)
    hosts = make_hosts(rig)
    for host in hosts:
        ours, theirs = generated.strengths(host), competitor.strengths(host)
        assert list(ours) == list(theirs)
        assert max(abs(ours[name] - theirs[name]) for name in ours) < 1e-9
    both = [(best_time(generated.strengths, hosts), best_time(competitor.strengths, hosts)) for _ in range(ROUNDS)]
    ours, theirs = min(time for time, _ in both), min(time for _, time in both)
    print(f"{len(rig.strengths)} drivers, one pose, Python {sys.version.split()[0]}")
    print(f"generated        {ours * 1e6:7.1f} microseconds")
    print(f"written by hand  {theirs * 1e6:7.1f} microseconds")
    judge("generated Python, 200 drivers, a pose", ours / theirs, 1.3, reference="Python written by hand")


if __name__ == "__main__":
    main()
