"""The whole comparison: characters matched, facts judged, what is alike on both sides told once, all added up."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from plica.diff.character_state import CharacterState
from plica.diff.collect import MEASURED, told
from plica.diff.entries import ReviewEntry, entries_of, section_of
from plica.diff.facts import Difference
from plica.diff.judge import Judge
from plica.diff.judged_change import FINGERPRINT_DIGITS, JudgedChange
from plica.diff.verdicts import NAMES, REACHES, Harm, Judged, Verdict
from plica.rig.files import files_of
from plica.rig.rig import Rig
from plica.rig.rig_json import plain
from plica.source import Span

_SIDES = {"left": 0, "right": 1, "none": 2}
_WORD = re.compile(r"\w+")
_STEPS = {Harm.BREAKING: "major", Harm.RISKY: "minor", Harm.SAFE: "minor", Harm.COSMETIC: "patch"}


class Accepted(NamedTuple):
    """A change that was agreed to, why, and by which fingerprint: its own, or that of its entry."""

    change: JudgedChange
    reason: str
    agreed: str


class Report(NamedTuple):
    """Every change, the worst first; `accepted` ones count for nothing.

    `unmeasured` says of which characters something was not compared on the mesh although it may differ there, and why.
    """

    characters: tuple[str, ...]
    changes: tuple[JudgedChange, ...]
    accepted: tuple[Accepted, ...] = ()
    unmeasured: tuple[str, ...] = ()

    @property
    def step(self) -> str:
        """The version step that the changes ask for: `major`, `minor`, `patch` or `none`; `unknown` where no change was
        found, but not all could be compared.
        """
        if self.changes:
            return _STEPS[min(change.harm for change in self.changes)]
        return "unknown" if self.unmeasured else "none"

    @property
    def entries(self) -> tuple[ReviewEntry, ...]:
        """The changes as a reviewer reads them: one entry for one cause, in the order in which they matter."""
        return entries_of(self.changes)


def compare(old: Mapping[str, CharacterState], new: Mapping[str, CharacterState]) -> Report:
    """Compare characters under the same key (a relative path; one key for two single files)."""
    changes: list[JudgedChange] = []
    names = []
    unmeasured = []
    for key in sorted({*old, *new}):
        before, after = old.get(key), new.get(key)
        if before is not None and after is not None:
            result, problem = _compared(before, after)
            changes += result
            unknown = [problem, *_missing(before, after)]
            unmeasured += [f"{after.rig.character.name}: {one}" for one in unknown if one is not None]
        else:
            changes.append(_alone(before, after))
        either = after or before
        assert either is not None
        names.append(either.rig.character.name)
    ordered = sorted(changes, key=lambda change: (section_of(change), change.harm))
    return Report(tuple(dict.fromkeys(names)), tuple(ordered), unmeasured=tuple(unmeasured))


def _missing(before: CharacterState, after: CharacterState) -> Iterator[str]:
    """Files of computed offsets that are not there, where both states have any."""
    if before.rig.offsets is None or after.rig.offsets is None:
        return
    for version, state in ((before, "old"), (after, "new")):
        if version.missing is not None:
            yield f"{state} state: `{version.missing}` is not there, so of offsets only the sums were compared"


def with_accepted(report: Report, reasons: Mapping[str, str]) -> Report:
    """The report with the changes of these fingerprints taken out; that of an entry stands for all of its changes."""
    agreed = {change.fingerprint: change.fingerprint for change in report.changes if change.fingerprint in reasons}
    for entry in report.entries:
        if entry.fingerprint in reasons:
            agreed |= {change.fingerprint: entry.fingerprint for change in entry.changes}
    left = tuple(change for change in report.changes if change.fingerprint not in agreed)
    accepted = tuple(
        Accepted(change, reasons[agreed[change.fingerprint]], agreed[change.fingerprint])
        for change in report.changes
        if change.fingerprint in agreed
    )
    return report._replace(changes=left, accepted=accepted)


def _alone(before: CharacterState | None, after: CharacterState | None) -> JudgedChange:
    """A whole character that came or went."""
    version = after or before
    assert version is not None
    name = version.rig.character.name
    what, harm = ("added", Harm.SAFE) if before is None else ("removed", Harm.BREAKING)
    text = "a whole character, new" if before is None else "the whole character is gone"
    old, new = (None if one is None else one.rig.character for one in (before, after))
    fact = Difference("added" if before is None else "removed", "character", "character", name, "none", name, old, new)
    verdict = Verdict(what, harm, (NAMES,), text)
    place = version.origins.get(("character", name))
    return _change(name, [Judged(fact, (verdict,))], (verdict,), place, ())


def _compared(before: CharacterState, after: CharacterState) -> tuple[list[JudgedChange], str | None]:
    """The changes of one character, and why nothing was measured on its mesh where something should have been."""
    result, on_mesh, old = told(before, after)
    new = after.rig
    judge = Judge(old, new, on_mesh)
    judged = [judge.judged(fact) for fact in result]
    changes = []
    beside = after.origins.get(("character", new.character.name))
    said_once = _said_once(old, new) if judged else {}
    for alike in _alike(judged, said_once):
        fact = alike[0].fact
        verdicts = tuple(_with_numbers(one, index, alike) for index, one in enumerate(alike[0].verdicts))
        if len(alike) > 1:
            verdicts = tuple(one._replace(text=_general(one.text, said_once)) for one in verdicts)
        used_by: tuple[str, ...] = ()
        users = judge.uses.users_of(fact.table)
        if users is not None and fact.new is not None:
            used_by = _users([user for one in alike for user in users(one.fact.name)], said_once)
        changes.append(_change(new.character.name, alike, verdicts, _place(fact, before, after), used_by, beside))
    return changes, on_mesh.problem


def _users(users: Iterable[str], said_once: Mapping[str, str]) -> tuple[str, ...]:
    """Users, those of both sides once."""
    together: dict[str, dict[str, None]] = {}
    for user in users:
        together.setdefault(_general(user, said_once), {})[user] = None
    return tuple(general if len(each) > 1 else next(iter(each)) for general, each in together.items())


def _with_numbers(verdict: Verdict, index: int, alike: Sequence[Judged]) -> Verdict:
    """What was measured with the numbers of each side, which are said once where they are the same."""
    if verdict.rule != MEASURED:
        return verdict
    numbers = {one.fact.side: one.verdicts[index].exact for one in alike}
    said = dict.fromkeys(numbers.values())
    text = next(iter(said)) if len(said) == 1 else ", ".join(f"{side} {text}" for side, text in numbers.items())
    return verdict._replace(text=f"{verdict.text}: {text}", exact="")


def _change(
    character: str,
    alike: Sequence[Judged],
    verdicts: tuple[Verdict, ...],
    place: Span | None,
    used_by: tuple[str, ...],
    beside: Span | None = None,
) -> JudgedChange:
    first = alike[0]
    fact = first.fact
    reached = {reach for verdict in verdicts for reach in verdict.reaches}
    hint = None
    if fact.like is not None:
        old, new = (fact.declared, fact.like) if fact.what == "removed" else (fact.like, fact.declared)
        hint = f"`{new}` says what `{old}` said; write `renamed from {old}` in it if it is the same"
    return JudgedChange(
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
        beside=place if fact.new is not None else beside,
        effect=first.effect,
        geometry=tuple(one.geometry for one in alike),
        plot=first.plot,
        used_by=used_by,
        hint=hint,
    )


# ---- alike on both sides -----------------------------------------------------------------------------------


def _said_once(*rigs: Rig) -> dict[str, str]:
    """Names as they are on no side in particular: declared names, and for right joints their left partner."""
    result: dict[str, str] = {}
    for rig in rigs:
        result |= {joint.name: joint.partner for joint in rig.skeleton if joint.side == "right" and joint.partner}
    for rig in rigs:
        for table in (rig.controls, rig.fields, rig.strengths, rig.regions, rig.shapes, rig.folds, rig.poses):
            result |= {entry.name: entry.declared for entry in table}
    return result


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


# ---- places, fingerprints -----------------------------------------------------------------------------


def _place(fact: Difference, before: CharacterState, after: CharacterState) -> Span | None:
    origins = before.origins if fact.new is None else after.origins
    if fact.table == "files":
        users = (origins.get((kind, name)) for file, _, kind, name in files_of(after.rig) if file == fact.name)
        return next((span for span in users if span is not None), None)
    if fact.table == "expectations":
        entries = (before.rig if fact.new is None else after.rig).expectations
        return origins.get(("expect", str(entries.index(fact.entry)))) if fact.entry in entries else None
    kind = "shape" if fact.kind == "offsets" else fact.kind
    return origins.get((kind, fact.name)) or origins.get(("character", after.rig.character.name))


def _stated(entry: Any) -> Any:
    """An entry without the fields that are as they are when nothing is said: a field that is new to the language
    leaves fingerprints as they were.
    """
    if not hasattr(entry, "_fields"):
        return plain(entry)
    defaults = entry._field_defaults
    items = zip(entry._fields, entry, strict=True)
    return {name: plain(value) for name, value in items if name not in defaults or value != defaults[name]}


def _fingerprint(character: str, alike: Sequence[Difference]) -> str:
    """The start of a SHA-256 over what changed, from what to what."""
    told = [
        [
            character,
            *(fact.kind, fact.declared, fact.side, fact.what),
            plain(fact.fields) if fact.what in ("changed", "renamed") else _stated(fact.entry),
        ]
        for fact in alike
    ]
    text = json.dumps(told, ensure_ascii=True, separators=(",", ":"), sort_keys=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()[:FINGERPRINT_DIGITS]
