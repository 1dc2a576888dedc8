"""Every field of every record of a rig, changed one at a time."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any, Literal, NamedTuple, get_args, get_origin, get_type_hints

from plica.rig.rig import Rig


class Mutation(NamedTuple):
    """A rig that differs from the original in one field of one record: `path` as in `strengths[3].curve.points`."""

    path: str
    record: type
    field: str
    rig: Rig


def mutations(rig: Rig) -> Iterator[Mutation]:
    """One rig for each field of each record in it, at any depth, with another value there.

    A field that must hold a record is mutated by mutating that record.
    """
    for path, record, field, changed in _of(rig, ""):
        yield Mutation(path, record, field, changed)


@cache
def _hints(record: type) -> dict[str, Any]:
    """The types of a record's fields, which take long to work out."""
    return get_type_hints(record)


def _of(value: Any, path: str) -> Iterator[tuple[str, type, str, Any]]:
    if hasattr(value, "_fields"):
        for name in value._fields:
            inside = getattr(value, name)
            here = f"{path}.{name}" if path else name
            if not hasattr(inside, "_fields") or type(None) in get_args(_hints(type(value))[name]):
                yield here, type(value), name, value._replace(**{name: other_value(inside, type(value), name)})
            for deeper, record, field, changed in _of(inside, here):
                yield deeper, record, field, value._replace(**{name: changed})
    elif isinstance(value, tuple):
        for index, item in enumerate(value):
            for deeper, record, field, changed in _of(item, f"{path}[{index}]"):
                yield deeper, record, field, (*value[:index], changed, *value[index + 1 :])


def other_value(value: Any, record: type, name: str) -> Any:
    """A value that differs; it need not make sense, because a comparison has to see it all the same."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, float | int):
        return value + 1
    hint = _hints(record)[name]
    if get_origin(hint) is Literal and len(get_args(hint)) > 1:
        return next(word for word in get_args(hint) if word != value)
    if isinstance(value, str):
        return f"{value}_changed"
    if isinstance(value, tuple) and not hasattr(value, "_fields"):
        if not value:
            return made_up(_hints(record)[name])
        simple = not any(isinstance(item, tuple) for item in value)
        return (other_value(value[0], record, name), *value[1:]) if simple else (*value, value[-1])
    if value is None:
        return made_up(_hints(record)[name])
    return None


def made_up(kind: Any) -> Any:
    """Some value of a type: of a union the first that is not None."""
    if isinstance(kind, type) and hasattr(kind, "_fields"):
        hints = _hints(kind)
        return kind(**{name: made_up(hint) for name, hint in hints.items() if name not in kind._field_defaults})
    if get_origin(kind) is tuple:
        return tuple(made_up(part) for part in get_args(kind) if part is not Ellipsis)
    simple = {str: "made_up", float: 0.5, int: 7, bool: True}
    if kind in simple:
        return simple[kind]
    first = next(part for part in get_args(kind) if part is not type(None))
    return first if isinstance(first, str) else made_up(first)
