"""Which units a number may have where it stands, as far as the words before it say so."""

from __future__ import annotations

from collections.abc import Sequence

from plica.kinds.expectations import EXPECTATION_KINDS
from plica.kinds.readings import READING_KINDS
from plica.syntax.lexer import Token
from plica.units import UNITS, Dimension

_ANGLE, _LENGTH, _SHARE, _NUMBER = Dimension.ANGLE, Dimension.LENGTH, Dimension.SHARE, Dimension.NUMBER

# What a number measures after the word that begins its fact, in every declaration that has such a fact.
_AFTER = {
    "FEATHER": _LENGTH,
    "BAND": _LENGTH,
    "UNIT": _LENGTH,
    "BUDGET": Dimension.MEMORY,
    "SAMPLE": _ANGLE,
    "CURVE": _NUMBER,
    "RANGE": _NUMBER,
    "INBETWEEN": _NUMBER,
}
_DRAFT = {"VOLUME": _SHARE, "NEARNESS": _NUMBER, "BORDER": _LENGTH, "GAP": _LENGTH, "INBETWEENS": _NUMBER}


def dimensions(tokens: Sequence[Token]) -> tuple[Dimension, ...]:
    """What a number after these tokens of its declaration may measure; every dimension where they do not say."""
    types = [token.type for token in tokens]
    kind = types[0] if types else ""
    if types[-1:] == ["TURNED"] or _follows_a_joint(types):
        return (_ANGLE,)
    if types[-2:-1] == ["DRAFT"] and types[-1] in _DRAFT:
        return (_DRAFT[types[-1]],)
    if kind == "DRIVER" and _last(types, "SPAN", "CURVE", "READS") == "SPAN":
        return _of_reading(tokens)
    if kind == "EXPECT":
        return _of_expectation(tokens)
    fact = _last(types, *_AFTER, "AT", "WITHIN", "FOLLOWS", "SCULPT", "OVER", "SMOOTHING", "PEAK", "TOLERANCE")
    return (_AFTER[fact],) if fact in _AFTER else tuple(Dimension)


def fitting_units(tokens: Sequence[Token], begun: str) -> list[str]:
    """The units that a number after these tokens may have and that begin with a text."""
    wanted = dimensions(tokens)
    return [name for name, unit in UNITS.items() if unit.dimension in wanted and name.startswith(begun)]


def _last(types: Sequence[str], *wanted: str) -> str | None:
    return next((name for name in reversed(types) if name in wanted), None)


def _follows_a_joint(types: Sequence[str]) -> bool:
    """After `about x of elbow` in a pose, or `turned about x` and `at about x` of a joint or a sample."""
    index = len(types) - 1
    while index >= 0 and types[index] in ("NAME", "STRING", "OF", "OWN_SIDE", "AXIS", "IN", "SPACE", "PLACEHOLDER"):
        index -= 1
    return index >= 0 and types[index] == "ABOUT" and "READS" not in types[max(0, index - 2) : index]


def _of_reading(tokens: Sequence[Token]) -> tuple[Dimension, ...]:
    """What the reading of a driver measures; any that a reading has where it is not written yet."""
    types = [token.type for token in tokens]
    if "READS" in types[:-1]:
        kind = READING_KINDS.get(str(tokens[types.index("READS") + 1]))
        if kind is not None:
            return (kind.dimension,)
    return tuple(dict.fromkeys(kind.dimension for kind in READING_KINDS.values()))


def _of_expectation(tokens: Sequence[Token]) -> tuple[Dimension, ...]:
    """What the limit of an expectation measures; of its other numbers nothing is said."""
    types = [token.type for token in tokens]
    if types[-1] not in ("WITHIN", "MOST", "LEAST") or "LBRACE" not in types:
        return tuple(Dimension)
    words = [str(token) for token in tokens[types.index("LBRACE") + 1 :]]
    longest = max(
        (kind for kind in EXPECTATION_KINDS.values() if _ends_with_fact(words, kind.words.split())),
        key=lambda kind: len(kind.words),
        default=None,
    )
    return longest.limit.dimensions if longest is not None else tuple(Dimension)


def _ends_with_fact(words: Sequence[str], beginning: Sequence[str]) -> bool:
    """Whether a fact of this beginning is in a block of which it is the only one so far."""
    return list(words[: len(beginning)]) == list(beginning)
