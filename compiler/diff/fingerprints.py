"""What a change is known by: the same while it says the same, whatever changes beside it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from typing import Any

from plica.diff.facts import Difference
from plica.diff.judged_change import FINGERPRINT_DIGITS
from plica.rig.rig_json import plain


def _stated(entry: Any) -> Any:
    """An entry without the fields that are as they are when nothing is said: a field that is new to the language
    leaves fingerprints as they were.
    """
    if not hasattr(entry, "_fields"):
        return plain(entry)
    defaults = entry._field_defaults
    items = zip(entry._fields, entry, strict=True)
    return {name: plain(value) for name, value in items if name not in defaults or value != defaults[name]}


def fingerprint_of(character: str, facts: Sequence[Difference]) -> str:
    """The start of a SHA-256 over what changed, from what to what."""
    told = [
        [
            character,
            *(fact.kind, fact.declared, fact.side, fact.what),
            plain(fact.fields) if fact.what in ("changed", "renamed") else _stated(fact.entry),
        ]
        for fact in facts
    ]
    text = json.dumps(told, ensure_ascii=True, separators=(",", ":"), sort_keys=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()[:FINGERPRINT_DIGITS]
