"""Names of the language made from any text."""

from __future__ import annotations

import re

_NOT_IN_NAMES = re.compile(r"\W+")
_REPEATED = re.compile(r"__+")
_NAME = re.compile(r"[^\W\d]\w*")  # the grammar's NAME
RESERVED = frozenset(("both", "left", "right"))  # would be read as a side


def plain_name(text: str, fallback: str) -> str:
    """A name of the language made from any text."""
    name = _REPEATED.sub("_", _NOT_IN_NAMES.sub("_", text)).strip("_")
    if not name:
        return fallback
    return name if is_plain_name(name) else f"{fallback}_{name}"


def is_plain_name(text: str) -> bool:
    """Whether a text can stand as a name without quotes."""
    return _NAME.fullmatch(text) is not None and text not in RESERVED


def unique_name(wanted: str, taken: set[str], *, paired: bool = False) -> str:
    """The name, with a number after it where it is taken; it and its output names are added to `taken`."""
    name, number = wanted, 2
    while taken & _outputs(name, paired):
        name, number = f"{wanted}_{number}", number + 1
    taken |= _outputs(name, paired)
    return name


def _outputs(name: str, paired: bool) -> set[str]:
    return {name, f"left_{name}", f"right_{name}"} if paired else {name}


def writable(name: str) -> bool:
    """Whether a text of the language can hold the name: braces stand for placeholders there."""
    return name.isprintable() and "{" not in name
