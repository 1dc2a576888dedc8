"""Kinds stand in one record each, and what must be said of every kind is refused where one is left out."""

from __future__ import annotations

from math import inf
from typing import Any, NamedTuple, get_args

import numpy as np
import pytest

from plica.curves import EASINGS, POINT_CURVES, READY_CURVES
from plica.evaluate import curve_values
from plica.evaluate.combinations import combined_rows
from plica.evaluate.curves import prepare
from plica.evaluate.kernels import KERNELS
from plica.kinds.combinations import COMBINATION_KINDS
from plica.kinds.complete import MissingKindError, complete
from plica.kinds.curves import CURVE_KINDS, curve_knots, curve_problem, curve_text
from plica.kinds.kernels import KERNEL_KINDS, RADIAL_KERNELS, kernel_expression
from plica.rig.integrity import problems
from plica.rig.region_sources import REGION_SOURCE_KEYS, files_in, joints_of, regions_of, source_text
from plica.rig.rig import Character, Rig
from plica.rig.surfaces import Painted, Region, RegionSet, SkinOf, Stored
from plica.spec import bind_surfaces
from plica.syntax.fact_kinds import FACT_KINDS
from plica.targets.python.curves import response
from plica.targets.python.language import PYTHON
from plica.values import Bezier, Curve, Hermite, Linear, Points

SHARES = (0.0, 0.25, 0.5, 1.0, 0.125)
CURVES: tuple[Curve, ...] = (
    Linear(),
    Points(((0.0, 0.0), (0.25, 0.5), (1.0, 1.0))),
    Hermite("monotone", ((0.0, 0.0, 0.5), (0.25, 0.1, 3.0), (1.0, 1.0, 2.0))),
    Bezier((0.25, 0.1, 0.25, 1.0)),
)


class Wave(NamedTuple):
    """A curve of a kind that there is not."""

    kind: str = "wave"


def test_a_table_without_a_kind_is_refused() -> None:
    assert complete({"a": 1, "b": 2}, ("b", "a"), "number") == {"a": 1, "b": 2}
    with pytest.raises(MissingKindError, match="there is no number of b"):
        complete({"a": 1}, ("a", "b"), "number")
    with pytest.raises(MissingKindError, match="there is a number of c, which is no kind"):
        complete({"a": 1, "c": 2}, ("a",), "number")


EVERY_USE: tuple[Any, ...] = (
    prepare,
    curve_text,
    curve_knots,
    curve_problem,
    lambda curve: response(curve, True, "f", PYTHON),
)


@pytest.mark.parametrize("use", EVERY_USE)
def test_a_curve_of_an_unknown_kind_is_refused_and_never_taken_for_another(use: Any) -> None:
    with pytest.raises((KeyError, AssertionError)):
        use(Wave())


@pytest.mark.parametrize("curve", CURVES, ids=lambda curve: str(curve.kind))
def test_knots_are_where_the_pieces_meet(curve: Curve) -> None:
    knots = curve_knots(curve)
    assert curve_problem(curve) is None
    assert knots in ((), (0.0, 0.25, 1.0))
    assert {type(one) for one in CURVES} == set(CURVE_KINDS) == set(get_args(Curve))
    assert CURVE_KINDS[type(curve)].name == curve.kind


@pytest.mark.parametrize(
    ("curve", "field"),
    [
        (Points(((0.0, 0.0), (0.5, 0.5))), "points"),
        (Points(((0.1, 0.0), (1.0, 0.5))), "points"),
        (Points(((0.0, 0.0), (0.5, 0.5), (0.5, 0.6), (1.0, 1.0))), "points"),
        (Hermite("smooth", ((0.0, 0.0, 0.0),)), "knots"),
        (Bezier((1.5, 0.0, 0.0, 0.0)), "controls"),
        (Bezier((0.0, 0.0, -0.5, 0.0)), "controls"),
    ],
)
def test_a_curve_that_cannot_be_evaluated_says_which_field_is_wrong(curve: Curve, field: str) -> None:
    problem = curve_problem(curve)
    assert problem is not None
    assert problem.field == field


def test_what_a_curve_says_reads_back() -> None:
    """The text of a curve is what one writes: the words lead to the same curve."""
    points = ((0.0, 0.0), (0.25, 0.5), (1.0, 1.0))
    for word, through in POINT_CURVES.items():
        curve = through(points)
        assert curve_text(curve) == f"{word} 0 0, 0.25 0.5, 1 1"
        assert curve_values(curve, 0.25) == pytest.approx(0.5)
    assert curve_text(READY_CURVES["linear"]) == "linear"
    assert curve_text(READY_CURVES["smooth"]) == "smooth"
    assert set(READY_CURVES) == {"linear", "smooth", *EASINGS}


@pytest.mark.parametrize("name", COMBINATION_KINDS)
@pytest.mark.parametrize("parts", [(0.3,), (0.25, 0.75), (0.1, 0.2, 0.7), (1.0, 1.0), (0.9, 0.8, 0.7)])
def test_a_combination_is_the_same_of_one_frame_of_many_and_in_python(name: str, parts: tuple[float, ...]) -> None:
    kind = COMBINATION_KINDS[name]
    one = kind.of(parts)
    many = combined_rows(name, [np.full(3, part) for part in parts])
    written = eval(kind.expression([repr(part) for part in parts]))
    assert one == min(written, inf if kind.most is None else kind.most)
    assert (many == one).all()


@pytest.mark.parametrize(("name", "expected"), [("product", 0.12), ("least", 0.3), ("greatest", 0.4), ("sum", 0.7)])
def test_what_combinations_make_of_two(name: str, expected: float) -> None:
    assert COMBINATION_KINDS[name].of((0.3, 0.4)) == pytest.approx(expected, abs=1e-15)
    assert COMBINATION_KINDS["sum"].of((0.8, 0.9)) == 1.0


@pytest.mark.parametrize("name", COMBINATION_KINDS)
def test_a_combination_that_needs_all_is_full_only_where_all_are(name: str) -> None:
    kind = COMBINATION_KINDS[name]
    assert kind.of((1.0, 1.0)) == 1.0
    assert (kind.of((1.0, 0.5)) < 1.0) == kind.needs_all


@pytest.mark.parametrize("name", RADIAL_KERNELS)
def test_a_kernel_is_the_same_of_one_distance_of_many_and_in_python(name: str) -> None:
    from math import exp

    kernel, width = RADIAL_KERNELS[name], 0.4 if KERNEL_KINDS[name].has_width else 1.0
    of_many = KERNELS[name]
    assert of_many is not None
    many = of_many(np.array(SHARES), np.array(width))
    for distance, value in zip(SHARES, many, strict=True):
        known = {"exp": exp, "distance": distance, "width": width, "which": name}
        assert kernel.value(distance, width) == pytest.approx(value, rel=1e-15)
        assert eval(kernel.expression, known) == kernel.value(distance, width)
        assert eval(kernel_expression("which"), known) == kernel.value(distance, width)


@pytest.mark.parametrize(
    ("source", "text", "names"),
    [
        (SkinOf(("arm", "hand")), "skin of arm, hand", (("arm", "hand"), (), ())),
        (Painted("brow.png", None), "painted brow.png", ((), (), ("brow.png",))),
        (Painted("brow.png", "face"), "painted brow.png uv face", ((), (), ("brow.png",))),
        (Stored("brow.npz"), "vertices brow.npz", ((), (), ("brow.npz",))),
        (RegionSet("union", ("brow", "lid")), "union of brow, lid", ((), ("brow", "lid"), ())),
    ],
)
def test_what_a_source_of_a_region_names(source: Any, text: str, names: tuple[tuple[str, ...], ...]) -> None:
    assert source_text(source) == text
    assert (joints_of(source), regions_of(source), files_in(source)) == names
    rig = Rig(Character("wren", "Wren", None, 0.0), (), regions=(Region("brow", "none", "brow", source, 0.0),))
    unknown = [name for name in (*names[0], *names[1]) if name != "brow"]
    assert [problem.text.split("'")[1] for problem in problems(rig)] == unknown


@pytest.mark.parametrize("use", [source_text, joints_of, regions_of, files_in])
def test_a_source_of_an_unknown_kind_is_refused(use: Any) -> None:
    with pytest.raises(KeyError):
        use(Wave())


def test_every_source_of_a_region_is_bound_and_is_a_fact() -> None:
    assert tuple(bind_surfaces._SOURCES) == REGION_SOURCE_KEYS
    assert {FACT_KINDS[key].group for key in REGION_SOURCE_KEYS} == {"source"}
