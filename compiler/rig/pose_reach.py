"""Which strengths a pose may change, as far as names tell: nothing is evaluated here.

What is left out stays at its rest value in the pose. What is in may turn out to stay there too.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from plica.kinds.readings import Reading, chain_ends, controls_of, joints_of, seen
from plica.rig.combinations import parts_of
from plica.rig.strengths import Combine, Driver, Field, Sample, Strength
from plica.rig.surfaces import JointPose, StrengthPose
from plica.skeleton.chains import joints_between
from plica.skeleton.skeleton import Skeleton


class PoseReach:
    """Looks up what poses of one rig may change."""

    def __init__(self, strengths: Iterable[Strength], fields: Iterable[Field], skeleton: Skeleton) -> None:
        self._strengths: Mapping[str, Strength] = {one.name: one for one in strengths}
        self._fields = {field.name: field for field in fields}
        self._skeleton = skeleton

    def strengths(self, pose: Sequence[StrengthPose | JointPose]) -> frozenset[str]:
        """The names of the strengths that may not be at rest in a pose."""
        moved: set[str] = set()
        for item in pose:
            moved |= {_joint(item.joint)} if isinstance(item, JointPose) else self._moved_by(item.strength)
        # Combinations come after what they are made of.
        touched: set[str] = set()
        for name, strength in self._strengths.items():
            if isinstance(strength, Combine):
                touches = not touched.isdisjoint(parts_of(strength.combination))
            else:
                touches = not moved.isdisjoint(self._read_by(strength))
            touched |= {name} if touches else set()
        return frozenset(touched)

    def _moved_by(self, name: str) -> set[str]:
        """The joints and controls that are posed so that a strength has its amount: all that it names."""
        strength = self._strengths.get(name)
        match strength:
            case Driver():
                return _named(strength.reading)
            case Sample():
                return {_joint(self._fields[strength.field].joint)} if strength.field in self._fields else set()
            case Combine():
                return {one for part in parts_of(strength.combination) for one in self._moved_by(part)}
            case _:
                return set()

    def _read_by(self, strength: Driver | Sample) -> set[str]:
        """The joints and controls that decide a strength: also those between two joints."""
        if isinstance(strength, Driver):
            ends = chain_ends(strength.reading)
            return _named(strength.reading) | ({*map(_joint, self._between(ends))} if ends else set())
        field = self._fields.get(strength.field)
        if field is None:
            return set()
        joint, other = seen(field)
        return {_joint(joint), *map(_joint, self._between((joint, other)) if other else ())}

    def _between(self, ends: tuple[str, str]) -> Iterable[str]:
        known = all(name in self._skeleton.index for name in ends)
        return joints_between(self._skeleton, *ends) if known else ends


def _named(reading: Reading) -> set[str]:
    return {*map(_joint, joints_of(reading)), *(f"control {name}" for name in controls_of(reading))}


def _joint(name: str) -> str:
    return f"joint {name}"
