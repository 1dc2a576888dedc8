"""What differs between two rigs, by declared identity (kind, declared name, side), never by position or likeness.

The records are walked generically, field by field, so that a field that is added to the rig cannot be forgotten here.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from typing import Any, Literal, NamedTuple

from plica.diff.renaming import FIRST_PLACE, Renamed, rewritten
from plica.rig.model import Expectation, Rig, Sample

What = Literal["added", "removed", "renamed", "changed"]
Record = Any  # one of the named tuples of `plica.rig.model` and `plica.values`

# What an entry of each list is called; strengths say so themselves.
_KINDS = {
    "skeleton": "joint",
    "controls": "control",
    "fields": "field",
    "regions": "region",
    "shapes": "shape",
    "details": "detail",
    "folds": "fold",
    "expectations": "expect",
    "aliases": "alias",
}
_RECORDS_OF_THEIR_OWN = ("character", "symmetry", "offsets")
_WORDS_FOR_PEOPLE = frozenset({"name", "declared", "about"})


class FieldChange(NamedTuple):
    """One field: `path` as in `curve.points` or `inbetweens[0].at`, and both values (None also where there is none)."""

    path: str
    old: Any
    new: Any

    @property
    def first(self) -> str:
        """The field of the entry that this belongs to."""
        return self.path.split(".")[0].split("[")[0]


class Fact(NamedTuple):
    """One entry that was added, removed, renamed or changed.

    `table` is the rig's field that the entry stands in, `kind` what people call it, `name` its output name (the new
    one, where there is one). `fields` are the differences, and none for what was added or removed. `like` names an
    entry on the other side of the comparison that says the same under another name.
    """

    what: What
    table: str
    kind: str
    declared: str
    side: str
    name: str
    old: Record | None
    new: Record | None
    fields: tuple[FieldChange, ...] = ()
    like: str | None = None

    @property
    def entry(self) -> Record:
        """The new entry, or the old one where there is none."""
        return self.old if self.new is None else self.new


class _Pair(NamedTuple):
    table: str
    old: Record | None
    new: Record | None


def facts(old: Rig, new: Rig) -> tuple[Fact, ...]:
    """Everything that differs, in the order of the rig's fields and then of the entries' identities."""
    pairs = _named_pairs(old, new)
    renamed = _renamed(pairs)
    old_expectations = tuple(rewritten(item, renamed) for item in old.expectations) if renamed else old.expectations
    pairs += [_Pair("expectations", *pair) for pair in _expectations(old_expectations, new.expectations)]
    found = [fact for pair in pairs if (fact := _fact(pair, renamed)) is not None]
    return tuple(_with_likenesses(found))


def _kind(pair: _Pair) -> str:
    entry = pair.old if pair.new is None else pair.new
    if pair.table == "strengths":
        return str(entry.kind)
    return _KINDS.get(pair.table, pair.table)


# ---- pairs --------------------------------------------------------------------------------------------


def _named_pairs(old: Rig, new: Rig) -> list[_Pair]:
    """Old and new entries of everything but expectations; fields before the strengths of their samples."""
    pairs: list[_Pair] = []
    fields: dict[str, str] = {}
    for table in Rig._fields:
        before, after = getattr(old, table), getattr(new, table)
        if table == "expectations":
            continue
        if isinstance(before, tuple) and not hasattr(before, "_fields") or type(after) is tuple:
            listed = [_Pair(table, *pair) for pair in _by_identity(before or (), after or (), fields)]
            if table == "fields":
                fields = {one.new.name: one.old.name for one in listed if one.old and one.new}
            pairs += listed
        else:
            pairs.append(_Pair(table, before, after))
    return pairs


def identity(entry: Record) -> tuple[Hashable, ...]:
    """What an entry is known by: its declared name and side, or the name that is its first field."""
    declared = getattr(entry, "declared", None)
    return (entry[0],) if declared is None else (declared, entry.side)


def _by_identity(
    old: tuple[Record, ...], new: tuple[Record, ...], fields: Mapping[str, str]
) -> list[tuple[Record | None, Record | None]]:
    """Pairs by identity; then, where one says what it was called, by its former name."""
    before, after = _identified(old), _identified(new)
    gone = {entry.name: key for key, entry in before.items() if key not in after and hasattr(entry, "name")}
    pairs: list[tuple[Record | None, Record | None]] = []
    taken = set()
    for key, entry in after.items():
        partner = before.get(key)
        if partner is None and (former := gone.get(_former_name(entry, fields, before) or "")) is not None:
            partner = before[former]
            taken.add(former)
            gone.pop(partner.name)
        pairs.append((partner, entry))
    pairs += [(entry, None) for key, entry in before.items() if key not in after and key not in taken]
    return pairs


def _former_name(entry: Record, fields: Mapping[str, str], before: Mapping[Any, Record]) -> str | None:
    """The output name that an entry says it had; a sample's is that of the same sample of its field, renamed."""
    if isinstance(entry, Sample):
        field = fields.get(entry.field)
        if field is None or field == entry.field:
            return None
        same = (item for item in before.values() if isinstance(item, Sample))
        return next((item.name for item in same if item.field == field and item.sample == entry.sample), None)
    about = getattr(entry, "about", None)
    return None if about is None else about.renamed_from


def _identified(entries: tuple[Record, ...]) -> dict[tuple[Hashable, ...], Record]:
    """Entries by identity; in a rig made by hand, one that is met again has a number of its own."""
    found: dict[tuple[Hashable, ...], Record] = {}
    for entry in entries:
        key = identity(entry)
        while key in found:
            key = (*key, "again")
        found[key] = entry
    return found


def _renamed(pairs: list[_Pair]) -> Renamed:
    """For each list, the new output names of the old ones that differ."""
    renamed: dict[str, dict[str, str]] = {}
    for table, old, new in pairs:
        if old is None or new is None or not hasattr(old, "declared"):
            if table != "details" or old is None or new is None:
                continue
        if old.name != new.name:
            renamed.setdefault(table, {})[old.name] = new.name
    return renamed


# ---- expectations have no names --------------------------------------------------------------------------


def _expectations(
    old: tuple[Expectation, ...], new: tuple[Expectation, ...]
) -> list[tuple[Expectation | None, Expectation | None]]:
    """Pairs of the same measure of the same things: over the same poses if possible, else where there is one of each."""
    pairs: list[tuple[Expectation | None, Expectation | None]] = []
    before, after = list(old), list(new)
    for parts in (_all_but_words, _all_but_limit):
        waiting: dict[Hashable, list[Expectation]] = {}
        for item in before:
            waiting.setdefault(parts(item), []).append(item)
        unmatched = []
        for item in after:
            partners = waiting.get(parts(item))
            if partners:
                pairs.append((partners.pop(0), item))
            else:
                unmatched.append(item)
        before, after = [item for items in waiting.values() for item in items], unmatched
    for item in tuple(after):
        same_old = [other for other in before if _measured(other) == _measured(item)]
        same_new = [other for other in after if _measured(other) == _measured(item)]
        if len(same_old) == len(same_new) == 1:
            pairs.append((same_old[0], item))
            before.remove(same_old[0])
            after.remove(item)
    return [*pairs, *((None, item) for item in after), *((item, None) for item in before)]


def _measured(item: Expectation) -> Hashable:
    return item.kind, item.side, item.of, item.against


def _all_but_limit(item: Expectation) -> Hashable:
    return (*item[:4], item.over, item.over_clips, item.over_everything)


def _all_but_words(item: Expectation) -> Hashable:
    return (*_all_but_limit(item), item.limit) if isinstance(item.limit, float | int | None) else repr(item)


def described(item: Expectation) -> str:
    """An expectation in a few words, without its limit, which may be what changed: `volume of forearm over elbow`."""
    words: list[str] = [item.kind]
    if item.of:
        words.append(f"of {', '.join(item.of)}")
    if item.against:
        words.append(f"from {item.against}")
    return " ".join(words)


# ---- fields ---------------------------------------------------------------------------------------------


def differences(old: Any, new: Any, path: str = "") -> Iterator[FieldChange]:
    """Every field that differs. Records of one type and lists of records of one length are walked; all else is a value."""
    if old is new or (type(old) is type(new) and old == new):
        return
    if type(old) is type(new) and hasattr(old, "_fields"):
        for name, before, after in zip(old._fields, old, new, strict=True):
            yield from differences(before, after, f"{path}.{name}" if path else name)
    elif _are_lists_of_records(old, new):
        for index, (before, after) in enumerate(zip(old, new, strict=True)):
            yield from differences(before, after, f"{path}[{index}]")
    elif not (isinstance(old, float | int) and isinstance(new, float | int) and old == new):
        yield FieldChange(path, old, new)


def _are_lists_of_records(old: Any, new: Any) -> bool:
    return (
        type(old) is type(new) is tuple
        and len(old) == len(new)
        and all(hasattr(item, "_fields") for item in (*old, *new))
    )


def _fact(pair: _Pair, renamed: Renamed) -> Fact | None:
    table, old, new = pair
    if old is new or (type(old) is type(new) and old == new and not renamed):
        return None
    entry = old if new is None else new
    kind = _kind(pair)
    single = table in _RECORDS_OF_THEIR_OWN or not hasattr(entry, "_fields")
    if single:
        name = declared = table if table != "character" or entry is None else str(entry.name)
    elif isinstance(entry, Expectation):
        name = declared = described(entry)
    else:
        name = str(getattr(entry, "name", entry[0]))
        declared = str(getattr(entry, "declared", name))
    side = "none" if single or table == "skeleton" else str(getattr(entry, "side", "none"))
    start = (table, kind, declared, side, name, old, new)
    if old is None or new is None:
        if table == FIRST_PLACE:
            return Fact("changed", *start, (FieldChange("", old, new),))
        return Fact("added" if old is None else "removed", *start)
    before = rewritten(old, renamed) if renamed and hasattr(old, "_fields") and table != "expectations" else old
    found = tuple(differences(before, new, "" if hasattr(new, "_fields") else table))
    if not single and getattr(old, "declared", declared) != declared or (table == "details" and old.name != new.name):
        return Fact("renamed", *start, tuple(one for one in found if one.path not in ("name", "declared")))
    return Fact("changed", *start, found) if found else None


# ---- hints ------------------------------------------------------------------------------------------------


def _with_likenesses(found: list[Fact]) -> Iterator[Fact]:
    """Facts, with a hint where something was removed and the same was added under another name."""
    removed: dict[Hashable, list[Fact]] = {}
    for fact in found:
        if fact.what == "removed" and fact.table != "expectations":
            removed.setdefault(_contents(fact), []).append(fact)
    likenesses: dict[tuple[str, str], str] = {}
    for fact in found:
        if fact.what == "added" and (same := removed.get(_contents(fact))):
            partner = same.pop(0)
            likenesses[(partner.table, partner.name)] = fact.declared
            likenesses[(fact.table, fact.name)] = partner.declared
    for fact in found:
        like = likenesses.get((fact.table, fact.name)) if fact.what in ("added", "removed") else None
        yield fact if like is None else fact._replace(like=like)


def _contents(fact: Fact) -> Hashable:
    """All that an entry says but its names and what is said about it."""
    entry = fact.entry
    if not hasattr(entry, "_fields"):
        return fact.table, entry
    kept = tuple(value for name, value in zip(entry._fields, entry, strict=True) if name not in _WORDS_FOR_PEOPLE)
    return fact.table, type(entry).__name__, kept
