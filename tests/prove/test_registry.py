"""Every kind of expectation has a measure; one that has none is refused wherever it turns up."""

from __future__ import annotations

import pytest

from plica.kinds.expectations import EXPECTATION_KINDS, ExpectationKind, LimitKind, Over, Worse
from plica.prove.proof import ProofSubject
from plica.prove.prover import Prover
from plica.prove.registry import (
    DirectMeasure,
    MissingMeasureError,
    PairMeasure,
    SkinMeasure,
    is_paired,
    matched,
    measures,
    skin_measure,
)
from plica.rig.rig import Expectation
from plica.rig.rig_json import RigFormatError, read_rig, write_rig
from tests.support.arms import arms

UNMEASURED = ExpectationKind(
    "shine",
    "shine of {region} [{over}]",
    "region",
    LimitKind((), "", 0.0),
    Worse.GREATER,
    Over.EVERYTHING,
    on_skin=True,
)


def test_every_kind_has_one_measure_of_its_form() -> None:
    assert set(measures()) == set(EXPECTATION_KINDS)
    for name, kind in EXPECTATION_KINDS.items():
        assert isinstance(measures()[name], SkinMeasure | PairMeasure if kind.on_skin else DirectMeasure)
        assert isinstance(measures()[name], PairMeasure) == is_paired(name) == (name == "even_skin")


def test_a_kind_without_a_measure_is_refused_when_measures_are_loaded() -> None:
    with pytest.raises(MissingMeasureError, match="shine"):
        matched(measures().values(), {**EXPECTATION_KINDS, UNMEASURED.name: UNMEASURED})


def test_a_measure_of_no_kind_and_a_second_one_are_refused() -> None:
    stray = SkinMeasure(UNMEASURED, lambda skin, expectation, weights: pytest.fail("never measured"))
    with pytest.raises(MissingMeasureError, match="shine"):
        matched([*measures().values(), stray], EXPECTATION_KINDS)
    with pytest.raises(MissingMeasureError, match="volume"):
        matched([*measures().values(), measures()["volume"]], EXPECTATION_KINDS)


def test_a_kind_measured_in_the_wrong_form_is_refused() -> None:
    moved = EXPECTATION_KINDS["moved"]._replace(on_skin=True)
    with pytest.raises(MissingMeasureError, match="moved"):
        matched(measures().values(), {**EXPECTATION_KINDS, "moved": moved})


def test_what_is_not_measured_on_the_skin_has_no_picture() -> None:
    with pytest.raises(MissingMeasureError, match="rest"):
        skin_measure("rest")


def test_nothing_unmeasured_holds() -> None:
    """A kind that was made up and got into a rig all the same: proving stops, and says which."""
    made = arms("")
    rig = made.rig._replace(expectations=(Expectation(UNMEASURED.name, "none", ("skin",)),))
    with pytest.raises((MissingMeasureError, KeyError), match="shine"):
        list(Prover(ProofSubject(rig, made.attached)).results())


def test_a_rig_that_is_read_holds_known_kinds_alone() -> None:
    rig = arms("").rig._replace(expectations=(Expectation("rest", "none"),))
    text = write_rig(rig)
    assert read_rig(text).expectations == rig.expectations
    with pytest.raises(RigFormatError, match=r"expectations\[0\]\.kind"):
        read_rig(text.replace('"kind": "rest"', '"kind": "shine"'))
