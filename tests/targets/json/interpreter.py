"""An interpreter of rig.json, written from targets/json/README.md alone; it shares no code with Plica."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

Numbers = Sequence[float]


def strengths(rig: Mapping[str, Any], pose: Mapping[str, Any]) -> dict[str, float]:
    """All strengths of a rig in a pose as it stands in vectors.json."""
    if rig["format"] != "plica-rig" or rig["version"] != 2:
        raise ValueError("not a rig of version 2")
    scene = Scene(rig, pose)
    result: dict[str, float] = {}
    for entry in rig["strengths"]:
        if entry["kind"] == "driver":
            value = driven(entry, scene)
        elif entry["kind"] == "combine":
            value = combined(entry["combination"], result)
        elif entry["kind"] == "sample":
            field = next(field for field in rig["fields"] if field["name"] == entry["field"])
            place = [sample["name"] for sample in field["samples"]].index(entry["sample"])
            value = field_value(field, place, scene)
        else:
            raise ValueError(entry["kind"])
        result[entry["name"]] = value
    return result


# ---- arithmetic ---------------------------------------------------------------------------------------


def product(a: Numbers, b: Numbers) -> list[float]:
    ax, ay, az, aw = a
    bx, by, bz, bw = b
    return [
        aw * bx + ax * bw + ay * bz - az * by,
        aw * by - ax * bz + ay * bw + az * bx,
        aw * bz + ax * by - ay * bx + az * bw,
        aw * bw - ax * bx - ay * by - az * bz,
    ]


def conj(q: Numbers) -> list[float]:
    return [-q[0], -q[1], -q[2], q[3]]


def dot(a: Numbers, b: Numbers) -> float:
    return sum(p * q for p, q in zip(a, b, strict=True))


def cross(a: Numbers, b: Numbers) -> list[float]:
    return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]


def norm(a: Numbers) -> float:
    return math.sqrt(dot(a, a))


def turned(p: Numbers, q: Numbers) -> list[float]:
    v, w = q[:3], q[3]
    once = cross(v, p)
    twice = cross(v, once)
    return [p[i] + 2 * (w * once[i] + twice[i]) for i in range(3)]


def clip(x: float) -> float:
    return min(max(x, 0.0), 1.0)


# ---- poses --------------------------------------------------------------------------------------------


class Scene:
    """The rig's joints and controls, at rest and in one pose."""

    def __init__(self, rig: Mapping[str, Any], pose: Mapping[str, Any]) -> None:
        self.joints = {joint["name"]: joint for joint in rig["skeleton"]}
        self.morphs = {control["name"]: control["morph"] for control in rig["controls"]}
        self.rest_controls = {control["name"]: control["rest"] for control in rig["controls"]}
        self.controls = {**self.rest_controls, **pose["controls"]}
        self.pose = pose["joints"]

    def rotation(self, name: str) -> Numbers:
        rest: Numbers = self.joints[name]["neutral"]["rotation"]
        given = self.pose.get(name, {}).get("rotation", rest)
        size = norm(given)
        return [part / size for part in given] if size else rest

    def translation(self, name: str) -> Numbers:
        result: Numbers = self.pose.get(name, {}).get("translation", self.joints[name]["neutral"]["translation"])
        return result

    def scale(self, name: str) -> Numbers:
        result: Numbers = self.pose.get(name, {}).get("scale", self.joints[name]["neutral"]["scale"])
        return result

    def delta(self, name: str, relative_to: str | None) -> list[float]:
        if relative_to is None:
            return product(conj(self.joints[name]["neutral"]["rotation"]), self.rotation(name))
        joint, other = chains_of(self, name, relative_to)[0]
        *v, w = product(conj(seen(self.at_rest(), joint, other)), seen(self, joint, other))
        flip = flips(self, joint)[0] if joint else flip_of(signs(self, name))
        return [*(a * b for a, b in zip(flip, v, strict=True)), w]

    def at_rest(self) -> Scene:
        rest = object.__new__(Scene)
        rest.joints, rest.rest_controls = self.joints, self.rest_controls
        rest.controls, rest.pose = self.rest_controls, {}
        return rest


# ---- readings -----------------------------------------------------------------------------------------


def read(reading: Mapping[str, Any], scene: Scene) -> float:
    kind = reading["kind"]
    if kind == "control":
        name = reading["control"]
        return float(scene.controls[name] - scene.rest_controls[name])
    if kind == "weight":
        name = next(name for name, morph in scene.morphs.items() if morph == reading["morph"])
        return float(scene.controls[name] - scene.rest_controls[name])
    if kind == "gap":
        return distance(reading, scene) - distance(reading, scene.at_rest())
    if kind == "offset":
        rest = scene.joints[reading["joint"]]["neutral"]["translation"]
        if reading["relative_to"] is not None:
            return dot(place(reading, scene), reading["weights"]) - dot(
                place(reading, scene.at_rest()), reading["weights"]
            )
        moved = [a - b for a, b in zip(scene.translation(reading["joint"]), rest, strict=True)]
        return dot(moved, reading["weights"])
    if kind == "scale":
        rest = scene.joints[reading["joint"]]["neutral"]["scale"]
        longer = [a / b - 1 for a, b in zip(scene.scale(reading["joint"]), rest, strict=True)]
        return sum(part * part * share for part, share in zip(reading["axis"], longer, strict=True))
    *d, w = scene.delta(reading["joint"], reading["relative_to"])
    readers: dict[str, Callable[[Mapping[str, Any], list[float], float], float]] = {
        "rotation": read_rotation,
        "bend": lambda _, d, w: 2 * math.atan2(norm(d), abs(w)),
        "swing": read_swing,
        "euler": read_euler,
    }
    return readers[kind](reading, d, w)


def read_rotation(reading: Mapping[str, Any], d: list[float], w: float) -> float:
    s = dot(d, reading["axis"])
    if w < 0 or (w == 0 and s < 0):
        s, w = -s, -w
    return 2 * math.atan2(s, w) if s or w else 0.0


def read_swing(reading: Mapping[str, Any], d: list[float], w: float) -> float:
    along, toward = reading["along"], reading["toward"]
    n = cross(along, toward)
    k = math.hypot(dot(d, toward), dot(d, n))
    h = math.hypot(dot(d, along), w)
    if h * k == 0:
        return 0.0
    return 2 * math.atan2(k, h) * (dot(d, along) * dot(d, toward) + w * dot(d, n)) / (h * k)


def read_euler(reading: Mapping[str, Any], d: list[float], w: float) -> float:
    q = product(product(reading["frame"], [*d, w]), conj(reading["frame"]))
    columns = [turned(axis, q) for axis in ([1, 0, 0], [0, 1, 0], [0, 0, 1])]

    def entry(row: int, column: int) -> float:
        return columns[column][row]

    i, j, k = ("xyz".index(letter) for letter in reading["order"])
    e = 1 if reading["order"] in ("xyz", "yzx", "zxy") else -1
    cosine = math.hypot(entry(i, i), entry(j, i))
    place = reading["order"].index(reading["channel"])
    if place == 1:
        return math.atan2(-e * entry(k, i), cosine)
    if cosine <= 1e-7:
        return 0.0 if place == 2 else math.atan2(-e * entry(j, k), entry(j, j))
    if place == 0:
        return math.atan2(e * entry(k, j), entry(k, k))
    return math.atan2(e * entry(j, i), entry(i, i))


def distance(reading: Mapping[str, Any], scene: Scene) -> float:
    return norm(apart(scene, reading["joint"], reading["other"]))


def chains_of(scene: Scene, name: str, other: str) -> tuple[list[list[str]], str | None]:
    chains = [ancestry(scene, end) for end in (name, other)]
    common = next((each for each in chains[0] if each in chains[1]), None)
    return [chain[: chain.index(common)] if common in chain else chain for chain in chains], common


def apart(scene: Scene, name: str, other: str) -> list[float]:
    below, common = chains_of(scene, name, other)
    first, second = (origin(scene, chain) for chain in below)
    scale = column_lengths(scene, common)
    return [scale[i] * (first[i] - second[i]) for i in range(3)]


def place(reading: Mapping[str, Any], scene: Scene) -> list[float]:
    name, other = reading["joint"], reading["relative_to"]
    return turned(apart(scene, name, other), conj(chain_rotation(scene, chains_of(scene, name, other)[0][1])))


def signs(scene: Scene, name: str) -> list[float]:
    return [math.copysign(1.0, part) for part in scene.joints[name]["neutral"]["scale"]]


def flip_of(s: Numbers) -> list[float]:
    return [s[1] * s[2], s[0] * s[2], s[0] * s[1]]


def flips(scene: Scene, chain: list[str]) -> list[list[float]]:
    result, s = [], [1.0, 1.0, 1.0]
    for name in reversed(chain):
        result.append(flip_of(s))
        s = [a * b for a, b in zip(s, signs(scene, name), strict=True)]
    return result[::-1]


def chain_rotation(scene: Scene, chain: list[str]) -> list[float]:
    result = [0.0, 0.0, 0.0, 1.0]
    for name, flip in reversed(list(zip(chain, flips(scene, chain), strict=True))):
        x, y, z, w = scene.rotation(name)
        result = product(result, [flip[0] * x, flip[1] * y, flip[2] * z, w])
    return result


def seen(scene: Scene, joint: list[str], other: list[str]) -> list[float]:
    return product(conj(chain_rotation(scene, other)), chain_rotation(scene, joint))


def ancestry(scene: Scene, name: str) -> list[str]:
    result = [name]
    while (parent := scene.joints[result[-1]]["parent"]) is not None:
        result.append(parent)
    return result


def origin(scene: Scene, chain: list[str]) -> Numbers:
    if not chain:
        return [0.0, 0.0, 0.0]
    point = scene.translation(chain[0])
    for name in chain[1:]:
        scaled = [a * b for a, b in zip(point, scene.scale(name), strict=True)]
        point = [a + b for a, b in zip(scene.translation(name), turned(scaled, scene.rotation(name)), strict=True)]
    return point


def column_lengths(scene: Scene, name: str | None) -> list[float]:
    if name is None:
        return [1.0, 1.0, 1.0]
    lengths = []
    for axis in ([1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]):
        column: Numbers = axis
        for each in ancestry(scene, name):
            joint = scene.joints[each]
            column = turned(
                [a * b for a, b in zip(column, joint["neutral"]["scale"], strict=True)], joint["neutral"]["rotation"]
            )
        lengths.append(norm(column))
    return lengths


# ---- drivers and curves -------------------------------------------------------------------------------


def driven(driver: Mapping[str, Any], scene: Scene) -> float:
    a, b = driver["span"]
    u = (read(driver["reading"], scene) - a) / (b - a)
    if driver["clamped"]:
        return clip(curve(driver["curve"], clip(u)))
    return curve(driver["curve"], u)


def curve(entry: Mapping[str, Any], u: float) -> float:
    if entry["kind"] == "linear":
        return u
    if entry["kind"] == "points":
        points = entry["points"]
        place = max((i for i in range(len(points) - 1) if points[i][0] <= u), default=0)
        (x0, y0), (x1, y1) = points[place], points[place + 1]
        return float(y0 + (y1 - y0) * (u - x0) / (x1 - x0))
    if entry["kind"] == "hermite":
        return hermite(entry["knots"], u)
    return bezier(entry["controls"], u)


def hermite(knots: Sequence[Numbers], u: float) -> float:
    if u < 0:
        return knots[0][1] + knots[0][2] * u
    if u > 1:
        return knots[-1][1] + knots[-1][2] * (u - 1)
    place = max((i for i in range(len(knots) - 1) if knots[i][0] <= u), default=0)
    (x0, y0, slope0), (x1, y1, slope1) = knots[place], knots[place + 1]
    h = x1 - x0
    t = (u - x0) / h
    start = (1 + 2 * t) * (1 - t) ** 2 * y0 + t * (1 - t) ** 2 * h * slope0
    return start + t * t * (3 - 2 * t) * y1 - t * t * (1 - t) * h * slope1


def bezier(controls: Numbers, u: float) -> float:
    x1, y1, x2, y2 = controls
    if u < 0:
        return u * (y1 / x1 if x1 > 0 else y2 / x2 if x2 > 0 else 0.0)
    if u > 1:
        return 1 + (u - 1) * ((1 - y2) / (1 - x2) if x2 < 1 else (1 - y1) / (1 - x1) if x1 < 1 else 0.0)

    def value(first: float, second: float, t: float) -> float:
        return 3 * (1 - t) ** 2 * t * first + 3 * (1 - t) * t * t * second + t**3

    low, high = 0.0, 1.0
    while low < (middle := (low + high) / 2) < high:
        low, high = (middle, high) if value(x1, x2, middle) <= u else (low, middle)
    return value(y1, y2, high if u == 1 else low)


# ---- combinations and fields --------------------------------------------------------------------------


def combined(combination: Mapping[str, Any], result: Mapping[str, float]) -> float:
    parts = [
        result[part["strength"]] if "strength" in part else combined(part, result) for part in combination["parts"]
    ]
    ways: dict[str, Callable[[list[float]], float]] = {
        "product": math.prod,
        "least": min,
        "greatest": max,
        "sum": lambda values: min(1.0, sum(values)),
    }
    return ways[combination["how"]](parts)


def field_value(field: Mapping[str, Any], place: int, scene: Scene) -> float:
    delta = scene.delta(field["joint"], field["relative_to"])
    total = ramp_value(field, place, delta) if field["kernel"] == "ramp" else interpolated(field, place, delta)
    value = clip(total)
    return 0.0 if value <= 1e-9 else 1.0 if value >= 1 - 1e-9 else value


def interpolated(field: Mapping[str, Any], place: int, delta: Numbers) -> float:
    total = field["constants"][place - 1]
    for sample, row in zip(field["samples"], field["coefficients"], strict=True):
        width = field["width"] if sample["width"] is None else sample["width"]
        total += row[place - 1] * kernel(field, width, far(field, delta, sample["rotation"]))
    return float(total)


def ramp_value(field: Mapping[str, Any], place: int, delta: Numbers) -> float:
    turns = [sample["rotation"] for sample in field["samples"]]
    angles = [angle(field, delta, turn) for turn in turns]
    shares = []
    for k, sample in enumerate(field["samples"][1:], 1):
        parts = [(sample["width"] - angles[k]) / (0.75 * sample["width"])]
        parts += [
            (1 + (angles[j] ** 2 - angles[k] ** 2) / angle(field, turns[k], turns[j]) ** 2) / 2
            for j in range(len(turns))
            if j != k
        ]
        shares.append(clip(min(parts)))
    own = shares[place - 1]
    lacking = sorted(1 - share for share in shares)
    if sum(shares) <= 1 or own == 1:
        return own
    m = [m for m in range(1, len(lacking) + 1) if (m - 1) * lacking[m - 1] < sum(lacking[:m])][-1]
    return max(0.0, 1 - (m - 1) * (1 - own) / sum(lacking[:m]))


def angle(field: Mapping[str, Any], p: Numbers, q: Numbers) -> float:
    if field["metric"] == "rotation":
        x, y, z, w = product(conj(p), q)
        return 2 * math.atan2(norm([x, y, z]), abs(w))
    a, b = turned(field["axis"], p), turned(field["axis"], q)
    return 2 * math.atan2(
        norm([one - other for one, other in zip(a, b, strict=True)]),
        norm([one + other for one, other in zip(a, b, strict=True)]),
    )


def far(field: Mapping[str, Any], delta: Numbers, sample: Numbers) -> float:
    if field["metric"] == "rotation":
        return 2 * norm(product(conj(sample), delta)[:3])
    one, other = turned(field["axis"], delta), turned(field["axis"], sample)
    return norm([a - b for a, b in zip(one, other, strict=True)])


def kernel(field: Mapping[str, Any], width: Any, x: float) -> float:
    if field["kernel"] == "gaussian":
        return math.exp(-((x / width) ** 2))
    return x
