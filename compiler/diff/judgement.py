"""How changes are judged: the modules of `plica.diff.judgements`, loaded and checked together."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import cache
from importlib import import_module
from pkgutil import iter_modules
from types import ModuleType
from typing import Final, NamedTuple

from plica.diff.dependents import Dependents
from plica.diff.effects import Effect
from plica.diff.facts import ACCEPTS, FILES, FINDINGS, TEXTS, Difference, FieldChange
from plica.diff.strength_change import StrengthChange
from plica.diff.value_text import ARROW, text_of, unit_of
from plica.diff.verdicts import NAMES, Harm, Verdict
from plica.kinds.complete import complete
from plica.rig.rig import OF_THE_BUILD, Rig

PACKAGE: Final = "plica.diff.judgements"
ANY: Final = ""
"""Every table, or every field of a table."""
TABLES: Final = (*(name for name in Rig._fields if name not in OF_THE_BUILD), FILES, ACCEPTS, FINDINGS, TEXTS)
"""All tables that facts are about; which build a rig is of says nothing of what it does."""


class Situation(NamedTuple):
    """What a judgement looks at: a fact, those of its changed fields that are judged together (none of an entry that
    came or went), who uses what, what a driver's change does to its strength, and what was computed of a combination's.
    """

    fact: Difference
    fields: tuple[FieldChange, ...]
    uses: Dependents
    effect: Effect | None = None
    change: StrengthChange | None = None


class Judgement(NamedTuple):
    """How changes of some fields of a table's entries are judged; of several fields together."""

    table: str
    fields: tuple[str, ...]
    judge: Callable[[Situation], Iterable[Verdict]]


class TableJudgement(NamedTuple):
    """What is known of all entries of a table: what they reach, and how one is judged that came or went."""

    table: str
    reaches: tuple[str, ...]
    whole: Callable[[Situation], Verdict] | None = None


class Judgements(NamedTuple):
    """All judgements, by table and field, and those of tables."""

    fields: Mapping[tuple[str, str], Judgement]
    tables: Mapping[str, TableJudgement]

    def of(self, table: str, field: str) -> Judgement:
        """The nearest judgement: of this field, of this field in any table, of any field; else that it is unknown."""
        for key in ((table, field), (ANY, field), (table, ANY)):
            if key in self.fields:
                return self.fields[key]
        return Judgement(table, (ANY,), self._unknown)

    def _unknown(self, situation: Situation) -> Iterator[Verdict]:
        """Nothing is known of the field, so its change may do anything."""
        field = situation.fields[0].first
        reaches = self.tables[situation.fact.table].reaches
        yield Verdict(field.replace("_", "-") or "changed", Harm.RISKY, reaches, values_text(situation))

    def whole(self, situation: Situation) -> Verdict:
        """Of an entry that came or went."""
        table = self.tables[situation.fact.table]
        return came_or_went(situation, table.reaches) if table.whole is None else table.whole(situation)


class DoubleJudgementError(RuntimeError):
    """Two judgements are about one field, or two about one table. A mistake of Plica's own."""


@cache
def judgements() -> Judgements:
    """All judgements. Raises DoubleJudgementError, and MissingKindError where a table has no judgement."""
    package = import_module(PACKAGE)
    return collected(import_module(f"{PACKAGE}.{module.name}") for module in iter_modules(package.__path__))


def collected(modules: Iterable[ModuleType]) -> Judgements:
    """The judgements of modules, which list them as JUDGEMENTS and TABLES."""
    fields: dict[tuple[str, str], Judgement] = {}
    tables: dict[str, TableJudgement] = {}
    for module in modules:
        for judgement in module.JUDGEMENTS:
            for field in judgement.fields:
                if (judgement.table, field) in fields:
                    raise DoubleJudgementError(f"`{judgement.table}.{field}` is judged twice")
                fields[judgement.table, field] = judgement
        for table in module.TABLES:
            if table.table in tables:
                raise DoubleJudgementError(f"the table `{table.table}` is judged twice")
            tables[table.table] = table
    return Judgements(fields, complete(tables, TABLES, "judgement"))


# ---- what many judgements say ---------------------------------------------------------------------------


def always(table: str, field: str, rule: str, harm: Harm, *reaches: str) -> Judgement:
    """A field whose every change is as bad as any other."""
    return Judgement(table, (field,), lambda situation: [Verdict(rule, harm, reaches, values_text(situation))])


def came_or_went(situation: Situation, reaches: Iterable[str], removed: Harm = Harm.BREAKING) -> Verdict:
    """Of an entry with a name that came or went."""
    named = (NAMES, *(reach for reach in reaches if reach != NAMES))
    if situation.fact.what == "added":
        return Verdict("added", Harm.SAFE, named, "added")
    return Verdict("removed", removed, named, "removed: what used this name finds nothing")


def change_text(field: FieldChange, unit: str) -> str:
    """The old and the new value of a field."""
    return f"{text_of(field.old, unit)} {ARROW} {text_of(field.new, unit)}"


def values_text(situation: Situation) -> str:
    """Old and new values of some fields; only the first few of many."""
    fact, fields = situation.fact, situation.fields
    listed = []
    for field in fields[:3]:
        unit = unit_of(fact.table, field.first, fact.new)
        listed.append(f"{field.path.replace('_', ' ') or fact.kind} {change_text(field, unit)}")
    if len(fields) > 3:
        listed.append(f"and {len(fields) - 3} more")
    return ", ".join(listed)
