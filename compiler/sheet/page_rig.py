"""The rigs whose generated modules the page runs.

One is the character's own with, after all its strengths, an open driver for each reading: through a straight line over
0..1 that goes on beyond both ends a strength is its reading, so that the page's numbers come out of the same code. The
other computes combinations of strengths that are given, for when a span or a curve is tried out.
"""

from __future__ import annotations

from typing import Final

from plica.kinds.readings import READING_KINDS, Reading
from plica.rig.rig import Rig
from plica.rig.strengths import Combine, Control, Driver, Strength
from plica.values import LINEAR

READING: Final = "reading "
"""What the name of a driver that stands for a reading begins with; no strength has a blank in its name."""
_ANY: Final = (-1e9, 1e9)


def with_readings(rig: Rig) -> tuple[Rig, dict[Reading, int]]:
    """The rig with a driver for each reading, and the number of its value among those of the module."""
    readings = list(dict.fromkeys(one.reading for one in rig.strengths if isinstance(one, Driver)))
    made = [
        Driver(f"{READING}{number}", "none", f"{READING}{number}", reading, (0.0, 1.0), False, LINEAR)
        for number, reading in enumerate(readings)
    ]
    first = len(rig.strengths)
    places = {reading: first + number for number, reading in enumerate(readings)}
    return rig._replace(strengths=(*rig.strengths, *made)), places


def of_given_strengths(rig: Rig) -> Rig:
    """A rig with the same strengths of which all but the combinations are numbers that are given, in their order."""
    controls: list[Control] = []
    strengths: list[Strength] = []
    for strength in rig.strengths:
        if isinstance(strength, Combine):
            strengths.append(strength)
            continue
        controls.append(Control(strength.name, "none", strength.name, _ANY, 0.0))
        reading = READING_KINDS["control"].record(strength.name)
        strengths.append(Driver(strength.name, "none", strength.name, reading, (0.0, 1.0), False, LINEAR))
    return Rig(rig.character, (), controls=tuple(controls), strengths=tuple(strengths))
