"""Comparing syntax trees."""

from __future__ import annotations

from typing import Any

from plica.diagnostics import Diagnostics
from plica.source import Source
from plica.syntax.parser import parse


def same_but_for_places(one: Any, other: Any) -> bool:
    """Whether two syntax nodes, or tuples of them, are equal but for their offsets, which are a node's last fields."""
    if not isinstance(one, tuple):
        return bool(one == other)
    if type(one) is not type(other) or len(one) != len(other):
        return False
    values, others = (one, other) if type(one) is tuple else (one[:-2], other[:-2])
    return all(same_but_for_places(value, fellow) for value, fellow in zip(values, others, strict=True))


def declarations(text: str) -> Any:
    """The declarations of a text without mistakes."""
    diagnostics = Diagnostics()
    document = parse(Source("text.plica", text), diagnostics)
    assert not diagnostics.has_errors, [one.message for one in diagnostics.all]
    return document.declarations
