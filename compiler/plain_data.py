"""JSON and TOML of unknown origin as plain data: what cannot be used is said in words and never met as a traceback.

Refused is, beside what is not JSON (RFC 8259) or not TOML (1.0), nesting that is too deep for Python's readers, and
whole numbers of more digits than Python reads; in JSON also a key that stands twice in one object, of which readers
would take either, and NaN and Infinity, which are not JSON. `usable` refuses what JSON can write and no output of
Plica can: numbers that no float holds, and halves of surrogate pairs.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from math import isfinite
from typing import Any

_PART = r"""(?:[\w-]+|"[^"\n]*"|'[^'\n]*')"""
# Python's reader of TOML takes time and memory with the square of a key's parts.
_LONG_KEY = re.compile(rf"""(?<![\w"'-]){_PART}(?:[ \t]*\.[ \t]*{_PART}){{64}}""", re.ASCII)


class UnreadableDataError(ValueError):
    """Why a text cannot be used, as a part of a sentence."""


def json_of(content: bytes | str) -> Any:
    """The value that a JSON text holds, UTF-8 where it is bytes. Raises UnreadableDataError."""
    try:
        text = content if isinstance(content, str) else content.decode("utf-8-sig")
        return json.loads(text, parse_constant=_no_constant, object_pairs_hook=_once_each)
    except UnicodeDecodeError as error:
        raise UnreadableDataError(f"not JSON: byte {error.start} is not UTF-8 text") from None
    except json.JSONDecodeError as error:
        raise UnreadableDataError(f"not JSON: {error.msg} (line {error.lineno}, column {error.colno})") from None
    except RecursionError:
        raise UnreadableDataError("nested too deeply") from None
    except UnreadableDataError:
        raise
    except ValueError:
        raise UnreadableDataError("a whole number in it has too many digits") from None


def toml_of(text: str) -> dict[str, Any]:
    """The table that a TOML text holds. Raises UnreadableDataError."""
    import tomllib

    if _LONG_KEY.search(text):
        raise UnreadableDataError("a key in it has more than 64 parts")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UnreadableDataError(str(error)) from None
    except RecursionError:
        raise UnreadableDataError("nested too deeply") from None
    except ValueError:
        raise UnreadableDataError("a whole number in it has too many digits") from None


def usable(value: Any) -> Any:
    """The value itself, where every number in it is one that a float holds and every text valid Unicode.

    Raises UnreadableDataError.
    """
    pending = [value]
    while pending:
        one = pending.pop()
        if isinstance(one, dict):
            pending += [*one, *one.values()]
        elif isinstance(one, list):
            pending += one
        elif isinstance(one, str):
            if not one.isascii() and any("\ud800" <= letter <= "\udfff" for letter in one):
                raise UnreadableDataError("a text in it holds half of a surrogate pair, which is not valid Unicode")
        elif isinstance(one, int | float) and not _is_float(one):
            raise UnreadableDataError("a number in it is larger than any that can be used")
    return value


def _is_float(number: float) -> bool:
    try:
        return isfinite(number)
    except OverflowError:  # a whole number of hundreds of digits
        return False


def _no_constant(name: str) -> float:
    raise UnreadableDataError(f"{name} is not a number that JSON knows")


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    result = dict(pairs)
    if len(result) != len(pairs):
        twice = Counter(name for name, _ in pairs).most_common(1)[0][0]
        raise UnreadableDataError(f"the key {twice!r} stands twice in one object")
    return result
