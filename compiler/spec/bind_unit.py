"""What one length of the model's file is: as the spec says, as the file says, or metres."""

from __future__ import annotations

from typing import Final

from plica.diagnostics import Diagnostics
from plica.quantities import length, number
from plica.readers.model_outline import ModelOutline, in_unit
from plica.skeleton.frames import extent_of
from plica.skeleton.skeleton import Skeleton
from plica.source import Span
from plica.spec.fact_sets import FactSet
from plica.units import Dimension

# The longest animal is a whale of some 30 m, the smallest with a backbone a fish of 8 mm (from memory); joints reach
# less far than skin.
_LARGEST_BODY: Final = 40.0  # metres
_SMALLEST_BODY: Final = 0.004
# Beyond these a body is rarer than a file whose unit nobody stated: 8 m is longer than an elephant, 4 cm shorter than a
# mouse (from memory).
_LARGEST_UNSTATED: Final = 8.0
_SMALLEST_UNSTATED: Final = 0.04
# Units that files are found in, the likelier ones first, and how large a body is that may well be meant.
_COMMON: Final = ((0.01, "1 cm"), (0.001, "1 mm"), (0.0254, "1 in"), (0.1, "10 cm"), (100.0, "100 m"), (10.0, "10 m"))
_MEANT: Final = (0.15, 3.0)
# Sizes that nobody alive has in metres, and that upright bodies have in one other unit: a first spec states that.
_CERTAIN: Final = ((100.0, 250.0, 0.01), (1000.0, 2500.0, 0.001))
_SAME: Final = 1e-6
"""Share by which two statements of one unit may differ: `metersPerUnit` is written in decimal digits."""


def bind_unit(facts: FactSet, outline: ModelOutline | None, diagnostics: Diagnostics) -> ModelOutline | None:
    """The model in metres by the unit that the spec states; as it was read where it states none.

    A spec that says otherwise than the file is an error, and so is a unit of no file.
    """
    fact = facts.one("unit")
    if fact is None:
        return outline
    span = fact.scope.span(fact.node)
    unit = fact.scope.known_amount(fact.node.part("amount"), Dimension.LENGTH, "a unit")
    if unit is None:
        return outline
    if unit <= 0.0:
        diagnostics.add("not-positive", span, what="a unit")
    elif facts.one("geometry") is None:
        diagnostics.add("unit-without-model", span)
    elif outline is not None:
        if outline.unit_stated and abs(unit / outline.unit - 1.0) > _SAME:
            shown, stated = f"{number(unit)} m", f"{number(outline.unit)} m"
            diagnostics.add("unit-contradicts-model", span, stated=shown, model=stated)
        return in_unit(outline, unit)._replace(unit_stated=True)
    return outline


def report_size(skeleton: Skeleton, outline: ModelOutline, span: Span | None, diagnostics: Diagnostics) -> None:
    """Warn of joints that reach over no length that a body has, or over one that few have and no unit stands behind."""
    size = reach(skeleton)
    unusual = unlikely(skeleton) if outline.unit_stated else unclear(skeleton)
    if not unusual:
        return
    unit, others = written_unit(outline.unit), candidates(skeleton, outline.unit)
    hint = None
    if outline.unit_stated:
        hint = "the spec or the file states that unit: correct it, or accept this if the body is so large or small"
    elif others:
        written = " or ".join(f"`unit {text}` ({length(meant)})" for text, meant in others[:2])
        hint = f"write {written} in the character, or `unit {unit}` if the body is so large or small"
    diagnostics.add("unlikely-size", span, hint=hint, size=length(size), unit=unit)


def unlikely(skeleton: Skeleton) -> bool:
    """Whether no body reaches as far as these joints; where they stand at one place nothing tells."""
    return not _between(skeleton, _SMALLEST_BODY, _LARGEST_BODY)


def unclear(skeleton: Skeleton) -> bool:
    """Whether a file in another unit is likelier than such a body."""
    return not _between(skeleton, _SMALLEST_UNSTATED, _LARGEST_UNSTATED)


def candidates(skeleton: Skeleton, unit: float) -> list[tuple[str, float]]:
    """Units that the file may be in, as the language writes them, and how far the joints would reach (metres)."""
    size = reach(skeleton) / unit
    sizes = [(text, size * metres) for metres, text in _COMMON if abs(metres / unit - 1.0) > _SAME]
    return [(text, meant) for text, meant in sizes if _MEANT[0] <= meant <= _MEANT[1]]


def certain_unit(outline: ModelOutline, skeleton: Skeleton) -> float | None:
    """The unit that a file without a stated one is plainly in, metres; None where it is metres, or nothing is plain."""
    size = reach(skeleton) / outline.unit
    if outline.unit_stated or not unlikely(skeleton):
        return None
    return next((unit for least, most, unit in _CERTAIN if least <= size <= most), None)


def _between(skeleton: Skeleton, least: float, most: float) -> bool:
    return reach(skeleton) == 0.0 or least <= reach(skeleton) <= most


def reach(skeleton: Skeleton) -> float:
    """The longest edge of the box around the joints, metres; 0 where they stand at one place."""
    return extent_of([frame.origin for frame in skeleton.frames])


def written_unit(unit: float) -> str:
    """A unit as a spec writes it."""
    metres = next((text for known, text in _COMMON if abs(known / unit - 1.0) <= _SAME), None)
    return metres or f"{number(unit)} m"
