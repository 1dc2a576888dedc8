"""Writing a rig of 20,000 drivers as canonical JSON against plain lists and json.dumps of the standard library.

Run it from the root of the repository: `python -m tests.bench.rig_json`. The aim is well under a second.
"""

from __future__ import annotations

import json
import sys
from time import perf_counter

from plica.kinds.readings import Rotation
from plica.rig.rig import Character, Rig
from plica.rig.rig_json import encoded, read_rig, write_rig
from tests.bench.goals import judge
from tests.targets.rigs import SOFT, driver, joint

COUNT = 20_000


def main() -> None:
    """Times both and prints their ratio; what was written is read back and compared."""
    joints = tuple(joint(f"joint_{place}") for place in range(500))
    drivers = tuple(
        driver(f"driver_{place}", Rotation(f"joint_{place % 500}", (0.6, 0.0, 0.8)), (0.0, 1.0 + place / COUNT), SOFT)
        for place in range(COUNT)
    )
    rig = Rig(Character("bench", "", None, 0.0), joints, strengths=drivers)
    start = perf_counter()
    text = encoded(write_rig(rig))
    ours = perf_counter() - start
    start = perf_counter()
    json.dumps(rig).encode("utf-8")
    reference = perf_counter() - start
    start = perf_counter()
    assert read_rig(text.decode("utf-8")) == rig
    reading = perf_counter() - start
    print(f"{COUNT} drivers, {len(text) / 1e6:.1f} MB, Python {sys.version.split()[0]}")
    print(f"write_rig              {ours:6.2f} s")
    print(f"json.dumps of tuples   {reference:6.2f} s")
    print(f"ratio                  {ours / reference:6.2f}")
    judge(f"rig of {COUNT:,} drivers as JSON", ours, 1.0, "s")
    print(f"read_rig, with checks  {reading:6.2f} s")


if __name__ == "__main__":
    main()
