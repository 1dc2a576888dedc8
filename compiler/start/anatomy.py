"""What anatomy says about the joints of people.

Travels are published figures where there are any (their source stands beside them); a joint that no table knows gets a
default, and the spec says that it is one.
"""

from __future__ import annotations

from typing import Final, Literal, NamedTuple

from plica.skeleton.body import Body
from plica.skeleton.joint_words import words_of

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
    "wing": BodyPart("wing", "any", 45),
    "ear": BodyPart("ear", "any", 45),
    "fin": BodyPart("fin", "any", 45),
    "tentacle": BodyPart("tentacle", "any", 45),
    "unknown": BodyPart("hinge", "bent", 90),
}

HINGE_TRAVEL: Final = 90  # defaults where no table is for the body, degrees
BALL_TRAVEL: Final = 45
ANY_BODY: Final = frozenset(("spine", "neck", "head", "jaw", "tail", "wing", "ear", "fin", "tentacle"))
NOT_OF_PEOPLE: Final = frozenset(("tail", "wing", "fin", "tentacle"))
NOT_SAID_OF_PEOPLE: Final = frozenset(
    ("paw", "hindpaw", "hoof", "claw", "feather", "snout", "muzzle", "whisker", "beak", "mane", "gill")
)


def body_part(body: Body, part: str) -> BodyPart:
    """What is known of a joint of a body.

    The tables are of people, and so are the travels. Which way a limb flexes is the same in every upright body; in
    others only what the bones tell counts.
    """
    known = PARTS[part]
    if is_person(body):
        return known
    title = known.title if part in ANY_BODY or body.build == "upright" else ""
    if known.flexion == "any":
        return BodyPart(title, "any", BALL_TRAVEL, region=known.region)
    flexion = known.flexion if body.build == "upright" else "bent"
    return BodyPart(title, flexion, HINGE_TRAVEL, region=known.region)


def is_person(body: Body) -> bool:
    """Whether a body is built as people are: upright on two legs, with two arms, or one hand with a thumb.

    A tail, wings, fins, tentacles, paws and the like make it another one.
    """
    parts = set(body.parts)
    words = {word for joint in body.skeleton.joints for word in words_of(joint.name)}
    if parts & NOT_OF_PEOPLE or words & NOT_SAID_OF_PEOPLE:
        return False
    hand = not body.limbs and {"thumb", "finger base"} <= parts and not parts & {"hip", "knee"}
    return body.build == "upright" or hand
