"""Who uses what: the entries that a strength or a region ends in, and what files reach."""

from __future__ import annotations

from functools import cached_property

from plica.rig.combinations import parts_of
from plica.rig.files import files_of
from plica.rig.region_sources import regions_of
from plica.rig.rig import Rig
from plica.rig.strengths import Combine
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
