"""What differs between two rigs, by declared identity (kind, declared name, side), never by position or likeness.

The records are walked generically, field by field, so that a field that is added to the rig cannot be forgotten here.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from typing import Any, Final, Literal, NamedTuple

from plica.diff.renaming import Renamed, declared_names, rewritten, tables_of
from plica.kinds.expectations import expectation_kind
from plica.rig.offsets_table import OffsetsTable, ShapeOffsets
from plica.rig.rig import OF_THE_BUILD, Expectation, Pose, Rig
from plica.rig.strengths import Sample
from plica.rounding import places_of

What = Literal["added", "removed", "renamed", "changed"]
Record = Any  # one of the named tuples of `plica.rig`

# What an entry of each list is called; strengths say so themselves.
_KINDS = {
    "skeleton": "joint",
    "controls": "control",
    "fields": "field",
    "regions": "region",
    "shapes": "shape",
    "details": "detail",
    "folds": "fold",
    "poses": "pose",
    "expectations": "expect",
    "aliases": "alias",
}
FILES: Final = "files"
"""The table of the files that rigs name, which no rig holds; so are those that follow."""
ACCEPTS: Final = "accepts"
"""The table of the warnings and notes that are accepted in texts."""
FINDINGS: Final = "findings"
"""The table of what building finds on the mesh."""
PROJECT: Final = "project"
"""The table of what a `plica.toml` says."""
TEXTS: Final = "texts"
"""The table of texts: of what they say that is in no rig, or whose rig cannot be made."""
DECLARED: Final = frozenset((*_KINDS, "strengths", "offsets"))
"""The rig's fields whose entries have a declaration of their own, or are a joint."""
_COMPUTED: Final = frozenset({"axis", "weights", "toward", "along", "rotation", "frame"})
"""Vectors and turns in a joint's frame, which are rounded (`plica.rounding`): where a number lies in the middle between
two rounded ones, texts that say the same in other words may give either."""
_LAST: Final = 1.5  # units of the last digit
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


class Difference(NamedTuple):
    """One entry that was added, removed, renamed or changed.

    `table` is the rig's field that the entry stands in, `kind` what people call it, `name` its output name (the new
    one, where there is one). `old` or `new` is None for what was added or removed; else `fields` are the differences.
    `like` names an entry on the other side of the comparison that says the same under another name.
    """

    what: What
    table: str
    kind: str
    declared: str
    side: str
    name: str
    old: Record
    new: Record
    fields: tuple[FieldChange, ...] = ()
    like: str | None = None

    @property
    def entry(self) -> Record:
        """The new entry, or the old one where there is none."""
        return self.old if self.new is None else self.new


class _EntryPair(NamedTuple):
    table: str
    old: Record
    new: Record


def facts(old: Rig, new: Rig) -> tuple[Difference, ...]:
    """Everything that differs, in the order of the rig's fields and then of the entries' identities."""
    pairs = _named_pairs(old, new)
    renamed = _renamed(pairs)
    pairs += [_EntryPair("expectations", *pair) for pair in _expectations(_rewritten(old.expectations, renamed), new)]
    pairs += [_EntryPair("offsets", *pair) for pair in _offsets(old.offsets, new.offsets, renamed)]
    naming = _Naming(old, new)
    result = [fact for pair in pairs if (fact := _fact(pair, renamed, naming)) is not None]
    return tuple(_with_likenesses(result))


def _rewritten(entries: Iterable[Record], renamed: Renamed) -> tuple[Record, ...]:
    return tuple(rewritten(item, renamed) for item in entries) if renamed else tuple(entries)


class _Naming:
    """What entries without a declared name of their own are called: those of the new rig first, then of the old."""

    def __init__(self, old: Rig, new: Rig) -> None:
        before, after = declared_names(old), declared_names(new)
        self._declared = {table: {**before[table], **after[table]} for table in before}
        self._sides = {shape.name: shape.side for shape in (*old.shapes, *new.shapes)}

    def expectation(self, item: Expectation) -> str:
        """An expectation without its limit and poses, which may be what changed: `volume of forearm`."""
        words: list[str] = [expectation_kind(item.kind).words]
        known = self._declared[tables_of(item, "of")[0]]
        if item.of:
            words.append(f"of {', '.join(known.get(name, name) for name in item.of)}")
        if item.against:
            words.append(f"from {self._declared['regions'].get(item.against, item.against)}")
        return " ".join(words)

    def shape(self, name: str) -> tuple[str, str]:
        """The declared name and the side of a shape."""
        return self._declared["shapes"].get(name, name), self._sides.get(name, "none")


# ---- pairs --------------------------------------------------------------------------------------------


def _named_pairs(old: Rig, new: Rig) -> list[_EntryPair]:
    """Old and new entries of all that has a name; fields come before the strengths of their samples."""
    pairs: list[_EntryPair] = []
    fields: dict[str, str] = {}
    for table in Rig._fields:
        before, after = getattr(old, table), getattr(new, table)
        if table in ("expectations", "offsets", *OF_THE_BUILD):
            continue  # the first two are paired by other means
        if table in _KINDS or table == "strengths":
            listed = [_EntryPair(table, *pair) for pair in _by_identity(before, after, fields)]
            if table == "fields":
                fields = {one.new.name: one.old.name for one in listed if one.old and one.new}
            pairs += listed
        else:
            pairs.append(_EntryPair(table, before, after))
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
    result: dict[tuple[Hashable, ...], Record] = {}
    for entry in entries:
        key = identity(entry)
        while key in result:
            key = (*key, "again")
        result[key] = entry
    return result


def renamed_entries(old: Rig, new: Rig) -> Renamed:
    """For each list, the new output names of the old ones that differ."""
    return _renamed(_named_pairs(old, new))


def _renamed(pairs: list[_EntryPair]) -> Renamed:
    """For each list, the new output names of the old ones that differ."""
    renamed: dict[str, dict[str, str]] = {}
    for table, old, new in pairs:
        if table in _KINDS or table == "strengths":
            names = getattr(old, "name", None), getattr(new, "name", None)
            if None not in names and names[0] != names[1]:
                renamed.setdefault(table, {})[str(names[0])] = str(names[1])
    return renamed


# ---- entries without names ------------------------------------------------------------------------------


def _expectations(old: tuple[Expectation, ...], rig: Rig) -> list[tuple[Expectation | None, Expectation | None]]:
    """Pairs of the same measure of the same things: over the same poses, else where there is one of each; last, where
    there is one of each, whatever uv set and border it is measured with.
    """
    pairs: list[tuple[Expectation | None, Expectation | None]] = []
    before, after = list(old), list(rig.expectations)
    for parts, alone in ((_all_but_words, False), (_all_but_limit, False), (_measured, True), (_what_and_where, True)):
        result, before, after = _matched(before, after, parts, alone)
        pairs += result
    return [*pairs, *((None, item) for item in after), *((item, None) for item in before)]


def _matched(
    before: list[Expectation], after: list[Expectation], key: Callable[[Expectation], Hashable], alone: bool
) -> tuple[list[tuple[Expectation | None, Expectation | None]], list[Expectation], list[Expectation]]:
    """Pairs with the same key, and what is left; `alone`: only where each side has the key once."""
    groups: dict[Hashable, tuple[list[Expectation], list[Expectation]]] = {}
    for side, items in enumerate((before, after)):
        for item in items:
            groups.setdefault(key(item), ([], []))[side].append(item)
    pairs: list[tuple[Expectation | None, Expectation | None]] = []
    rest_before: list[Expectation] = []
    rest_after: list[Expectation] = []
    for old, new in groups.values():
        count = 0 if alone and not len(old) == len(new) == 1 else min(len(old), len(new))
        pairs.extend(zip(old[:count], new[:count], strict=True))
        rest_before += old[count:]
        rest_after += new[count:]
    return pairs, rest_before, rest_after


def _measured(item: Expectation) -> tuple[Hashable, ...]:
    return item.kind, item.side, item.of, item.against, item.uv, item.border


def _what_and_where(item: Expectation) -> Hashable:
    return item.kind, item.side, item.of, item.against


def _all_but_limit(item: Expectation) -> Hashable:
    return (*_measured(item), item.over, item.over_clips, item.over_poses, item.over_everything)


def _all_but_words(item: Expectation) -> Hashable:
    return _all_but_limit(item), item.limit, item.share


def _offsets(
    old: OffsetsTable | None, new: OffsetsTable | None, renamed: Renamed
) -> Iterator[tuple[Record | None, Record | None]]:
    """The table without its shapes, and the shapes of it by name."""
    if old is None or new is None:
        yield old, new
        return
    yield old._replace(shapes=()), new._replace(shapes=())
    before, after = _identified(_rewritten(old.shapes, renamed)), _identified(new.shapes)
    for name in dict.fromkeys((*before, *after)):
        yield before.get(name), after.get(name)


# ---- fields ---------------------------------------------------------------------------------------------


def differences(old: Any, new: Any, path: str = "") -> Iterator[FieldChange]:
    """Every field that differs: records of one type and lists of as many records are walked, all else is a value."""
    if old is new or (type(old) is type(new) and old == new):
        return
    if type(old) is type(new) and hasattr(old, "_fields"):
        for name, before, after in zip(old._fields, old, new, strict=True):
            yield from differences(before, after, f"{path}.{name}" if path else name)
    elif _are_lists_of_records(old, new):
        for index, (before, after) in enumerate(zip(old, new, strict=True)):
            yield from differences(before, after, f"{path}[{index}]")
    elif not (_are_numbers(old, new) and old == new) and not _is_rounding(path, old, new):
        yield FieldChange(path, old, new)


def _are_numbers(old: Any, new: Any) -> bool:
    return isinstance(old, float | int) and isinstance(new, float | int)


def _is_rounding(path: str, old: Any, new: Any) -> bool:
    """Whether computed numbers differ by no more than the last digit that they are rounded to."""
    if path.split(".")[-1] not in _COMPUTED or not (isinstance(old, tuple) and isinstance(new, tuple)):
        return False
    numbers = (*old, *new)
    if len(old) != len(new) or not all(isinstance(one, float) for one in numbers):
        return False
    unit = 10.0 ** -places_of(numbers)
    return all(abs(before - after) <= _LAST * unit for before, after in zip(old, new, strict=True))


def _are_lists_of_records(old: Any, new: Any) -> bool:
    return (
        type(old) is type(new) is tuple
        and len(old) == len(new)
        and all(hasattr(item, "_fields") for item in (*old, *new))
    )


def _fact(pair: _EntryPair, renamed: Renamed, naming: _Naming) -> Difference | None:
    table, old, new = pair
    if old is new or (type(old) is type(new) and old == new and not renamed):
        return None
    called = _called(pair, naming)
    if old is None or new is None:
        return Difference("added" if old is None else "removed", *called, old, new)
    before = rewritten(old, renamed) if renamed else old
    result = tuple(_differences_of(before, new, table))
    if _identity_changed(old, new, table):
        return Difference(
            "renamed", *called, old, new, tuple(one for one in result if one.path not in ("name", "declared"))
        )
    return Difference("changed", *called, old, new, result) if result else None


def _differences_of(before: Record, new: Record, table: str) -> Iterator[FieldChange]:
    """The fields that differ; the parts of a pose are one value, because none of them has an identity of its own."""
    result = differences(before, new, "" if hasattr(new, "_fields") else table)
    if not isinstance(new, Pose):
        yield from result
        return
    yield from (one for one in result if one.first != "items")
    if before.items != new.items:
        yield FieldChange("items", before.items, new.items)


def _identity_changed(old: Record, new: Record, table: str) -> bool:
    if table == "details":
        return bool(old.name != new.name)
    return hasattr(new, "declared") and identity(old) != identity(new)


def _called(pair: _EntryPair, naming: _Naming) -> tuple[str, str, str, str, str]:
    """Table, kind, declared name, side and output name of a pair."""
    table, entry = pair.table, pair.old if pair.new is None else pair.new
    if isinstance(entry, ShapeOffsets):
        return table, "offsets", *naming.shape(entry.shape), entry.shape
    if isinstance(entry, Expectation):
        return table, "expect", naming.expectation(entry), entry.side, naming.expectation(entry)
    if table not in _KINDS and table != "strengths":
        name = str(entry.name) if table == "character" else table
        return table, "character" if table == "character" else "rig", name, "none", name
    name = str(getattr(entry, "name", entry[0]))
    side = "none" if table == "skeleton" else str(getattr(entry, "side", "none"))
    kind = str(entry.kind) if table == "strengths" else _KINDS[table]
    return table, kind, str(getattr(entry, "declared", name)), side, name


# ---- hints ------------------------------------------------------------------------------------------------


def _with_likenesses(result: list[Difference]) -> Iterator[Difference]:
    """Facts, with a hint where something was removed and the same was added under another name."""
    removed: dict[Hashable, list[Difference]] = {}
    for fact in result:
        if fact.what == "removed" and fact.table != "expectations":
            removed.setdefault(_contents(fact), []).append(fact)
    likenesses: dict[tuple[str, str], str] = {}
    for fact in result:
        if fact.what == "added" and (same := removed.get(_contents(fact))):
            partner = same.pop(0)
            likenesses[(partner.table, partner.name)] = fact.declared
            likenesses[(fact.table, fact.name)] = partner.declared
    for fact in result:
        like = likenesses.get((fact.table, fact.name)) if fact.what in ("added", "removed") else None
        yield fact if like is None else fact._replace(like=like)


def _contents(fact: Difference) -> Hashable:
    """All that an entry says but its names and what is said about it."""
    entry = fact.entry
    if not hasattr(entry, "_fields"):
        return fact.table, entry
    kept = tuple(value for name, value in zip(entry._fields, entry, strict=True) if name not in _WORDS_FOR_PEOPLE)
    return fact.table, type(entry).__name__, kept
