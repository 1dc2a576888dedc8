"""Changes as a reviewer reads them: one entry for one cause, with all that it touches, what matters most first.

A cause is one declaration (the line of a library that several characters use, of a family, of both sides), one file, or
one edit that several characters had alike. What only shows on the mesh belongs to the change that it comes from.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from enum import IntEnum
from typing import Any, Final, NamedTuple

from plica.diff.collect import MEASURED
from plica.diff.facts import FINDINGS, PROJECT, TEXTS
from plica.diff.judged_change import FINGERPRINT_DIGITS, JudgedChange
from plica.diff.verdicts import NAMES, Harm
from plica.source import Span


class Section(IntEnum):
    """What entries are listed under, in the order in which a reviewer has to see them."""

    LOOSENED = 0
    BREAKING = 1
    RISKY = 2
    SAFE = 3
    COSMETIC = 4
    NAMES = 5

    @property
    def heading(self) -> str:
        """As it is written above the entries."""
        return _HEADINGS[self]

    @property
    def counted(self) -> str:
        """As it is written after a number of entries."""
        return _COUNTED.get(self, _HEADINGS[self])


_HEADINGS: Final = {
    Section.LOOSENED: "loosened or dropped expectations",
    Section.BREAKING: "breaking",
    Section.RISKY: "risky",
    Section.SAFE: "safe",
    Section.COSMETIC: "cosmetic",
    Section.NAMES: "other names, the same otherwise",
}
_COUNTED: Final = {Section.LOOSENED: "loosened or dropped", Section.NAMES: "of names only"}
_OF_HARM: Final = {
    Harm.BREAKING: Section.BREAKING,
    Harm.RISKY: Section.RISKY,
    Harm.SAFE: Section.SAFE,
    Harm.COSMETIC: Section.COSMETIC,
}
_LESS_MUST_HOLD: Final = frozenset({"expectation-loosened", "expectation-dropped", "expectation-measure"})
_DECLARED: Final = frozenset(
    {"controls", "fields", "strengths", "regions", "shapes", "details", "folds", "poses", "expectations", "aliases"}
)
_ALONE: Final = frozenset({FINDINGS, PROJECT, TEXTS})
"""The tables of what has no declaration, or has a place that others may have too."""
_CAUSES: Final = ("files", "shapes", "strengths", "fields", "controls", "regions", "details")
"""The tables of what something on the mesh may be computed from, the nearest first."""


class ReviewEntry(NamedTuple):
    """Changes with one cause; the first is the cause, or the worst where all are alike."""

    changes: tuple[JudgedChange, ...]

    @property
    def section(self) -> Section:
        """What it is listed under."""
        return min(map(section_of, self.changes))

    @property
    def harm(self) -> Harm:
        """How bad the worst of it is."""
        return min(change.harm for change in self.changes)

    @property
    def characters(self) -> tuple[str, ...]:
        """The characters that it touches."""
        return tuple(dict.fromkeys(change.character for change in self.changes if change.character))

    @property
    def places(self) -> tuple[Span, ...]:
        """Where the causes were changed; what only shows on the mesh has no place of its own."""
        return tuple(change.place for change in self._placed.values() if change.place is not None)

    @property
    def gone(self) -> tuple[bool, ...]:
        """Of each of the places whether it is in the old text, because what stood there is gone."""
        return tuple(change.is_gone for change in self._placed.values() if change.place is not None)

    @property
    def _placed(self) -> dict[str, JudgedChange]:
        found = [change for change in self.changes if not only_shows(change)] or [self.changes[0]]
        return {change.place.place: change for change in found if change.place is not None}

    @property
    def fingerprint(self) -> str:
        """That of the change, or of all changes together: it stays while they say the same."""
        each = sorted(change.fingerprint for change in self.changes)
        if len(each) == 1:
            return each[0]
        return hashlib.sha256(" ".join(each).encode("ascii")).hexdigest()[:FINGERPRINT_DIGITS]


def section_of(change: JudgedChange) -> Section:
    """What a change is listed under: an expectation that need not hold first, what is only called otherwise last."""
    if any(verdict.rule in _LESS_MUST_HOLD for verdict in change.verdicts):
        return Section.LOOSENED
    if change.reaches == (NAMES,) and change.what in ("changed", "renamed") and change.harm is Harm.BREAKING:
        return Section.NAMES
    return _OF_HARM[change.harm]


def only_shows(change: JudgedChange) -> bool:
    """Whether the text says the same as before, and something differs on the mesh all the same."""
    fields = [field for fact in change.facts for field in fact.fields]
    return bool(fields) and all(field.path == MEASURED for field in fields)


def entries_of(changes: Sequence[JudgedChange]) -> tuple[ReviewEntry, ...]:
    """All changes, each in one entry."""
    causes = {number: _cause(change, number) for number, change in enumerate(changes) if not only_shows(change)}
    waiting = [number for number, change in enumerate(changes) if only_shows(change)]
    while waiting:
        # What shows may come from something else that only shows, and so on.
        found = {number: cause for number in waiting if (cause := _cause_on_mesh(number, changes, causes)) is not None}
        causes |= found or {number: ("alone", number) for number in waiting}
        waiting = [number for number in waiting if number not in causes]
    groups: dict[object, list[JudgedChange]] = {}
    for number, cause in causes.items():
        groups.setdefault(cause, []).append(changes[number])
    merged = _alike([ReviewEntry(tuple(group)) for group in groups.values()])
    return tuple(sorted(merged, key=lambda entry: (entry.section, entry.harm)))


def _cause(change: JudgedChange, number: int) -> object:
    """What the cause of a change is known by: the place of its declaration, or the two names of what says the same."""
    fact = change.facts[0]
    if fact.like is not None and not _made_elsewhere(change):
        return change.character, fact.table, frozenset((fact.declared, fact.like))
    if change.place is None or (fact.table in _ALONE and fact.kind != "character"):
        return "alone", number
    # What is gone stood in the old text, where the same place may have been another declaration's.
    return change.place.source.path, change.place.start, change.is_gone


def _made_elsewhere(change: JudgedChange) -> bool:
    """Whether a change was made in a `use`, a family or an argument: a declaration's own place is its name."""
    place = change.place
    return place is not None and " " in place.source.text[place.start : place.end]


def _cause_on_mesh(number: int, changes: Sequence[JudgedChange], causes: Mapping[int, object]) -> object | None:
    """The cause of what only shows on the mesh: that of a change of what it is computed from, by name."""
    change = changes[number]
    named = {name for fact in change.facts for one in (fact.old, fact.new) for name in _texts_in(one)}
    own = [(changes[other], cause) for other, cause in causes.items() if changes[other].character == change.character]
    for table in _CAUSES:
        for one, cause in own:
            facts = [fact for fact in one.facts if fact.table == table]
            if any({fact.name, getattr(fact.old, "name", None)} & named for fact in facts):
                return cause
    # The model itself.
    return next((cause for one, cause in own if one.kind in ("file", "character", "joints")), None)


def _texts_in(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple):
        for item in value:
            yield from _texts_in(item)


def _alike(entries: Iterable[ReviewEntry]) -> Iterator[ReviewEntry]:
    """Entries of several characters that say the same of each, in one."""
    groups: dict[object, list[ReviewEntry]] = {}
    for entry in entries:
        said = {(one.kind, one.what, one.title, one.verdicts, one.hint) for one in entry.changes}
        groups.setdefault(frozenset(said), []).append(entry)
    for group in groups.values():
        while group:
            together: list[ReviewEntry] = []
            met: set[str] = set()
            for entry in group:
                if not met & set(entry.characters):
                    together.append(entry)
                    met |= set(entry.characters)
            group[:] = [entry for entry in group if entry not in together]
            yield ReviewEntry(tuple(change for entry in together for change in entry.changes))
