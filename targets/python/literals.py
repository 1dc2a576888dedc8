"""Tables written as Python literals of several lines, ASCII whatever texts they hold."""

from __future__ import annotations

from collections.abc import Iterable, Mapping


def listed(brackets: str, items: Iterable[str]) -> str:
    """A literal with one item on each line."""
    lines = "".join(f"    {item},\n" for item in items)
    return f"{brackets[0]}\n{lines}{brackets[1]}" if lines else brackets


def mapped(entries: Mapping[str, object]) -> str:
    """A dict literal with one entry on each line."""
    return listed("{}", (f"{name!a}: {value!a}" for name, value in entries.items()))
