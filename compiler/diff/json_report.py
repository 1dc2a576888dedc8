"""A report as JSON, for other programs.

`compiler/diff/diff.schema.json` describes its keys; keys are only ever added within a version.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from plica import foreign
from plica.diagnostics import Diagnostic
from plica.diagnostics.json_form import entries
from plica.diff.effects import Effect
from plica.diff.entries import ReviewEntry
from plica.diff.entry_text import entry_text
from plica.diff.facts import Difference
from plica.diff.geometry import GeometryEffect
from plica.diff.judged_change import JudgedChange
from plica.diff.report import Report
from plica.rig.rig_json import plain

FORMAT = "plica-diff"
VERSION = 1


def render(report: Report, diagnostics: Sequence[Diagnostic] = ()) -> str:
    """The JSON document; `diagnostics` are what comparing itself came upon."""
    return foreign.json_document(document(report, diagnostics))


def document(report: Report, diagnostics: Sequence[Diagnostic] = ()) -> dict[str, Any]:
    """The document as plain values."""
    return {
        "format": FORMAT,
        "version": VERSION,
        "characters": list(report.characters),
        "step": report.step,
        "changes": [_change(change) for change in report.changes],
        "entries": [_entry_of(entry, len(report.characters) > 1) for entry in report.entries],
        "causes": [
            {
                "place": entry.places[0].place,
                "touches": [{"character": change.character, "title": change.title} for change in entry.changes],
            }
            for entry in report.entries
            if len(entry.changes) > 1 and entry.places
        ],
        "unmeasured": list(report.unmeasured),
        "broken": [
            {
                "character": one.character,
                "state": one.state,
                "path": one.mistakes.path,
                "diagnostics": entries(one.mistakes.errors),
            }
            for one in report.broken
        ],
        "pictures": [one._asdict() for one in report.pictures],
        "diagnostics": entries(diagnostics),
        "accepted": [
            {"reason": one.reason, "agreed": one.agreed, "change": _change(one.change)} for one in report.accepted
        ],
    }


def _entry_of(entry: ReviewEntry, several: bool) -> dict[str, Any]:
    shown = entry_text(entry, several, whole=True)
    return {
        "section": entry.section.name.lower(),
        "harm": entry.harm.word,
        "title": shown.title,
        "text": [statement.text for statement in shown.statements],
        "characters": list(entry.characters),
        "places": [place.place for place in entry.places],
        "fingerprint": entry.fingerprint,
        "changes": [change.fingerprint for change in entry.changes],
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
        "place_in": None if change.place is None else "old" if change.is_gone else "new",
        "hint": change.hint,
        "used_by": list(change.used_by),
        "verdicts": [
            {
                "rule": verdict.rule,
                "harm": verdict.harm.word,
                "reaches": list(verdict.reaches),
                "text": verdict.text,
                "exact": verdict.exact or None,
                "lines": list(verdict.lines),
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
        "possible_poses": None if effect.same_reading else effect.possible,
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
