"""Who uses what: the entries that a strength or a region ends in, and what files reach."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cached_property

from plica.kinds.readings import controls_of
from plica.rig.combinations import parts_of
from plica.rig.files import files_of
from plica.rig.region_sources import regions_of
from plica.rig.rig import Rig
from plica.rig.strengths import Combine, Driver, Strength
from plica.rig.surfaces import StrengthPose

_NAMES = ("names", "strengths", "geometry", "textures", "budget")


class Dependents:
    """Looks things up in two rigs at once, the later one first."""

    def __init__(self, old: Rig, new: Rig) -> None:
        self._rigs = (new, old)

    @cached_property
    def _of_regions(self) -> dict[str, list[tuple[str, str]]]:
        """For each region, what it reaches by shapes (`geometry`) and folds (`textures`), and the sets it is in."""
        users: dict[str, list[tuple[str, str]]] = {}
        for rig in self._rigs:
            for shape in rig.shapes:
                users.setdefault(shape.within or "", []).append(("geometry", shape.name))
            for fold in rig.folds:
                users.setdefault(fold.area, []).append(("textures", fold.name))
            for region in rig.regions:
                for part in regions_of(region.source):
                    users.setdefault(part, []).append(("region", region.name))
        return users

    def reaches_of_region(self, name: str) -> tuple[str, ...]:
        """`geometry`, `textures` or both; geometry for a region that nothing else uses."""
        reached: set[str] = set()
        met, waiting = {name}, [name]
        while waiting:
            for what, user in self._of_regions.get(waiting.pop(), ()):
                if what != "region":
                    reached.add(what)
                elif user not in met:
                    met.add(user)
                    waiting.append(user)
        return tuple(word for word in _NAMES if word in reached) or ("geometry",)

    @cached_property
    def _of_strengths(self) -> dict[str, list[tuple[str, str]]]:
        """For each strength, the kind and the output name of what is made of it or follows it."""
        users: dict[str, list[tuple[str, str]]] = {}
        rig = self._rigs[0]
        for strength in rig.strengths:
            if isinstance(strength, Combine):
                for part in dict.fromkeys(parts_of(strength.combination)):
                    users.setdefault(part, []).append(("combine", strength.name))
        for kind, entries in (("shape", rig.shapes), ("fold", rig.folds)):
            for entry in entries:
                if entry.follows is not None:
                    users.setdefault(entry.follows, []).append((kind, entry.name))
        for pose in rig.poses:
            for name in dict.fromkeys(item.strength for item in pose.items if isinstance(item, StrengthPose)):
                users.setdefault(name, []).append(("pose", pose.name))
        return users

    def users_of(self, table: str) -> Callable[[str], tuple[str, ...]] | None:
        """What finds the users of an entry of a table; None for tables whose users are not listed."""
        return {"strengths": self.of_strength, "poses": self.of_pose, "controls": self.of_control}.get(table)

    def of_strength(self, name: str) -> tuple[str, ...]:
        """The combinations, shapes, folds and poses of the later rig that a strength reaches, at any distance."""
        result: dict[tuple[str, str], None] = {}
        waiting = [name]
        while waiting:
            for user in self._of_strengths.get(waiting.pop(0), ()):
                if user not in result:
                    result[user] = None
                    if user[0] == "combine":
                        waiting.append(user[1])
        return tuple(f"{kind} {user}" for kind, user in result)

    def of_control(self, name: str) -> tuple[str, ...]:
        """The drivers of the later rig that read a control, and all that they reach."""
        drivers = [
            one for one in self._rigs[0].strengths if isinstance(one, Driver) and name in controls_of(one.reading)
        ]
        reached = [user for driver in drivers for user in self.of_strength(driver.name)]
        return tuple(dict.fromkeys((*(f"driver {driver.name}" for driver in drivers), *reached)))

    def may_be_open(self, combines: Iterable[Combine]) -> bool:
        """Whether a strength that combinations are made of, at any distance, may leave 0 to 1."""
        waiting = [part for combine in combines for part in parts_of(combine.combination)]
        met: set[str] = set()
        while waiting:
            name = waiting.pop()
            if name in met:
                continue
            met.add(name)
            for strength in (strengths.get(name) for strengths in self._strengths):
                if isinstance(strength, Driver) and not strength.clamped:
                    return True
                waiting += parts_of(strength.combination) if isinstance(strength, Combine) else ()
        return False

    @cached_property
    def _strengths(self) -> tuple[dict[str, Strength], ...]:
        return tuple({strength.name: strength for strength in rig.strengths} for rig in self._rigs)

    def of_pose(self, name: str) -> tuple[str, ...]:
        """The expectations of the later rig that name a pose."""
        users = [one for one in self._rigs[0].expectations if name in one.over_poses]
        return tuple(dict.fromkeys(f"expect {one.kind} of {', '.join(one.of)}" for one in users))

    @cached_property
    def _of_files(self) -> dict[str, set[str]]:
        reached: dict[str, set[str]] = {}
        for rig in self._rigs:
            for file, reaches, _, _ in files_of(rig):
                reached.setdefault(file, set()).update(reaches)
        return reached

    def reaches_of_file(self, file: str) -> tuple[str, ...]:
        """What the contents of a file reach."""
        return tuple(word for word in _NAMES if word in self._of_files.get(file, {"geometry"}))
