"""The whole comparison: characters matched, facts judged, what is alike on both sides told once, all added up."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import NamedTuple

from plica.diff.effects import Effect
from plica.diff.facts import Fact, FieldChange, facts
from plica.diff.judge import NAMES, REACHES, Harm, Judge, Judged, Plot, Verdict
from plica.diff.uses import files_of
from plica.rig.json import plain
from plica.rig.model import Rig
from plica.source import Span

_SIDES = {"left": 0, "right": 1, "none": 2}
_WORD = re.compile(r"\w+")
_STEPS = {Harm.BREAKING: "major", Harm.RISKY: "minor", Harm.SAFE: "minor", Harm.COSMETIC: "patch"}
FINGERPRINT_DIGITS = 16

Origins = Mapping[tuple[str, str], Span]


class Version(NamedTuple):
    """One state of a character.

    `path` is what the user calls its file; `origins` tells where entries were declared (`character` too) and is empty
    for a built rig; `contents` has a digest of every file that the rig names and that could be read.
    """

    path: str
    rig: Rig
    origins: Origins = MappingProxyType({})
    contents: Mapping[str, str] = MappingProxyType({})


class Change(NamedTuple):
    """What one declaration's change does to a character, on one side or alike on both.

    `place` is where it is declared: in the new text, or in the old one where it is gone. `used_by` are the entries that
    a changed strength reaches. `fingerprint` stays while the change says the same, whatever changes beside it.
    """

    character: str
    kind: str
    declared: str
    what: str
    sides: tuple[str, ...]
    harm: Harm
    reaches: tuple[str, ...]
    verdicts: tuple[Verdict, ...]
    facts: tuple[Fact, ...]
    fingerprint: str
    place: Span | None = None
    effect: Effect | None = None
    plot: Plot | None = None
    used_by: tuple[str, ...] = ()
    hint: str | None = None

    @property
    def title(self) -> str:
        """`driver elbow (both sides)`."""
        sides = {("none",): "", ("left", "right"): " (both sides)"}.get(self.sides, f" ({', '.join(self.sides)})")
        return f"{self.kind} {self.declared}{sides}"


class Cause(NamedTuple):
    """One declaration whose change shows in several places: the line of a library, or of a family."""

    place: Span
    touches: tuple[tuple[str, str], ...]  # character, title


class Accepted(NamedTuple):
    """A change that was agreed to, and why."""

    change: Change
    reason: str


class Report(NamedTuple):
    """Every change, the worst first; `accepted` ones count for nothing."""

    characters: tuple[str, ...]
    changes: tuple[Change, ...]
    accepted: tuple[Accepted, ...] = ()

    @property
    def step(self) -> str:
        """The version step that the changes ask for: `major`, `minor`, `patch` or `none`."""
        return _STEPS[min(change.harm for change in self.changes)] if self.changes else "none"

    @property
    def causes(self) -> tuple[Cause, ...]:
        """Declarations whose change shows more than once, by place."""
        met: dict[tuple[str, int], list[Change]] = {}
        for change in self.changes:
            if change.place is not None:
                met.setdefault((change.place.source.path, change.place.start), []).append(change)
        causes = []
        for _, changes in sorted(met.items()):
            touches = tuple(dict.fromkeys((change.character, change.title) for change in changes))
            if len(touches) > 1 and changes[0].place is not None:
                causes.append(Cause(changes[0].place, touches))
        return tuple(causes)


def compare(old: Mapping[str, Version], new: Mapping[str, Version]) -> Report:
    """Compare characters under the same key (a relative path; one key for two single files)."""
    changes: list[Change] = []
    names = []
    for key in sorted({*old, *new}):
        before, after = old.get(key), new.get(key)
        if before is not None and after is not None:
            changes += _compared(before, after)
        else:
            changes.append(_alone(before, after))
        either = after or before
        assert either is not None
        names.append(either.rig.character.name)
    ordered = sorted(changes, key=lambda change: change.harm)
    return Report(tuple(dict.fromkeys(names)), tuple(ordered))


def with_accepted(report: Report, reasons: Mapping[str, str]) -> Report:
    """The report with the changes of these fingerprints taken out."""
    left = tuple(change for change in report.changes if change.fingerprint not in reasons)
    accepted = tuple(
        Accepted(change, reasons[change.fingerprint]) for change in report.changes if change.fingerprint in reasons
    )
    return report._replace(changes=left, accepted=accepted)


def _alone(before: Version | None, after: Version | None) -> Change:
    """A whole character that came or went."""
    version = after or before
    assert version is not None
    name = version.rig.character.name
    what, harm = ("added", Harm.SAFE) if before is None else ("removed", Harm.BREAKING)
    text = "a whole character, new" if before is None else "the whole character is gone"
    old, new = (None if one is None else one.rig.character for one in (before, after))
    fact = Fact("added" if before is None else "removed", "character", "character", name, "none", name, old, new)
    verdict = Verdict(what, harm, (NAMES,), text)
    place = version.origins.get(("character", name))
    return _change(name, [Judged(fact, (verdict,))], (verdict,), place, ())


def _compared(before: Version, after: Version) -> list[Change]:
    old, new = before.rig, after.rig
    judge = Judge(old, new)
    judged = [judge.judged(fact) for fact in (*facts(old, new), *_files(before, after))]
    changes = []
    said_once = _said_once(old, new) if judged else {}
    for alike in _alike(judged, said_once):
        fact = alike[0].fact
        verdicts = alike[0].verdicts
        if len(alike) > 1:
            verdicts = tuple(one._replace(text=_general(one.text, said_once)) for one in verdicts)
        used_by: tuple[str, ...] = ()
        if fact.table == "strengths" and fact.new is not None:
            used_by = tuple(dict.fromkeys(user for one in alike for user in judge.uses.of_strength(one.fact.name)))
            used_by = tuple(dict.fromkeys(_general(user, said_once) for user in used_by)) if len(alike) > 1 else used_by
        changes.append(_change(new.character.name, alike, verdicts, _place(fact, before, after), used_by))
    return changes


def _change(
    character: str, alike: Sequence[Judged], verdicts: tuple[Verdict, ...], place: Span | None, used_by: tuple[str, ...]
) -> Change:
    first = alike[0]
    fact = first.fact
    reached = {reach for verdict in verdicts for reach in verdict.reaches}
    hint = None
    if fact.like is not None:
        old, new = (fact.declared, fact.like) if fact.what == "removed" else (fact.like, fact.declared)
        hint = f"`{new}` says what `{old}` said; write `renamed from {old}` in it if it is the same"
    return Change(
        character=character,
        kind=fact.kind,
        declared=fact.declared,
        what=fact.what,
        sides=tuple(sorted({one.fact.side for one in alike}, key=_side_order)),
        harm=min(verdict.harm for verdict in verdicts),
        reaches=tuple(reach for reach in REACHES if reach in reached),
        verdicts=verdicts,
        facts=tuple(one.fact for one in alike),
        fingerprint=_fingerprint(character, [one.fact for one in alike]),
        place=place,
        effect=first.effect,
        plot=first.plot,
        used_by=used_by,
        hint=hint,
    )


# ---- alike on both sides -----------------------------------------------------------------------------------


def _said_once(*rigs: Rig) -> dict[str, str]:
    """Names as they are on no side in particular: declared names, and for right joints their left partner."""
    found: dict[str, str] = {}
    for rig in rigs:
        found |= {joint.name: joint.partner for joint in rig.skeleton if joint.side == "right" and joint.partner}
    for rig in rigs:
        for table in (rig.controls, rig.fields, rig.strengths, rig.regions, rig.shapes, rig.folds):
            found |= {entry.name: entry.declared for entry in table}
    return found


def _side_order(side: str) -> int:
    return _SIDES.get(side, len(_SIDES))


def _general(text: str, said_once: Mapping[str, str]) -> str:
    return _WORD.sub(lambda word: said_once.get(word[0], word[0]), text)


def _alike(judged: Iterable[Judged], said_once: Mapping[str, str]) -> list[list[Judged]]:
    """Judged facts, left and right together where the same is said about the same declaration."""
    groups: dict[object, list[Judged]] = {}
    for index, one in enumerate(judged):
        fact = one.fact
        general = tuple((verdict[:3], _general(verdict.text, said_once)) for verdict in one.verdicts)
        paths = tuple(field.path for field in fact.fields)
        key: object = (fact.table, fact.kind, fact.declared, fact.what, general, paths)
        group = groups.get(key)
        if group and fact.side in [other.fact.side for other in group]:
            key = index
        groups.setdefault(key, []).append(one)
    return [sorted(group, key=lambda one: _side_order(one.fact.side)) for group in groups.values()]


# ---- files, places, fingerprints -----------------------------------------------------------------------------


def _files(before: Version, after: Version) -> list[Fact]:
    """Files that both name and whose contents differ."""
    found = []
    named = dict.fromkeys(file for file, _ in files_of(after.rig))
    for file in named:
        old, new = before.contents.get(file), after.contents.get(file)
        if old != new and None not in (old, new):
            field = FieldChange("contents", old, new)
            found.append(Fact("changed", "files", "file", file, "none", file, old, new, (field,)))
    return found


def _place(fact: Fact, before: Version, after: Version) -> Span | None:
    origins = before.origins if fact.new is None else after.origins
    if fact.table == "expectations":
        entries = (before.rig if fact.new is None else after.rig).expectations
        return origins.get(("expect", str(entries.index(fact.entry)))) if fact.entry in entries else None
    kind = "shape" if fact.kind == "offsets" else fact.kind
    return origins.get((kind, fact.name)) or origins.get(("character", after.rig.character.name))


def _fingerprint(character: str, alike: Sequence[Fact]) -> str:
    """The start of a SHA-256 over what changed, from what to what."""
    told = [
        [
            character,
            *(fact.kind, fact.declared, fact.side, fact.what),
            plain(fact.fields) if fact.what in ("changed", "renamed") else plain(fact.entry),
        ]
        for fact in alike
    ]
    text = json.dumps(told, ensure_ascii=True, separators=(",", ":"), sort_keys=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()[:FINGERPRINT_DIGITS]
