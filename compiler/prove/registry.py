"""How each kind of expectation is measured: the modules of `plica.prove.measures`, loaded and checked together."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cache
from importlib import import_module
from pkgutil import iter_modules
from typing import TYPE_CHECKING, NamedTuple

from plica.kinds.expectations import EXPECTATION_KINDS, ExpectationKind
from plica.mesh.arrays import Floats
from plica.prove.results import Result
from plica.rig.rig import Expectation

if TYPE_CHECKING:
    from plica.prove.proof import Proof
    from plica.prove.skin import PairGauge, Skin, SkinGauge

PACKAGE = "plica.prove.measures"

Prepare = Callable[["Skin", Expectation, list[Floats]], "SkinGauge"]
Heat = Callable[["Skin", Expectation, list[Floats]], Callable[[Floats], Floats]]
Spread = Callable[["Skin", Expectation, list[Floats]], Callable[[Floats], tuple[Floats, Floats]]]


class SkinMeasure(NamedTuple):
    """A kind that is measured on the skin in every pose.

    `prepare` makes the measure for one mesh and the weights of the regions concerned; it raises UnmeasurableError.
    `heat` gives, for positions (v, 3), how hot each triangle (t,) is, 1 at the limit, for the picture of the worst
    place; None where a picture shows no heat. `legend` words the hottest colour, with `{limit}` for the limit.
    `spread` gives, for positions (v, 3), a figure and an area for each triangle (t,), for percentiles; None where a
    kind has no such figure.
    """

    kind: ExpectationKind
    prepare: Prepare
    heat: Heat | None = None
    legend: str = ""
    spread: Spread | None = None


class PairMeasure(NamedTuple):
    """A kind that is measured on the skin in every pose and in its mirror image together; else like `SkinMeasure`."""

    kind: ExpectationKind
    prepare: Callable[[Skin, Expectation, list[Floats]], PairGauge]
    heat: Heat | None = None
    legend: str = ""
    spread: Spread | None = None


class DirectMeasure(NamedTuple):
    """A kind that is judged by itself: of strengths, of offsets, of masks."""

    kind: ExpectationKind
    judge: Callable[[Proof, int, Expectation], Result]


Measure = SkinMeasure | PairMeasure | DirectMeasure


class MissingMeasureError(RuntimeError):
    """Kinds and measures do not match: one has none or several, or one of the wrong form. A mistake of Plica's own."""


@cache
def measures() -> Mapping[str, Measure]:
    """The measure of every kind, by the kind's name. Raises MissingMeasureError."""
    package = import_module(PACKAGE)
    modules = [import_module(f"{PACKAGE}.{module.name}") for module in iter_modules(package.__path__)]
    return matched((measure for module in modules for measure in module.MEASURES), EXPECTATION_KINDS)


def matched(result: Iterable[Measure], kinds: Mapping[str, ExpectationKind]) -> Mapping[str, Measure]:
    """Measures by the name of their kind; each kind has exactly one, of its form. Raises MissingMeasureError."""
    by_name: dict[str, Measure] = {}
    for measure in result:
        name = measure.kind.name
        if name in by_name:
            raise MissingMeasureError(f"`{name}` has two measures")
        if kinds.get(name) != measure.kind or isinstance(measure, DirectMeasure) == measure.kind.on_skin:
            raise MissingMeasureError(f"the measure of `{name}` is not one of its kind")
        by_name[name] = measure
    missing = sorted(set(kinds) - set(by_name))
    if missing:
        raise MissingMeasureError(f"nothing measures {', '.join(missing)}")
    return by_name


def is_paired(kind: str) -> bool:
    """Whether a kind is measured in poses and their mirror images together."""
    return isinstance(measures().get(kind), PairMeasure)


def skin_measure(kind: str) -> SkinMeasure | PairMeasure:
    """The measure of a kind that is measured on the skin. Raises MissingMeasureError for any other kind."""
    measure = measures().get(kind)
    if not isinstance(measure, SkinMeasure | PairMeasure):
        raise MissingMeasureError(f"`{kind}` is not measured on the skin")
    return measure
