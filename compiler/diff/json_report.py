"""A report as JSON, for other programs.

The document is `{"format": "plica-diff", "version": 1, "characters": [...], "step": ..., "changes": [...], "causes":
[...], "unmeasured": [...], "accepted": [...]}`. `step` is `major`, `minor`, `patch`, `none` or, where no change was
found but not everything could be compared, `unknown`. A change has `character`, `kind`, `name` (declared), `what`
(`added`, `removed`, `renamed`, `changed`), `sides` (of `left`, `right`, `none`), `harm` (`breaking`, `risky`, `safe`,
`cosmetic`), `reaches` (of `names`, `strengths`, `geometry`, `textures`, `budget`), `fingerprint`, `place`
(`path:line:column` or null), `hint` (or null), `used_by`, `verdicts` (`rule`, `harm`, `reaches`, `text`, `exact`),
`effect` (or null) and `entries`: for each side its output `name`, its `former` output name (or null), its `fields`,
each with `path`, `old` and `new` as the rig's own format writes them, and `measured`.

An effect has `largest`, `at`, `rest`, `reaches` and `at_extreme` (each old and new), `flipped` and `same_reading`, in
metres, radians and strengths. `measured` of an entry is what differs on the mesh, or null: of a region `areas` (old and
new, square metres), `shares` (of the skin) and `differs` (square metres); of a shape `moves` (vertices, old and new),
`vertices` that differ and the `largest` distance (metres); of a fold `shares` (of the texture, old and new), by how
much of it the two `differs`, and `sizes` (texels across). `unmeasured` says for which characters something was not
compared on the mesh although it may differ there, and why. A cause has `place` and `touches` (`character`, `title`); an
accepted entry `reason` and `change`. Keys are only ever added within a version.
"""

from __future__ import annotations

from typing import Any

from plica import foreign
from plica.diff.effects import Effect
from plica.diff.facts import Difference
from plica.diff.geometry import GeometryEffect
from plica.diff.report import JudgedChange, Report
from plica.rig.rig_json import plain

FORMAT = "plica-diff"
VERSION = 1


def render(report: Report) -> str:
    """The JSON document."""
    return foreign.json_document(document(report))


def document(report: Report) -> dict[str, Any]:
    """The document as plain values."""
    return {
        "format": FORMAT,
        "version": VERSION,
        "characters": list(report.characters),
        "step": report.step,
        "changes": [_change(change) for change in report.changes],
        "causes": [
            {
                "place": cause.place.place,
                "touches": [{"character": character, "title": title} for character, title in cause.touches],
            }
            for cause in report.causes
        ],
        "unmeasured": list(report.unmeasured),
        "accepted": [{"reason": reason, "change": _change(change)} for change, reason in report.accepted],
    }


def _change(change: JudgedChange) -> dict[str, Any]:
    return {
        "character": change.character,
        "kind": change.kind,
        "name": change.declared,
        "what": change.what,
        "sides": list(change.sides),
        "harm": change.harm.word,
        "reaches": list(change.reaches),
        "fingerprint": change.fingerprint,
        "place": change.place.place if change.place else None,
        "hint": change.hint,
        "used_by": list(change.used_by),
        "verdicts": [
            {
                "rule": verdict.rule,
                "harm": verdict.harm.word,
                "reaches": list(verdict.reaches),
                "text": verdict.text,
                "exact": verdict.exact or None,
            }
            for verdict in change.verdicts
        ],
        "effect": None if change.effect is None else _effect(change.effect),
        "entries": [_entry(fact, effect) for fact, effect in zip(change.facts, _geometry(change), strict=True)],
    }


def _effect(effect: Effect) -> dict[str, Any]:
    return {
        "largest": effect.largest,
        "at": effect.at,
        "rest": list(effect.rest),
        "reaches": list(effect.reaches),
        "at_extreme": list(effect.at_extreme),
        "flipped": effect.flipped,
        "same_reading": effect.same_reading,
        "now": None if effect.same_reading else effect.now,
        "poses": None if effect.same_reading else effect.poses,
    }


def _geometry(change: JudgedChange) -> tuple[GeometryEffect | None, ...]:
    return change.geometry or (None,) * len(change.facts)


def _entry(fact: Difference, effect: GeometryEffect | None) -> dict[str, Any]:
    former = getattr(fact.old, "name", None) if fact.new is not None else None
    return {
        "name": fact.name,
        "former": former if former != fact.name else None,
        "side": fact.side,
        "fields": [{"path": field.path, "old": plain(field.old), "new": plain(field.new)} for field in fact.fields],
        "measured": None if effect is None else plain(effect),
    }
