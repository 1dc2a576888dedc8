"""The limbs of a body: which joints are upper arms, shins and so on, by names, else by hierarchy and geometry.

By geometry the two legs are the lowest two tips that part from one joint, the arms the two that reach out farthest to
both sides, and of each chain the two longest bones in a row are the limb; all four or none. Up is y, as everywhere
inside.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations, pairwise
from typing import Final, Literal, NamedTuple

from plica.skeleton.algebra import Vector, add, cross, dot, length, scaled, subtract, unit
from plica.skeleton.joint_words import parts_of_name, words_of
from plica.skeleton.skeleton import Skeleton

LimbName = Literal[
    "left arm",
    "right arm",
    "left leg",
    "right leg",
    "left foreleg",
    "right foreleg",
    "left hind leg",
    "right hind leg",
]
UPRIGHT: Final[tuple[LimbName, ...]] = ("left arm", "right arm", "left leg", "right leg")
FOUR_LEGGED: Final[tuple[LimbName, ...]] = ("left foreleg", "right foreleg", "left hind leg", "right hind leg")
LIMB_NAMES: Final[tuple[LimbName, ...]] = (*UPRIGHT, *FOUR_LEGGED)
UP: Final[Vector] = (0.0, 1.0, 0.0)
_ROWS: Final = {"arm": ("shoulder", "elbow", "wrist"), "leg": ("hip", "knee", "ankle")}
_FORE: Final = frozenset({"front", "fore", "forward", "foreleg", "forelimb"})
_HIND: Final = frozenset({"back", "hind", "rear", "hindleg", "hindlimb"})
_HIPS: Final = ("hips", "pelvis", "hip")
# Of the body's height: tips this much higher than the lowest are no feet; bones shorter than this are none of a limb.
_FOOT_HEIGHT: Final = 0.2
_SHORT: Final = 0.05


class Limb(NamedTuple):
    """Joints (indices) where a limb begins, bends and ends: thigh, shin, foot or upper arm, forearm, hand."""

    upper: int
    lower: int
    end: int


def named_limbs(skeleton: Skeleton, parts: Sequence[str]) -> dict[LimbName, Limb]:
    """The limbs whose joints' names tell what they are and on which side. `parts`: what each joint is."""
    words = [set(words_of(joint.name)) for joint in skeleton.joints]
    sides = [parts_of_name(joint.name)[0] for joint in skeleton.joints]
    limbs: dict[LimbName, Limb] = {}
    for name in LIMB_NAMES:
        side, _, kind = name.partition(" ")
        row = _ROWS["arm" if kind == "arm" else "leg"]
        told = kind if kind in ("foreleg", "hind leg") else None
        allowed = [side == sides[index] and _where(own) == told for index, own in enumerate(words)]
        limb = _named_limb(skeleton, parts, row, allowed)
        if limb is not None:
            limbs[name] = limb
    return limbs


def _where(words: set[str]) -> str | None:
    """Which pair of legs a joint's name tells; a forearm is none of them."""
    if words & {"arm", "forearm"}:
        return None
    return "foreleg" if words & _FORE else "hind leg" if words & _HIND else None


def _named_limb(
    skeleton: Skeleton, parts: Sequence[str], row: tuple[str, str, str], allowed: Sequence[bool]
) -> Limb | None:
    """The joints of one limb: the last that is called an upper one before the lower one, and what follows that."""
    joints = [index for index, good in enumerate(allowed) if good]
    for lower in (index for index in joints if parts[index] == row[1]):
        upper = next((above for above in skeleton.ancestors(lower) if allowed[above] and parts[above] == row[0]), None)
        ends = (index for index in skeleton.below(lower) if allowed[index] and parts[index] == row[2])
        end = next(ends, next(iter(skeleton.children(lower)), None))
        if upper is not None and end is not None:
            return Limb(upper, lower, end)
    return None


def trunk_parts(skeleton: Skeleton, parts: Sequence[str]) -> dict[str, int]:
    """Single joints by what they are: hips, neck, head, left collar, left toe, ..."""
    known = [parts_of_name(joint.name) for joint in skeleton.joints]
    result: dict[str, int] = {}
    for word in _HIPS:
        if ("", word) in known:
            result.setdefault("hips", known.index(("", word)))
    wanted = (("neck", "", "neck"), ("head", "", "head"))
    sided = ((f"{side} {what}", side, part) for side in ("left", "right") for what, part in _SIDED)
    for what, side, part in (*wanted, *sided):
        joint = next((i for i, own in enumerate(parts) if own == part and known[i][0] == side), None)
        if joint is not None:
            result[what] = joint
    return result


_SIDED: Final = (("collar", "clavicle"), ("toe", "toes"))


def has_chains(skeleton: Skeleton) -> bool:
    """Whether a skeleton has at least four chains of three joints and more to their tips: limbs of some kind."""
    tips = [index for index in range(len(skeleton.joints)) if not skeleton.children(index)]
    alone = [
        [
            joint
            for joint in (tip, *skeleton.ancestors(tip))
            if sum(joint in skeleton.ancestors(one) for one in tips) < 2
        ]
        for tip in tips
    ]
    return sum(len(chain) >= 3 for chain in alone) >= 4


# ---- by geometry --------------------------------------------------------------------------------------


def shaped_limbs(skeleton: Skeleton) -> tuple[dict[LimbName, Limb], int] | None:
    """The four limbs of an upright body and the joint where its legs part; None where they cannot be told."""
    places = [frame.origin for frame in skeleton.frames]
    tips = [index for index in range(len(places)) if not skeleton.children(index)]
    if len(tips) < 3:
        return None
    height = max(place[1] for place in places) - min(place[1] for place in places)
    feet = _feet(skeleton, places, tips, height)
    if feet is None:
        return None
    hips, legs = feet
    across = subtract(places[legs[0][0]], places[legs[1][0]])
    if length(across) < _SHORT * height:
        across = subtract(places[legs[0][-1]], places[legs[1][-1]])
    across = unit((across[0], 0.0, across[2]))
    ways = {"leg": _two_bones(legs, places, height)}
    arms = _arms(skeleton, places, [tip for tip in tips if tip not in (legs[0][-1], legs[1][-1])], across, hips)
    if arms is not None:
        ways["arm"] = _two_bones(arms, places, height)
    forward = _forward(skeleton, places, ways["leg"])
    limbs: dict[LimbName, Limb] = {}
    for name in UPRIGHT:
        side, kind = name.split()
        # Left is where up x forward points, as in glTF 2.0: +x for what looks along +z.
        first = dot(across, cross(UP, forward)) > 0.0
        limb = ways.get(kind, (None, None))[0 if first == (side == "left") else 1]
        if limb is not None:
            limbs[name] = limb
    return (limbs, hips) if len(limbs) == len(UPRIGHT) else None


def _chain(skeleton: Skeleton, top: int, tip: int) -> list[int]:
    """The joints below `top` down to a tip."""
    above = skeleton.ancestors(tip)
    return [*reversed(above[: above.index(top)]), tip] if top in above else []


def _parting(skeleton: Skeleton, a: int, b: int) -> int | None:
    above = set(skeleton.ancestors(a))
    return next((joint for joint in skeleton.ancestors(b) if joint in above), None)


def _feet(
    skeleton: Skeleton, places: Sequence[Vector], tips: Sequence[int], height: float
) -> tuple[int, tuple[list[int], list[int]]] | None:
    """The joint where the legs part, and both chains: of the low pairs of tips that part, the one with long legs."""
    ground = min(places[tip][1] for tip in tips)
    low = [tip for tip in tips if places[tip][1] - ground < _FOOT_HEIGHT * height]
    best = None
    for a, b in combinations(low, 2):
        top = _parting(skeleton, a, b)
        if top is None or places[top][1] - ground < _FOOT_HEIGHT * height:
            continue
        chains = _chain(skeleton, top, a), _chain(skeleton, top, b)
        if min(map(len, chains)) >= 3 and abs(places[a][1] - places[b][1]) < _SHORT * height:
            rank = (-abs(len(chains[0]) - len(chains[1])), length(subtract(places[a], places[b])))
            if best is None or rank > best[0]:
                best = rank, top, chains
    return None if best is None else best[1:]


def _arms(
    skeleton: Skeleton, places: Sequence[Vector], tips: Sequence[int], across: Vector, hips: int
) -> tuple[list[int], list[int]] | None:
    def reach(tip: int) -> float:
        return dot(subtract(places[tip], places[hips]), across)

    above = [tip for tip in tips if hips not in (tip,)]
    if len(above) < 2:
        return None
    a, b = max(above, key=reach), min(above, key=reach)
    top = _parting(skeleton, a, b)
    if top is None or not reach(a) > 0.0 > reach(b):
        return None
    chains = _chain(skeleton, top, a), _chain(skeleton, top, b)
    return chains if min(map(len, chains)) >= 3 else None


def _two_bones(
    chains: tuple[list[int], list[int]], places: Sequence[Vector], height: float
) -> tuple[Limb | None, Limb | None]:
    return _longest(chains[0], places, height), _longest(chains[1], places, height)


def _longest(chain: Sequence[int], places: Sequence[Vector], height: float) -> Limb | None:
    def bones(row: tuple[int, int, int]) -> list[float]:
        return [length(subtract(places[b], places[a])) for a, b in pairwise(row)]

    rows: Iterator[tuple[int, int, int]] = zip(chain, chain[1:], chain[2:], strict=False)
    usable = [row for row in rows if min(bones(row)) > _SHORT * height]
    return Limb(*max(usable, key=lambda row: sum(bones(row)))) if usable else None


def _forward(skeleton: Skeleton, places: Sequence[Vector], legs: tuple[Limb | None, Limb | None]) -> Vector:
    """Where the feet point, on the ground; +z where they point nowhere."""
    total = (0.0, 0.0, 0.0)
    for leg in legs:
        if leg is not None:
            for child in skeleton.children(leg.end):
                total = add(total, subtract(places[child], places[leg.end]))
    flat = (total[0], 0.0, total[2])
    return scaled(flat, 1.0 / length(flat)) if length(flat) > 1e-6 else (0.0, 0.0, 1.0)
