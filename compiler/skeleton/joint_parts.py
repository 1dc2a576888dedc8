"""What joints are called: knees, elbows, fingers and so on, told by the words of their names.

Common practice, no source: what skeletons call their joints.
"""

from __future__ import annotations

from collections.abc import Sequence

from plica.skeleton.joint_words import words_of
from plica.skeleton.skeleton import Skeleton

# Words that tell a part; within an entry all words must be there. The first that fits counts.
WORDS: tuple[tuple[str, tuple[tuple[str, ...], ...]], ...] = (
    ("none", (("twist",), ("roll",), ("ik",), ("pole",), ("target",), ("slot",), ("socket",), ("handslot",))),
    ("none", (("tip",), ("leaf",), ("nub",), ("end",), ("site",), ("heel",), ("eff",), ("effector",))),
    ("elbow", (("forearm",), ("fore", "arm"), ("lower", "arm"), ("lowerarm",), ("low", "arm"), ("elbow",))),
    ("shoulder", (("upperarm",), ("upper", "arm"), ("up", "arm"), ("uparm",), ("humerus",), ("bicep",))),
    ("knee", (("shin",), ("calf",), ("lowerleg",), ("lower", "leg"), ("low", "leg"), ("knee",), ("tibia",))),
    ("hip", (("thigh",), ("upperleg",), ("upper", "leg"), ("up", "leg"), ("upleg",), ("femur",))),
    ("toes", (("toe",), ("toes",), ("toebase",), ("ball",))),
    ("ankle", (("foot",), ("ankle",), ("feet",), ("hoof",), ("hindpaw",))),
    ("neck", (("neck",),)),
    ("jaw", (("jaw",), ("mandible",))),
    ("none", (("eye",), ("eyes",), ("eyelid",), ("lid",), ("brow",), ("lip",), ("cheek",), ("nose",), ("hair",))),
    ("head", (("head",), ("skull",))),
    ("tail", (("tail",),)),
    ("wing", (("wing",), ("feather",), ("pinion",), ("alula",))),
    ("ear", (("ear",), ("ears",), ("antenna",), ("antler",), ("horn",))),
    ("fin", (("fin",), ("fins",), ("flipper",), ("fluke",), ("dorsal",), ("pectoral",))),
    ("tentacle", (("tentacle",), ("feeler",), ("proboscis",))),
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
LIMB_WORDS = frozenset(
    ("leg", "foot", "paw", "hoof", "shoulder", "hip", "knee", "ankle", "hand", "toe", "arm", "thigh")
)
COLLAR_WORDS = frozenset(("clavicle", "collar", "collarbone", "clav", "scapula"))
LIMBS = {"arm": ("shoulder", "elbow", "wrist"), "leg": ("hip", "knee", "ankle", "toes")}


def parts_of(skeleton: Skeleton, bases: Sequence[str]) -> list[str]:
    """For each joint what its name says that it is, such as "knee".

    "none" where nothing bends, "pelvis" where everything hangs, "unknown" where the name says nothing. `bases` are the
    joints' names, which may be without their side.
    """
    words = [words_of(base) for base in bases]
    children = [skeleton.children(index) for index in range(len(skeleton.joints))]
    result: list[str] = []
    for index, own in enumerate(words):
        result.append(_part(index, own, words, children, skeleton, result))
    for finger in _finger_chains(skeleton, result, children):
        for index, part in zip(finger, _phalanges(len(finger)), strict=True):
            result[index] = part
    return result


def _part(
    index: int,
    own: tuple[str, ...],
    words: list[tuple[str, ...]],
    children: list[list[int]],
    skeleton: Skeleton,
    result: list[str],
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
    if "back" in plain and plain & LIMB_WORDS:
        plain = plain - {"back"}  # a hind limb, not the back
    for part, choices in WORDS:
        if any(plain.issuperset(choice) for choice in choices):
            return part
    return None


def _nearest(index: int, skeleton: Skeleton, result: list[str], parts: tuple[str, ...]) -> str | None:
    """The part of the nearest joint above that is one of `parts`."""
    return next((part for above in skeleton.ancestors(index) if (part := result[above]) in parts), None)


def _finger_chains(skeleton: Skeleton, result: list[str], children: list[list[int]]) -> list[list[int]]:
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
