"""An entry in words, for every form that people read: whom and what it touches, what is said of it, what it reaches."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Final, NamedTuple

from plica.diff.entries import ReviewEntry
from plica.diff.geometry import ShapeEffect
from plica.diff.judged_change import JudgedChange
from plica.diff.neutral_moves import NeutralEffect
from plica.diff.verdicts import REACHES, Verdict

EVERYTHING: Final = 1_000_000
"""As many of anything as there are."""
OLD_TEXT: Final = " in the old text"
"""What follows a place where something stood that is gone."""
_NAMES = 6  # of one kind, of characters or of users that are listed by name
_STATEMENTS = 2  # of one kind and rule that are told of different declarations
_PLACES = 1


class EntryStatement(NamedTuple):
    """One thing that is said of an entry.

    `exact`: the same with the numbers of joints' own frames, or nothing; `lines`: of texts, that are gone and new.
    """

    text: str
    exact: str
    lines: tuple[str, ...] = ()


class EntryText(NamedTuple):
    """An entry in words; `who` and `hint` may be empty."""

    who: str
    what: str
    places: tuple[str, ...]
    statements: tuple[EntryStatement, ...]
    reaches: str
    hint: str

    @property
    def title(self) -> str:
        """`wren: driver elbow (both sides)`."""
        return f"{self.who}: {self.what}" if self.who else self.what


def entry_text(entry: ReviewEntry, several: bool, whole: bool = False) -> EntryText:
    """An entry in words; `several`: whether characters have to be named; `whole`: with all names, however many."""
    most = EVERYTHING if whole else _NAMES
    marked = zip(entry.places, entry.gone, strict=True)
    places = [f"{place.place}{OLD_TEXT if is_gone else ''}" for place, is_gone in marked]
    if not whole and len(places) > _PLACES:
        places = [*places[:_PLACES], f"and {len(places) - _PLACES} more"]
    return EntryText(
        _listed(entry.characters, most) if several else "",
        "; ".join(f"{kind} {_listed(_names(group), most)}" for kind, group in _by_kind(entry.changes).items()),
        tuple(places),
        tuple(_statements(entry, EVERYTHING if whole else _STATEMENTS)),
        _reaches(entry, most),
        next((change.hint for change in entry.changes if change.hint), ""),
    )


def _by_kind(changes: Iterable[JudgedChange]) -> dict[str, list[JudgedChange]]:
    groups: dict[str, list[JudgedChange]] = {}
    for change in changes:
        groups.setdefault(change.kind, []).append(change)
    return groups


def _names(changes: Sequence[JudgedChange]) -> list[str]:
    """Declared names, each once, with its side where not both sides are touched."""
    sides: dict[str, dict[str, None]] = {}
    for change in changes:
        sides.setdefault(change.declared, {}).update(dict.fromkeys(change.sides))
    both = all({*found} == {"left", "right"} for found in sides.values())
    names = [name if both else f"{name}{_sides(found)}" for name, found in sides.items()]
    return [*names[:-1], f"{names[-1]} (both sides)"] if both else names


def _sides(sides: Iterable[str]) -> str:
    told = [side for side in ("left", "right") if side in sides]
    if len(told) == 2:
        return " (both sides)"
    return f" ({told[0]})" if told else ""


def _listed(names: Sequence[str], most: int) -> str:
    """Names; of many only the first, and how many there are."""
    if len(names) <= most:
        return ", ".join(names)
    return f"{', '.join(names[: most - 1])} and {len(names) - most + 1} more"


# ---- what is said ----------------------------------------------------------------------------------------------


def _statements(entry: ReviewEntry, most: int) -> Iterator[EntryStatement]:
    kinds = _by_kind(entry.changes)
    for kind, changes in kinds.items():
        for said in _by_rule(changes).values():
            texts = sorted(said.items(), key=lambda item: (item[0].harm, -max(map(_weight, item[1]))))
            for verdict, of in texts[:most]:
                about = "" if len(of) == len(changes) else _about(of, changes)
                text = _prefixed(kind if len(kinds) > 1 else "", about, verdict.text)
                yield EntryStatement(text, verdict.exact, verdict.lines)
            if len(texts) > most:
                rest = sum(len(of) for _, of in texts[most:])
                less = ", none by more" if _weight(texts[0][1][0]) > 0.0 else ""
                yield EntryStatement(_prefixed(kind if len(kinds) > 1 else "", "", f"and {rest} more{less}"), "")


def _by_rule(changes: Iterable[JudgedChange]) -> dict[str, dict[Verdict, list[JudgedChange]]]:
    """What is said under each rule, and of which changes."""
    said: dict[str, dict[Verdict, list[JudgedChange]]] = {}
    for change in changes:
        for verdict in change.verdicts:
            said.setdefault(verdict.rule, {}).setdefault(verdict, []).append(change)
    return said


def _about(changes: Sequence[JudgedChange], everything: Sequence[JudgedChange]) -> str:
    """Of which changes something is said: their names, and their characters where others of these names differ."""
    titles = {change.title for change in changes}
    others = {change.character for change in everything if change.title in titles}
    characters = tuple(dict.fromkeys(change.character for change in changes))
    names = _listed(_names(changes), _NAMES)
    return f"{names} of {_listed(characters, _NAMES)}" if set(characters) != others else names


def _prefixed(kind: str, about: str, text: str) -> str:
    head = " ".join(part for part in (kind, about) if part)
    return f"{head}: {text}" if head else text


def _weight(change: JudgedChange) -> float:
    """How much a change does, to put alike ones in order."""
    sizes = [0.0 if change.effect is None else change.effect.largest]
    for effect in change.geometry:
        if isinstance(effect, ShapeEffect | NeutralEffect):
            sizes.append(effect.largest or 0.0)
        elif effect is not None:
            sizes.append(effect.differs or 0.0)
    return max(sizes)


def _reaches(entry: ReviewEntry, most: int) -> str:
    """`reaches strengths; used by shape swell, fold lines`."""
    reached = {reach for change in entry.changes for reach in change.reaches}
    text = f"reaches {', '.join(reach for reach in REACHES if reach in reached)}"
    own = {f"{change.kind} {change.declared}" for change in entry.changes}
    used_by = [user for change in entry.changes for user in change.used_by]
    users = [user for user in dict.fromkeys(used_by) if user not in own]
    return f"{text}; used by {_listed(users, most)}" if users else text
