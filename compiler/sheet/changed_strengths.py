"""The strengths that a change is about: those in whose poses it is to be seen on the skin."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import partial

from plica.diff.dependents import Dependents
from plica.diff.entries import ReviewEntry
from plica.diff.facts import FILES, Difference
from plica.diff.verdicts import GEOMETRY, STRENGTHS, TEXTURES
from plica.rig.expectations import swept_strengths
from plica.rig.files import files_of
from plica.rig.region_sources import regions_of
from plica.rig.rig import Rig

_SEEN = frozenset((STRENGTHS, GEOMETRY, TEXTURES))
_OF_ALL = frozenset(("skeleton", "character", "symmetry"))


class ChangedStrengths:
    """Looks the strengths of changes up in two rigs at once; joints are called alike in both."""

    def __init__(self, old: Rig, new: Rig) -> None:
        self._rigs = new, old
        self._uses = Dependents(old, new)
        self._of_table: Mapping[str, Callable[[Difference], Iterable[str] | None]] = {
            "strengths": self._strength,
            "controls": self._control,
            "fields": self._field,
            "shapes": partial(self._followed, "shapes"),
            "offsets": partial(self._followed, "shapes"),
            "folds": partial(self._followed, "folds"),
            "regions": self._region,
            "expectations": self._expectation,
            FILES: self._file,
        }

    def of(self, entry: ReviewEntry) -> frozenset[str] | None:
        """The names of the strengths; empty for what is not seen on the skin, None for what may show in any pose."""
        found: set[str] = set()
        for change in entry.changes:
            for fact in change.facts:
                seen = fact.table == "expectations" or bool(_SEEN & set(change.reaches))
                names = self._names(fact) if seen else ()
                if names is None:
                    return None
                found.update(names)
        return frozenset(found)

    def _names(self, fact: Difference) -> Iterable[str] | None:
        if fact.table in _OF_ALL:
            return None
        finds = self._of_table.get(fact.table)
        return () if finds is None else finds(fact)

    def _strength(self, fact: Difference) -> list[str]:
        names = [fact.name, *([] if fact.old is None else [fact.old.name])]
        return [*names, *_strengths_in(user for name in names for user in self._uses.of_strength(name))]

    def _control(self, fact: Difference) -> list[str]:
        return [*_strengths_in(self._uses.of_control(fact.name))]

    def _field(self, fact: Difference) -> list[str]:
        return [
            strength.name
            for rig in self._rigs
            for strength in rig.strengths
            if strength.kind == "sample" and strength.field == fact.name
        ]

    def _followed(self, table: str, fact: Difference) -> list[str]:
        return [
            one.follows for rig in self._rigs for one in getattr(rig, table) if one.name == fact.name and one.follows
        ]

    def _region(self, fact: Difference) -> list[str]:
        names = {fact.name}
        for rig in self._rigs:
            for _ in rig.regions:  # sets of sets, each step reaches one further
                more = {one.name for one in rig.regions if names & set(regions_of(one.source))} - names
                if not more:
                    break
                names |= more
        shapes = [one.follows for rig in self._rigs for one in rig.shapes if one.within in names]
        folds = [one.follows for rig in self._rigs for one in rig.folds if one.area in names]
        return [name for name in (*shapes, *folds) if name]

    def _expectation(self, fact: Difference) -> tuple[str, ...]:
        return swept_strengths(fact.entry)

    def _file(self, fact: Difference) -> list[str] | None:
        users = [(kind, name) for rig in self._rigs for file, _, kind, name in files_of(rig) if file == fact.name]
        if any(kind == "character" for kind, _ in users):
            return None
        result: list[str] = []
        for kind, name in users:
            named = fact._replace(name=name)
            result += (
                self._followed("shapes", named) if kind == "shape" else self._detail(name) if kind == "detail" else []
            )
            result += self._region(named) if kind == "region" else []
        return result

    def _detail(self, name: str) -> list[str]:
        return [one.follows for rig in self._rigs for one in rig.folds if one.detail == name and one.follows]


def _strengths_in(users: Iterable[str]) -> Iterator[str]:
    """Of users as `Dependents` names them, such as `combine fist`, the strengths."""
    for user in users:
        kind, _, name = user.partition(" ")
        if kind in ("driver", "sample", "combine"):
            yield name
