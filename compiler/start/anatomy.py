"""What joints are called, and what anatomy says about them.

A joint is told by the words of its name; `PARTS` is the data. Travels are published figures where there are
any (their source stands beside them); a joint that no table knows gets a default, and the spec says that it
is one.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from plica.skeleton.skeleton import Skeleton
from plica.start.name_words import words_of

# Which way the part beyond the joint moves when the joint flexes.
Flexion = Literal["back", "forward", "up", "palm", "bent", "any"]

STUDY = "adults"
CHILDREN = "children"
MANUAL = "manual"
SOURCES = {
    STUDY: "adults: CDC Normal Joint Range of Motion Study (Soucie and others, 2011), mean of ages 20 to 44",
    CHILDREN: "children: the same study, mean of ages 2 to 8",
    MANUAL: "manual: table of the Merck Manual",
}


class BodyPart(NamedTuple):
    """A kind of joint. `travel` in degrees, as `source` (a key of SOURCES) has it for `movement`; a default
    if None.

    `flexion`: "any" for joints that turn every way (the whole angle is read), "bent" where only the rest
    pose's own bend tells the hinge. `straight`: the published travel counts from the straight limb.
    """

    title: str
    flexion: Flexion
    travel: int
    source: str | None = None
    movement: str = ""
    straight: bool = False
    region: bool = False


PARTS: dict[str, BodyPart] = {
    "clavicle": BodyPart("collar bone", "any", 30),
    "shoulder": BodyPart("shoulder", "any", 170, STUDY, "flexion 170.4", region=True),
    "elbow": BodyPart("elbow", "forward", 147, STUDY, "flexion 147.3", straight=True, region=True),
    "wrist": BodyPart("wrist", "palm", 90, MANUAL, "flexion 0-90", region=True),
    "finger base": BodyPart("finger, base joint", "palm", 90, MANUAL, "0-90", straight=True),
    "finger middle": BodyPart("finger, middle joint", "palm", 120, MANUAL, "0-120", straight=True),
    "finger end": BodyPart("finger, end joint", "palm", 80, MANUAL, "0-80", straight=True),
    "thumb": BodyPart("thumb", "bent", 60),
    "hip": BodyPart("hip", "any", 132, STUDY, "flexion 132.1", region=True),
    "knee": BodyPart("knee", "back", 140, STUDY, "flexion 139.8", straight=True, region=True),
    "ankle": BodyPart("ankle", "up", 23, CHILDREN, "dorsiflexion 22.8", region=True),
    "toes": BodyPart("toes", "up", 60),
    "spine": BodyPart("spine", "any", 30),
    "neck": BodyPart("neck", "any", 45, region=True),
    "head": BodyPart("head", "any", 45, region=True),
    "jaw": BodyPart("jaw", "any", 25, region=True),
    "tail": BodyPart("tail", "any", 45),
    "unknown": BodyPart("hinge", "bent", 90),
}

# Words that tell a part; within an entry all words must be there. The first that fits counts.
WORDS: tuple[tuple[str, tuple[tuple[str, ...], ...]], ...] = (
    ("none", (("twist",), ("roll",), ("ik",), ("pole",), ("target",), ("slot",), ("socket",), ("handslot",))),
    ("none", (("tip",), ("leaf",), ("nub",), ("end",), ("site",), ("heel",), ("eff",), ("effector",))),
    ("elbow", (("forearm",), ("fore", "arm"), ("lower", "arm"), ("lowerarm",), ("low", "arm"), ("elbow",))),
    ("shoulder", (("upperarm",), ("upper", "arm"), ("up", "arm"), ("uparm",), ("humerus",), ("bicep",))),
    ("knee", (("shin",), ("calf",), ("lowerleg",), ("lower", "leg"), ("low", "leg"), ("knee",), ("tibia",))),
    ("hip", (("thigh",), ("upperleg",), ("upper", "leg"), ("up", "leg"), ("upleg",), ("femur",))),
    ("toes", (("toe",), ("toes",), ("toebase",), ("ball",))),
    ("ankle", (("foot",), ("ankle",), ("feet",), ("hindpaw",))),
    ("neck", (("neck",),)),
    ("jaw", (("jaw",), ("mandible",))),
    ("none", (("eye",), ("eyes",), ("eyelid",), ("lid",), ("brow",), ("lip",), ("cheek",), ("nose",), ("hair",))),
    ("head", (("head",), ("skull",))),
    ("tail", (("tail",),)),
    ("pelvis", (("pelvis",), ("hips",), ("root",))),
    ("spine", (("spine",), ("chest",), ("torso",), ("abdomen",), ("waist",), ("back",), ("ribcage",))),
)
FINGERS = ("index", "pinky", "pinkie", "finger", "middle", "ring", "little", "mid")
ONLY_AT_HANDS = frozenset(("middle", "ring", "little", "mid"))  # words that mean other things elsewhere
PHALANGES = {
    "metacarpal": "none",
    "metacarpals": "none",
    "proximal": "finger base",
    "intermediate": "finger middle",
    "medial": "finger middle",
    "distal": "finger end",
}
COLLAR_WORDS = frozenset(("clavicle", "collar", "collarbone", "clav", "scapula"))
LIMBS = {"arm": ("shoulder", "elbow", "wrist"), "leg": ("hip", "knee", "ankle", "toes")}


def parts_of(skeleton: Skeleton, bases: list[str]) -> list[str | None]:
    """For each joint the key of its part in `PARTS`; None where anatomy has nothing to read at the joint.

    `bases` are the joints' names without their side. Joints whose names say nothing are "unknown".
    """
    words = [words_of(base) for base in bases]
    children = children_of(skeleton)
    result: list[str | None] = []
    for index, own in enumerate(words):
        result.append(_part(index, own, words, children, skeleton, result))
    for finger in _finger_chains(skeleton, result, children):
        for index, part in zip(finger, _phalanges(len(finger)), strict=True):
            result[index] = part
    return [None if part in ("none", "pelvis") else part for part in result]


def children_of(skeleton: Skeleton) -> list[list[int]]:
    """The indexes of each joint's children."""
    children: list[list[int]] = [[] for _ in skeleton.joints]
    for index, joint in enumerate(skeleton.joints):
        if joint.parent is not None:
            children[joint.parent].append(index)
    return children


def _part(
    index: int,
    own: tuple[str, ...],
    words: list[tuple[str, ...]],
    children: list[list[int]],
    skeleton: Skeleton,
    result: list[str | None],
) -> str:
    plain = set(own)
    for word, part in PHALANGES.items():
        if word in plain:
            return "thumb" if "thumb" in plain and part != "none" else part
    direct = _direct(plain)
    if direct is not None:
        return direct
    if "thumb" in plain:
        return "thumb"
    if _names_a_finger(plain) or (plain & ONLY_AT_HANDS and _nearest(index, skeleton, result, ("wrist",))):
        return "finger"
    below = [set(words[child]) for child in children[index]]
    if plain & COLLAR_WORDS:
        return "clavicle"
    if "shoulder" in plain:
        return "clavicle" if any(_direct(child) == "shoulder" or "arm" in child for child in below) else "shoulder"
    if "hip" in plain:
        return "none" if any(_direct(child) == "hip" or "leg" in child for child in below) else "hip"
    if plain & {"hand", "wrist", "palm", "paw"}:
        return "none" if _nearest(index, skeleton, result, ("wrist",)) == "wrist" else "wrist"
    for limb, order in LIMBS.items():
        if limb in plain:
            before = _nearest(index, skeleton, result, order)
            place = 0 if before is None else order.index(before) + 1
            return order[place] if place < len(order) else "none"
    return "unknown"


def _names_a_finger(plain: set[str]) -> bool:
    return bool(plain & (set(FINGERS) - ONLY_AT_HANDS)) or ("hand" in plain and bool(plain & ONLY_AT_HANDS))


def _direct(plain: set[str]) -> str | None:
    for part, choices in WORDS:
        if any(plain.issuperset(choice) for choice in choices):
            return part
    return None


def _nearest(index: int, skeleton: Skeleton, result: list[str | None], parts: tuple[str, ...]) -> str | None:
    """The part of the nearest joint above that is one of `parts`."""
    return next((part for above in skeleton.ancestors(index) if (part := result[above]) in parts), None)


def _finger_chains(skeleton: Skeleton, result: list[str | None], children: list[list[int]]) -> list[list[int]]:
    """The joints of each finger that are told by their place in it alone, from the hand out."""
    chains = []
    for index, joint in enumerate(skeleton.joints):
        if result[index] != "finger" or (joint.parent is not None and result[joint.parent] == "finger"):
            continue
        chain = [index]
        while len(below := [child for child in children[chain[-1]] if result[child] == "finger"]) == 1:
            chain.append(below[0])
        chains.append(chain)
    return chains


def _phalanges(count: int) -> list[str]:
    """A finger has three joints that bend; a fourth is its tip, a fifth the bone in the palm."""
    bending = ["finger base", "finger middle", "finger end"]
    if count <= 3:
        return bending[:count]
    if count == 4:
        return [*bending, "none"]
    return ["none", *bending, *["none"] * (count - 4)]
