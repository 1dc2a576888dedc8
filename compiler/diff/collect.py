"""All facts of two states: those of the rigs, those of files' contents, and what only shows on the mesh."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

from plica.diff.accepted_rules import accepted_facts
from plica.diff.character_state import CharacterState
from plica.diff.facts import Difference, FieldChange, facts, renamed_entries
from plica.diff.geometry import Key, MeasuredEffects, Surface, measured
from plica.diff.geometry_text import geometry_text
from plica.diff.renamed_alike import joints_fact, renamed_joints, with_joints_called, with_one_pattern
from plica.diff.sculpt_strengths import with_posed_strengths
from plica.rig.files import files_of
from plica.rig.rig import Rig

MEASURED = "measured"  # the path of what no field of a rig says
_KINDS = {"regions": "region", "shapes": "shape", "folds": "fold"}


class Told(NamedTuple):
    """Everything that differs, what was measured of it, and the old rig with the names that its joints have now."""

    facts: tuple[Difference, ...]
    on_mesh: MeasuredEffects
    old: Rig


def told(before: CharacterState, after: CharacterState) -> Told:
    """Everything that differs between two states, and what was measured of it."""
    renamed = renamed_joints(before.rig, after.rig)
    old = with_joints_called(before.rig, renamed)
    joints = [joints_fact(renamed)] if renamed else []
    entries = with_posed_strengths(old, after.rig, with_one_pattern(facts(old, after.rig), after.rig))
    result = (*joints, *entries, *accepted_facts(before.writing, after.writing), *_files(before, after))
    if not result or before.locate is None or after.locate is None:
        return Told(result, MeasuredEffects(), old)
    on_mesh = measured(Surface(before.rig, before.locate), Surface(after.rig, after.locate), result)
    return Told((*result, *_only_on_mesh(result, on_mesh, old, after.rig), *on_mesh.findings), on_mesh, old)


def _files(before: CharacterState, after: CharacterState) -> Iterator[Difference]:
    """Files that both name and whose contents differ."""
    for file in dict.fromkeys(file for file, *_ in files_of(after.rig)):
        old, new = before.contents.get(file), after.contents.get(file)
        if old != new and None not in (old, new):
            field = FieldChange("contents", old, new)
            yield Difference("changed", "files", "file", file, "none", file, old, new, (field,))


def _only_on_mesh(result: Iterable[Difference], on_mesh: MeasuredEffects, old: Rig, new: Rig) -> Iterator[Difference]:
    """Facts of entries that say the same as before, but amount to something else: their mesh or a file differs."""
    known: set[Key] = {(fact.table, fact.name) for fact in result}
    renamed = renamed_entries(old, new)
    former = {(table, after): before for table, names in renamed.items() for before, after in names.items()}
    for (table, name), effect in on_mesh.effects.items():
        if (table, name) in known:
            continue
        if table == "character":
            field = FieldChange(MEASURED, None, geometry_text(effect, "changed"))
            yield Difference("changed", table, "character", name, "none", name, old.character, new.character, (field,))
            continue
        # No fact says that the entry came or went, so both rigs have it.
        before, after = _named(old, table, former.get((table, name), name)), _named(new, table, name)
        field = FieldChange(MEASURED, None, geometry_text(effect, "changed"))
        yield Difference("changed", table, _KINDS[table], after.declared, after.side, name, before, after, (field,))


def _named(rig: Rig, table: str, name: str) -> Any:
    return next(entry for entry in getattr(rig, table) if entry.name == name)
