"""How bad a fact is, and what it reaches: its fields judged by what is registered for them, and what was measured."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import Final

from plica.diff.collect import MEASURED
from plica.diff.dependents import Dependents
from plica.diff.effects import Effect, driver_effect, response_of
from plica.diff.facts import Difference, FieldChange
from plica.diff.geometry import GeometryEffect, MaskEffect, MeasuredEffects, RegionEffect
from plica.diff.geometry_text import geometry_text
from plica.diff.judgement import ANY, Judgement, Situation, judgements
from plica.diff.judgements.strengths import RESPONSE
from plica.diff.neutral_moves import NeutralEffect
from plica.diff.reached_strengths import TABLES as STRENGTH_TABLES
from plica.diff.reached_strengths import reached_verdicts
from plica.diff.strength_change import StrengthChange
from plica.diff.strength_comparison import StrengthComparison
from plica.diff.value_text import unit_of_reading
from plica.diff.verdicts import BUDGET, GEOMETRY, NAMES, TEXTURES, Harm, Judged, Plot, Verdict
from plica.rig.rig import Rig
from plica.rig.strengths import Combine, Driver

NOTHING_ON_MESH: Final = "on the mesh nothing differs"
SAME_MODEL: Final = "no vertex of the neutral, no region, shape or mask of a fold differs"
_ON_MESH: Final[Mapping[str, frozenset[str]]] = {
    "regions": frozenset({"source", "feather"}),
    "shapes": frozenset({"source", "within", "threshold", "inbetweens", "mirrored", "sided"}),
    "folds": frozenset({"area", "tolerance"}),
}
"""The fields of entries that say what lies on the mesh."""


class Judge:
    """Judges the facts of one pair of rigs."""

    def __init__(self, old: Rig, new: Rig, measured: MeasuredEffects | None = None) -> None:
        self._old = old
        self._new = new
        self._measured = measured or MeasuredEffects()

    @cached_property
    def uses(self) -> Dependents:
        """Who uses what, in either rig."""
        return Dependents(self._old, self._new)

    @cached_property
    def strengths(self) -> StrengthComparison:
        """What became of the strengths of both rigs."""
        return StrengthComparison(self._old, self._new)

    def judged(self, fact: Difference) -> Judged:
        """The fact with all that there is to say about it."""
        geometry = self._measured.effects.get((fact.table, fact.name))
        if fact.what in ("added", "removed"):
            whole = judgements().whole(Situation(fact, (), self.uses))
            return Judged(fact, (whole, *self._on_mesh(fact, geometry)), geometry=geometry)
        effect, plot = self._effect(fact)
        verdicts: list[Verdict] = []
        if fact.what == "renamed":
            old = getattr(fact.old, "declared", fact.old.name)
            text = f"renamed from {old}: outputs are called otherwise now"
            verdicts.append(Verdict("renamed", Harm.BREAKING, (NAMES,), text))
        for judgement, fields in _grouped(fact):
            given = judgement.judge(Situation(fact, tuple(fields), self.uses, effect, self._change(fact)))
            stays = geometry is None and self._lies_on_mesh(fact, fields[0].first)
            verdicts += [one._replace(harm=max(one.harm, Harm.SAFE)) if stays else one for one in given]
        verdicts += self._on_mesh(fact, geometry)
        verdicts += reached_verdicts(fact, self.strengths) if fact.table in STRENGTH_TABLES else ()
        ordered = sorted(verdicts, key=lambda verdict: verdict.harm)
        return Judged(fact, tuple(ordered), effect, plot, geometry)

    def _on_mesh(self, fact: Difference, effect: GeometryEffect | None) -> list[Verdict]:
        """What was measured of an entry; that nothing differs is worth a word where the text does."""
        if effect is None:
            if self._is_model_alike(fact):
                return [Verdict("nothing-moves", Harm.COSMETIC, (GEOMETRY,), SAME_MODEL)]
            if any(self._lies_on_mesh(fact, field.first) for field in fact.fields):
                return [Verdict("nothing-moves", Harm.COSMETIC, (GEOMETRY,), NOTHING_ON_MESH)]
            return []
        harm = Harm.RISKY if fact.what == "changed" else Harm.SAFE
        reaches: tuple[str, ...] = (GEOMETRY,)
        if isinstance(effect, RegionEffect):
            reaches = self.uses.reaches_of_region(fact.name)
        elif isinstance(effect, MaskEffect):
            reaches = (TEXTURES, BUDGET) if effect.sizes[0] != effect.sizes[1] else (TEXTURES,)
        elif isinstance(effect, NeutralEffect):
            reaches = (GEOMETRY, TEXTURES)
        return [Verdict(MEASURED, harm, reaches, "on the mesh", geometry_text(effect, fact.what))]

    def _is_model_alike(self, fact: Difference) -> bool:
        """Whether a fact is that the model's file has other contents, of which nothing shows in what was measured."""
        model = self._new.character.geometry
        of_model = fact.table == "files" and model is not None and fact.name == model.file
        return of_model and self._measured.was_done and not self._measured.effects and not self._measured.findings

    def _lies_on_mesh(self, fact: Difference, field: str) -> bool:
        """Whether a field of what both states have says what lies on the mesh, and that was looked at."""
        both = fact.what in ("changed", "renamed")
        return both and self._measured.was_done and field in _ON_MESH.get(fact.table, ())

    def _change(self, fact: Difference) -> StrengthChange | None:
        """What was computed of a combination; None where that could not be done."""
        return self.strengths.change_of(fact.new.name) if isinstance(fact.new, Combine) else None

    def _effect(self, fact: Difference) -> tuple[Effect | None, Plot | None]:
        """The computed effect of a driver's change, and what to draw where both have the same reading."""
        old, new = fact.old, fact.new
        if not (isinstance(old, Driver) and isinstance(new, Driver)):
            return None, None
        if not any(field.first in RESPONSE for field in fact.fields):
            return None, None
        effect = driver_effect(old, new, self.strengths)
        if effect is None or not effect.same_reading:
            return effect, None
        return effect, Plot(response_of(old), response_of(new), unit_of_reading(new.reading))


def _grouped(fact: Difference) -> Iterator[tuple[Judgement, list[FieldChange]]]:
    """A fact's differences, those together that one judgement is about; of one for any field, field by field."""
    groups: dict[tuple[str, ...], tuple[Judgement, list[FieldChange]]] = {}
    for field in fact.fields:
        first = field.first
        if first == MEASURED or (fact.what == "renamed" and field.path == "about.renamed_from"):
            continue  # reported as what is measured, and as the new name
        judgement = judgements().of(fact.table, first)
        key = (first,) if judgement.fields == (ANY,) else judgement.fields
        groups.setdefault(key, (judgement, []))[1].append(field)
    yield from groups.values()
