"""Numbers and quantities as people read them."""

from __future__ import annotations


def number(value: float, digits: int = 6) -> str:
    """A number to so many digits, without needless zeros."""
    return f"{value:.{digits}g}" if value else "0"
