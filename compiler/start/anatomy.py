"""What anatomy says about the joints of people.

Travels are published figures where there are any (their source stands beside them); a joint that no table knows gets a
default, and the spec says that it is one.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

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
