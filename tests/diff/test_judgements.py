"""Every table is judged, every judgement is about fields that there are, and what nothing knows is risky."""

from __future__ import annotations

from types import ModuleType, SimpleNamespace
from typing import Any, cast, get_args

import pytest

from plica.diff.accepted_rules import AcceptedRule
from plica.diff.dependents import Dependents
from plica.diff.facts import ACCEPTS, FILES, Difference, FieldChange
from plica.diff.judge import Judge
from plica.diff.judgement import (
    ANY,
    TABLES,
    DoubleJudgementError,
    Judgement,
    Situation,
    TableJudgement,
    collected,
    judgements,
)
from plica.diff.renamed_alike import OUTPUT_NAMES
from plica.diff.sculpt_strengths import POSED_STRENGTH
from plica.diff.verdicts import Harm
from plica.kinds.complete import MissingKindError
from plica.rig.offsets_table import OffsetsTable, ShapeOffsets
from plica.rig.rig import Character, Expectation, Pose, Rig, RigJoint, Symmetry
from plica.rig.strengths import Control, Field, Strength
from plica.rig.surfaces import Detail, Fold, Region, Shape

RIG = Rig(Character("wren", "Wren", None, 0.0), ())
RECORDS: dict[str, tuple[Any, ...]] = {
    "character": (Character,),
    "skeleton": (RigJoint,),
    "symmetry": (Symmetry,),
    "controls": (Control,),
    "fields": (Field,),
    "strengths": get_args(Strength),
    "regions": (Region,),
    "shapes": (Shape,),
    "details": (Detail,),
    "folds": (Fold,),
    "poses": (Pose,),
    "expectations": (Expectation,),
    "offsets": (OffsetsTable, ShapeOffsets),
    ACCEPTS: (AcceptedRule,),
}


def module(judged: tuple[Judgement, ...] = (), tables: tuple[TableJudgement, ...] = ()) -> ModuleType:
    return cast(ModuleType, SimpleNamespace(JUDGEMENTS=judged, TABLES=tables))


def test_judgements_are_about_fields_that_there_are() -> None:
    """The pattern of outputs' names stands in no field: it is seen in the names of all of them."""
    for table, field in judgements().fields:
        if (table, field) == ("shapes", POSED_STRENGTH):  # computed of a shape, and in no record
            continue
        if ANY not in (table, field) and table not in ("format", "version") and field != OUTPUT_NAMES:
            assert any(field in record._fields for record in RECORDS[table]), (table, field)
    assert set(judgements().tables) == set(TABLES)


def test_a_table_without_a_judgement_and_a_second_judgement_are_refused() -> None:
    tables = tuple(TableJudgement(table, ()) for table in TABLES)
    one = Judgement("shapes", ("follows",), lambda situation: ())
    assert collected([module((one,), tables)]).of("shapes", "follows") is one
    with pytest.raises(MissingKindError, match="there is no judgement of files"):
        collected([module((), tuple(table for table in tables if table.table != FILES))])
    with pytest.raises(DoubleJudgementError, match=r"`shapes.follows` is judged twice"):
        collected([module((one,), tables), module((one,))])
    with pytest.raises(DoubleJudgementError, match="the table `files` is judged twice"):
        collected([module((), tables), module((), (TableJudgement(FILES, ()),))])


@pytest.mark.parametrize("table", [table for table in TABLES if table not in (FILES, "regions")])
def test_what_no_judgement_knows_is_risky_and_says_what_changed(table: str) -> None:
    entry = SimpleNamespace(name="brow")
    change = FieldChange("made_up.part", 1.0, 2.0)
    fact = Difference("changed", table, "entry", "brow", "none", "brow", entry, entry, (change,))
    (verdict,) = Judge(RIG, RIG).judged(fact).verdicts
    assert (verdict.rule, verdict.harm, verdict.text) == ("made-up", Harm.RISKY, "made up.part 1 → 2")
    assert verdict.reaches == judgements().tables[table].reaches


def test_the_nearest_judgement_is_taken() -> None:
    known = judgements()
    assert known.of("character", "name").table == "character"
    assert known.of("shapes", "name").table == known.of("regions", "name").table == ANY
    assert known.of("regions", "feather").fields == (ANY,)
    assert known.of("strengths", "span") is known.of("strengths", "curve")
    situation = Situation(
        Difference("changed", "shapes", "shape", "brow", "none", "brow", None, None),
        (FieldChange("other", 1, 2),),
        Dependents(RIG, RIG),
    )
    (verdict,) = known.of("shapes", "other").judge(situation)
    assert verdict.harm is Harm.RISKY
