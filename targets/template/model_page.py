"""The page of what a template sees, written from the records: `python -m plica.targets.template.model_page FILE`."""

from __future__ import annotations

import sys
from inspect import cleandoc
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Final, Literal, Union, get_args, get_origin, get_type_hints

from plica.rig.rig import FORMAT_MINOR, FORMAT_VERSION, Rig
from plica.skeleton.algebra import Quaternion, Vector

_HEAD: Final = """\
# What a template sees

`rig` is a `Rig`; every field of every entry in it is below, as an attribute of that name. What the numbers mean, and
every formula, stands on [the page of the target `json`](../json/README.md), which has the same fields.

The version of this model is {version}.{minor}: `rig.version` and `rig.minor`. Within a version fields are only added,
and keep what they mean ([compatibility](../json/README.md#compatibility)); kinds are added too, so a template refuses
what it does not know.

This page is written from the records: `python -m plica.targets.template.model_page targets/template/model.md`.
"""
_PLAIN: Final = {float: "number", int: "whole number", str: "text", bool: "true or false", NoneType: "none"}


def model_page() -> str:
    """The page, Markdown: for each record its fields with their types, the Rig first, then in the order of use."""
    parts = [_HEAD.format(version=FORMAT_VERSION, minor=FORMAT_MINOR)]
    parts += [_section(record) for record in _records()]
    return "\n".join(parts)


def _records() -> list[Any]:
    found: list[Any] = [Rig]
    for record in found:  # which grows while it is walked
        for hint in get_type_hints(record).values():
            found += [one for one in dict.fromkeys(_inside(hint)) if one not in found]
    return found


def _inside(hint: Any) -> list[Any]:
    if hasattr(hint, "_fields"):
        return [hint]
    return [one for part in get_args(hint) if get_origin(hint) is not Literal for one in _inside(part)]


def _section(record: Any) -> str:
    rows = [f"| `{name}` | {_type(hint)} |" for name, hint in get_type_hints(record).items()]
    text = " ".join(cleandoc(record.__doc__ or "").split())
    return "\n".join([f"## {record.__name__}", "", text, "", "| field | type |", "| --- | --- |", *rows, ""])


def _type(hint: Any) -> str:
    if hint in _PLAIN:
        return _PLAIN[hint]
    if hint in (Vector, Quaternion):
        return "list of 3 numbers" if hint == Vector else "list of 4 numbers, x y z w"
    if hasattr(hint, "_fields"):
        return f"[`{hint.__name__}`](#{hint.__name__.lower()})"
    origin, inside = get_origin(hint), get_args(hint)
    if origin is Literal:
        return " or ".join(f'`"{word}"`' for word in inside)
    if origin in (Union, UnionType):
        return " or ".join(_type(part) for part in inside)
    if origin is tuple and inside[-1] is Ellipsis:
        return f"list of: {_type(inside[0])}"
    if origin is tuple:
        return f"list of {len(inside)}: {', '.join(dict.fromkeys(map(_type, inside)))}"
    raise TypeError(f"{hint} has no name on the page")


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(model_page(), "utf-8")
