"""What is not a number stays visible: a strength that reads it is not a number either, and never 0 or 1."""

from __future__ import annotations

import math
from types import ModuleType
from typing import Any

import pytest

from plica.rig.rig import Rig
from plica.targets.python import module_text
from tests.support.rigs import random_rig
from tests.targets.rigs import whole_rig

NAN = float("nan")


def loaded(rig: Rig) -> Any:
    module = ModuleType("rig")
    exec(module_text(rig), module.__dict__)
    return module


class Scene:
    """A host at rest but for one number of one joint or control."""

    def __init__(self, module: Any, what: str, name: str, place: int, value: float) -> None:
        self.module, self.what, self.name, self.place, self.value = module, what, name, place, value

    def _changed(self, what: str, name: str, numbers: tuple[float, ...]) -> tuple[float, ...]:
        if (what, name) != (self.what, self.name):
            return numbers
        return tuple(n + self.value if i == self.place else n for i, n in enumerate(numbers))

    def local_transform(self, joint: str) -> tuple[tuple[float, ...], tuple[float, ...]]:
        translation, rotation = self.module.REST[joint]
        return self._changed("translation", joint, translation), self._changed("rotation", joint, rotation)

    def local_scale(self, joint: str) -> tuple[float, ...]:
        return self._changed("scale", joint, self.module.SCALED[joint])

    def control(self, name: str) -> float:
        return self._changed("control", name, (self.module.CONTROLS[name][2],))[0]

    def weight(self, morph: str) -> float:
        return self.control(next(name for name, own in self.module.WEIGHTS.items() if own == morph))


def places(module: Any) -> list[tuple[str, str, int]]:
    return [
        *(("translation", joint, place) for joint in module.JOINTS for place in range(3)),
        *(("rotation", joint, place) for joint in module.JOINTS for place in range(4)),
        *(("scale", joint, place) for joint in module.SCALED for place in range(3)),
        *(("control", control, 0) for control in module.CONTROLS),
    ]


@pytest.mark.parametrize("make", [whole_rig, lambda: random_rig(11)], ids=["whole", "random"])
def test_a_strength_that_reads_what_is_not_a_number_is_none(make: Any) -> None:
    """What a small or a large change moves reads that number. A clamped strength may not show it where it stands."""
    module = loaded(make())
    rest = module.strengths(Scene(module, "", "", 0, 0.0))
    lost, seen = [], set()
    for what, name, place in places(module):
        spoilt = module.strengths(Scene(module, what, name, place, NAN))
        for step in (-0.7, -0.02, 0.02, 0.7):
            for strength, value in module.strengths(Scene(module, what, name, place, step)).items():
                if value != rest[strength]:
                    seen.add(strength)
                    if not math.isnan(spoilt[strength]):
                        lost.append((what, name, place, strength, spoilt[strength]))
    assert lost == []
    assert len(seen) > 0.8 * len(rest)
