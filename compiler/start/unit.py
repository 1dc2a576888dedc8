"""The unit of a first spec: stated where a model is plainly in another one than metres."""

from __future__ import annotations

from plica.quantities import length
from plica.readers.model_outline import ModelOutline, in_unit
from plica.spec.bind_unit import certain_unit, reach, written_unit
from plica.start.spec_text import FactLine


def in_plain_unit(outline: ModelOutline) -> tuple[ModelOutline, list[FactLine]]:
    """The outline in the unit that it is plainly in, and the fact that says so.

    Where nothing is plain, the outline as it was read and no fact: a check asks about it.
    """
    skeleton = outline.bind.skeleton or outline.skeleton
    unit = certain_unit(outline, skeleton)
    if unit is None:
        return outline, []
    result = in_unit(outline, unit)
    reached = length(reach(result.bind.skeleton or result.skeleton))
    return result, [FactLine("unit", written_unit(unit), f"of the file's lengths: the joints reach over {reached}")]
