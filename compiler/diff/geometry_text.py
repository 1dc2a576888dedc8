"""Effects on the mesh in words: square metres, shares, millimetres."""

from __future__ import annotations

from plica.diff.facts import What
from plica.diff.geometry import GeometryEffect, MaskEffect, RegionEffect, ShapeEffect
from plica.diff.neutral_moves import NeutralEffect, neutral_text
from plica.diff.value_text import ARROW, amount
from plica.quantities import area

_COVERS = ("covered", "covers")  # of what is gone, of what is new
_MOVES = ("moved", "moves")


def geometry_text(effect: GeometryEffect, what: What) -> str:
    """What an effect amounts to: of something that came or went only what it covers or moves."""
    index = {"added": 1, "removed": 0}.get(what)
    match effect:
        case RegionEffect():
            return _region(effect, index)
        case ShapeEffect():
            return _shape(effect, index)
        case MaskEffect():
            return _mask(effect, index)
        case NeutralEffect():
            return neutral_text(effect)


def _region(effect: RegionEffect, index: int | None) -> str:
    if index is not None:
        covered, share = area(effect.areas[index]), amount(effect.shares[index], "%")
        return f"{_COVERS[index]} {covered}, {share} of the skin"
    areas = f" {ARROW} ".join(map(area, effect.areas))
    shares = f" {ARROW} ".join(amount(share, "%") for share in effect.shares)
    differs = "" if effect.differs is None else f"; differs on {area(effect.differs)}"
    return f"covers {areas}, {shares} of the skin{differs}"


def _shape(effect: ShapeEffect, index: int | None) -> str:
    if effect.vertices is None or effect.largest is None:
        return f"moves {effect.moves[0]} {ARROW} {effect.moves[1]} vertices of another mesh"
    largest = f"by at most {amount(effect.largest, 'mm')}"
    if index is not None:
        return f"{_MOVES[index]} {effect.moves[index]} vertices, {largest}"
    plural = "vertex moves" if effect.vertices == 1 else "vertices move"
    return f"{effect.vertices} {plural}, {largest}"


def _mask(effect: MaskEffect, index: int | None) -> str:
    if index is not None:
        share = amount(effect.shares[index], "%")
        return f"{_COVERS[index]} {share} of the texture, with a mask {effect.sizes[index]} texels across"
    shares = f" {ARROW} ".join(amount(share, "%") for share in effect.shares)
    sizes = f"; the mask is {effect.sizes[0]} {ARROW} {effect.sizes[1]} texels across"
    resized = sizes if effect.sizes[0] != effect.sizes[1] else ""
    return f"covers {shares} of the texture; differs on {amount(effect.differs, '%')}{resized}"
