"""Records of different kinds are never equal.

Named tuples are compared as tuples: two of different classes with the same values would be equal, and one key of a
dict. Records that may stand in one another's place (the members of a union) are made distinct here.
"""

from __future__ import annotations


def _equal(self: object, other: object) -> bool:
    return self.__class__ is other.__class__ and not tuple.__ne__(self, other)


def _unequal(self: object, other: object) -> bool:
    return self.__class__ is not other.__class__ or tuple.__ne__(self, other)


def distinct(*records: type) -> None:
    """Makes classes of named tuples compare equal only to their own; hashes stay those of the tuples."""
    for record in records:
        record.__eq__ = _equal  # type: ignore[method-assign, assignment]
        record.__ne__ = _unequal  # type: ignore[method-assign, assignment]
