"""Judgements of earlier comparisons, used again only where both rigs, what all files hold and the code are the same.

They are kept as plain data: a record is written as the name of its class and its fields, and read back only as one of
Plica's own records. What does not come back as it was is not kept.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from contextlib import suppress
from hashlib import sha256
from typing import Any, Final, NamedTuple, Protocol

from plica.diff.accepted_rules import accepted_facts
from plica.diff.character_state import CharacterState
from plica.diff.verdicts import Harm, Judged
from plica.rig.files import files_of

KIND: Final = "comparisons"
_OWN: Final = "plica."


class Store(Protocol):
    """Where contents are kept by their keys."""

    def get(self, kind: str, key: str) -> bytes | None:
        """The content under a key; None where there is none."""

    def put(self, kind: str, key: str, content: bytes) -> None:
        """Keep a content."""


class Keeping(NamedTuple):
    """Where judgements are kept, and what the code and the packages that computed them are known by."""

    store: Store
    code: str


def kept_or_judged(
    before: CharacterState,
    after: CharacterState,
    keeping: Keeping | None,
    judge: Callable[[], tuple[tuple[Judged, ...], str | None]],
) -> tuple[tuple[Judged, ...], str | None]:
    """Every fact judged, and why nothing was measured where something should have been; that is never kept."""
    key = None if keeping is None else _key(before, after, keeping.code)
    if keeping is None or key is None:
        return judge()
    content = keeping.store.get(KIND, key)
    if content is not None:
        with suppress(ValueError, KeyError, TypeError, AttributeError, RecursionError):
            return _read(json.loads(content)), None
    judged, problem = judge()
    if problem is None:
        with suppress(ValueError, KeyError, TypeError, AttributeError, RecursionError):
            text = json.dumps(_written(judged), separators=(",", ":"))
            if _read(json.loads(text)) == judged:
                keeping.store.put(KIND, key, text.encode("ascii"))
    return judged, problem


def _key(before: CharacterState, after: CharacterState, code: str) -> str | None:
    """What judgements depend on; None where a file could not be read."""
    accepted = tuple(accepted_facts(before.writing, after.writing))
    parts: list[object] = [code, before.locate is None, after.locate is None, accepted]
    for state in (before, after):
        named = {file for file, *_ in files_of(state.rig)}
        if state.missing is not None or (state.locate is not None and not named <= state.contents.keys()):
            return None
        parts += [state.rig, sorted(state.contents.items())]
    return sha256(repr(parts).encode("utf-8", "surrogatepass")).hexdigest()


# ---- records as plain data -----------------------------------------------------------------------------------


def _written(value: Any) -> Any:
    """Plain data: a record as `{"record": class, "fields": [...]}`, a tuple as a list."""
    if isinstance(value, Harm):
        return {"harm": value.value}
    if isinstance(value, tuple):
        items = [_written(item) for item in value]
        if not hasattr(value, "_fields"):
            return items
        return {"record": f"{type(value).__module__}:{type(value).__qualname__}", "fields": items}
    if value is None or isinstance(value, str | bool | int | float):
        return value
    raise TypeError(f"{type(value).__name__} is not kept")


def _read(value: Any) -> Any:
    """The reverse. Raises ValueError, KeyError, TypeError or AttributeError for what is none of Plica's records."""
    if isinstance(value, list):
        return tuple(_read(item) for item in value)
    if not isinstance(value, dict):
        return value
    if "harm" in value:
        return Harm(value["harm"])
    made = _record(value["record"])
    return made(*(_read(item) for item in value["fields"]))


def _record(name: str) -> Any:
    """One of Plica's own records, of a module that is loaded."""
    module, _, called = name.partition(":")
    if not module.startswith(_OWN):
        raise ValueError(name)
    found = getattr(sys.modules[module], called)
    if not (isinstance(found, type) and issubclass(found, tuple) and hasattr(found, "_fields")):
        raise ValueError(name)
    return found
