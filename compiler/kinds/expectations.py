"""The kinds of expectation. How each is measured is registered beside its measure, in `plica.prove.measures`.

A kind without a measure is refused when measures are loaded (`plica.prove.registry`), so none can count as kept
without having been measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from itertools import takewhile
from typing import Any, Final, Literal, TypeVar, assert_never

from plica.kinds.phrases import symbols
from plica.named_tuples import NamedTuple
from plica.units import Dimension

About = Literal["region", "strength", "detail", "shape", "character"]


Figures = TypeVar("Figures")


class Worse(Enum):
    """Which of two figures is the worse one."""

    GREATER = "the greater one"
    LESS = "the lesser one"
    FURTHER = "the one that is further from 0, above or below"

    def badness(self, figures: Figures) -> Figures:
        """A figure, or an array of them, turned so that the greatest is the worst."""
        values: Any = figures
        result: Figures
        match self:
            case Worse.GREATER:
                result = values
            case Worse.LESS:
                result = -values
            case Worse.FURTHER:
                result = abs(values)
            case _:
                assert_never(self)
        return result


class Over(Enum):
    """Which poses an expectation goes over when it names none."""

    EVERYTHING = "everything"
    OWN_STRENGTHS = "the strengths that it is about"
    NO_POSES = "none: it is about the character itself"


class LimitKind(NamedTuple):
    """What the limit of a kind may be. `unit`: in which figures are shown; "" for plain numbers.

    `default`: the limit of an expectation that states none, in the inside unit; None where there is none to take.
    `rounding`: by how much a figure may pass the limit and still keep to it.
    """

    dimensions: tuple[Dimension, ...]
    unit: str
    default: float | None
    rounding: float = 0.0


class ExpectationKind(NamedTuple):
    """A kind of expectation.

    `phrase`: how it is written, each part in braces (`plica.syntax.fact_kinds`). `worse`: which figure is the worse
    one, which is also how a changed limit is judged. `on_skin`: it is measured on the skin in every pose. `whole`: it
    is about both sides at once, also where it is written for both. `ways`: what a figure below 0 and one above 0 are
    called, where figures have a sign. `border`: what a triangle's mean weight in the region must be above to count, in
    an expectation that states no border; None where each counts by that weight.
    """

    name: str
    phrase: str
    about: About
    limit: LimitKind
    worse: Worse
    over: Over
    on_skin: bool = False
    whole: bool = False
    ways: tuple[str, str] | None = None
    border: float | None = None

    @property
    def words(self) -> str:
        """What it is called: the words that it begins with."""
        first = takewhile(lambda symbol: symbol not in _AFTER_WORDS and "{" not in symbol, symbols(self.phrase))
        return " ".join(first)

    @property
    def key(self) -> str:
        """The name of the fact in the syntax tree."""
        return f"expect_{self.name}"


BORDER: Final = 0.5
"""The border of a region, for measures that cannot weigh by it: triangles of a larger mean weight count."""
_AFTER_WORDS: Final = frozenset(("of", "at", "within"))
# How far below 1 a strength may stay and still count as fully on: clips are stored in single precision.
FULLY_ON: Final = 1e-3
# By how much a sum of masks may pass its limit before that counts: painted masks of 8 bits hold no half, so two halves
# sum to 256 / 255; and single precision.
MASK_ROUNDING: Final = 1.0 / 255.0 + 1e-6
# By how much a strength may pass 0 in the file's rest and still be off: where that is another pose than the bind pose,
# the difference comes out of inverse bind matrices in single precision, over chains of joints and divided by spans.
REST_ROUNDING: Final = 1e-5

_SHARES = (Dimension.SHARE,)
_NUMBERS = (Dimension.NUMBER, Dimension.SHARE)


def _on_skin(name: str, phrase: str, limit: LimitKind, worse: Worse = Worse.GREATER) -> ExpectationKind:
    return ExpectationKind(name, phrase, "region", limit, worse, Over.EVERYTHING, on_skin=True, border=BORDER)


def _change(name: str) -> ExpectationKind:
    """A share of what it is in the neutral stance, which may neither be gained nor lost; triangles count by weight."""
    phrase = f"{name} of {{region}} [border {{border}}] within {{limit}} [{{over}}]"
    kind = _on_skin(name, phrase, LimitKind(_SHARES, "%", 0.05), Worse.FURTHER)
    return kind._replace(ways=("lost", "gained"), border=None)


def _deformation(name: str, limit: LimitKind) -> ExpectationKind:
    """How far triangles are deformed, the worst of them or what a share of the area keeps to."""
    phrase = f"{name} of {{region}} [border {{border}}] [uv {{uv}}] at most {{limit}} [on {{share}}] [{{over}}]"
    return _on_skin(name, phrase, limit)


def _of_character(name: str, phrase: str, limit: LimitKind, over: Over = Over.NO_POSES) -> ExpectationKind:
    return ExpectationKind(name, phrase, "character", limit, Worse.GREATER, over, whole=True)


# Limits of expectations that state none: common practice, no source.
_KINDS: Final = (
    _change("volume"),
    _change("girth"),
    _change("area"),
    _deformation("stretch", LimitKind(_SHARES, "%", 0.4)),
    _deformation("squeeze", LimitKind(_SHARES, "%", 0.6)),
    _deformation("shear", LimitKind((Dimension.ANGLE,), "deg", 0.5)),
    _on_skin(
        "clearance",
        "clearance of {region} from {other} [border {border}] at least {limit} [{over}]",
        LimitKind((Dimension.LENGTH,), "mm", 0.0),
        Worse.LESS,
    ),
    _on_skin("crossing", "crossing of {region} [border {border}] none [{over}]", LimitKind((), "", 0.0)),
    _on_skin(
        "even_skin",
        "even of {region} [border {border}] within {limit} [{over}]",
        LimitKind((Dimension.LENGTH,), "mm", 0.0001),
    )._replace(border=0.0),
    ExpectationKind(
        "smooth",
        "smooth {strengths} within {limit} [{over}]",
        "strength",
        LimitKind(_NUMBERS, "", 0.1),
        Worse.GREATER,
        Over.OWN_STRENGTHS,
    ),
    ExpectationKind(
        "reach",
        "reach {strengths} [{over}]",
        "strength",
        LimitKind((), "", 1.0, FULLY_ON),
        Worse.LESS,
        Over.OWN_STRENGTHS,
    ),
    ExpectationKind(
        "overlap",
        "overlap of {detail} at most {limit} [{over}]",
        "detail",
        LimitKind(_NUMBERS, "", 1.0, MASK_ROUNDING),
        Worse.GREATER,
        Over.EVERYTHING,
    ),
    ExpectationKind(
        "moved",
        "moved of {shape} at most {limit}",
        "shape",
        LimitKind((Dimension.NUMBER,), "", None),
        Worse.GREATER,
        Over.NO_POSES,
    ),
    _of_character(
        "shapes_on",
        "shapes on at most {limit} [{over}]",
        LimitKind((Dimension.NUMBER,), "", None),
        Over.EVERYTHING,
    ),
    _of_character("shapes_size", "shapes size at most {limit}", LimitKind((Dimension.MEMORY,), "KiB", None)),
    _of_character("shapes_moved", "shapes moved at most {limit}", LimitKind((Dimension.NUMBER,), "", None)),
    _of_character("even", "even [within {limit}] [{over}]", LimitKind(_NUMBERS, "", 0.001), Over.EVERYTHING),
    _of_character("rest", "rest", LimitKind((), "", 0.0)),
    _of_character("file_rest", "file rest", LimitKind((), "", 0.0, REST_ROUNDING)),
    _of_character("partition", "partition", LimitKind((), "", 1e-9)),
    _of_character("budget", "budget", LimitKind((), "KiB", None)),
)
EXPECTATION_KINDS: Final[Mapping[str, ExpectationKind]] = {kind.name: kind for kind in _KINDS}


def expectation_kind(name: str) -> ExpectationKind:
    """The record of a kind. Raises KeyError for a name that is of none (a rig that was read holds none such)."""
    return EXPECTATION_KINDS[name]
