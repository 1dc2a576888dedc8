"""Records that stay as they are, and of which each is equal only to itself."""

from __future__ import annotations

from typing import NoReturn, Self


class Frozen:
    """As a frozen dataclass with `eq=False`, without loading `dataclasses`, which takes a twentieth of a check.

    A class annotates its fields, and gives all of them to `__init__` by their names.
    """

    def __init__(self, **fields: object) -> None:
        vars(self).update(fields)

    def __setattr__(self, name: str, value: object) -> NoReturn:
        raise _refusal(f"cannot assign to field {name!r}")

    def __delattr__(self, name: str) -> NoReturn:
        raise _refusal(f"cannot delete field {name!r}")

    def __replace__(self, **changed: object) -> Self:
        """The same with other values for some fields; what `copy.replace` of Python 3.13 calls."""
        return type(self)(**{name: getattr(self, name) for name in type(self).__annotations__} | changed)


def _refusal(message: str) -> AttributeError:
    from dataclasses import FrozenInstanceError

    return FrozenInstanceError(message)
