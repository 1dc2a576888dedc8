"""Rig to canonical JSON text and back.

Canonical means: one Rig has one text. Keys stand in the order of the records (those of `HEAD` first),
each entry of a top-level list has its own line, floats have the shortest digits that read back exactly (and always a
point or an exponent), the text is UTF-8 and ends in a line feed. `about` is left out where nothing is said; every
other key is always there, so that an interpreter need not know defaults. `targets/json/README.md` describes the format.

pydantic checks what is read and makes the schema. It is imported when first needed, because it takes longer to load
than a small check takes.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Callable
from dataclasses import field, make_dataclass
from functools import cache
from inspect import cleandoc
from typing import TYPE_CHECKING, Any, Final, Literal, NamedTuple, Union, get_args, get_origin, get_type_hints

from plica.plain_data import UnreadableDataError, json_of
from plica.rig.rig import FORMAT, FORMAT_MINOR, FORMAT_VERSION, Rig
from plica.values import NOTHING_SAID

if TYPE_CHECKING:
    from pydantic import BaseModel
    from pydantic_core import ErrorDetails

HEAD: Final = ("format", "version", "minor", "build", "made_from")
_ADDED: Final = {"minor": 1, "made_from": 1, "folds.directions": 2}
"""Keys, after those of the objects that they stand in, with the minor version from which on they are always there."""
_NUMBER_IN_LIST: Final = re.compile(r"\[\d+\]")
LARGEST_NUMBER = 1e30
"""No number of a rig that is read is beyond this: products of a few stay far from where floats end."""
_LONE_SURROGATE = re.compile("[\ud800-\udfff]")


class RigFormatError(ValueError):
    """A text that is not a Rig: `path` is the place in the JSON (`strengths[3].span`), `problem` says what is wrong."""

    def __init__(self, path: str, problem: str) -> None:
        super().__init__(f"{path}: {problem}" if path else problem)
        self.path = path
        self.problem = problem


# ---- writing ------------------------------------------------------------------------------------------


def encoder() -> Callable[[object], str]:
    """A function from plain data to one line of JSON in Plica's style; it raises ValueError for inf and nan."""
    return json.JSONEncoder(ensure_ascii=False, allow_nan=False, check_circular=False).encode


def encoded(text: str) -> bytes:
    """JSON text as UTF-8; half surrogate pairs, which UTF-8 cannot hold, as JSON's own escapes."""
    return _LONE_SURROGATE.sub(lambda match: f"\\u{ord(match[0]):04x}", text).encode("utf-8")


@cache
def _counts(record: Any) -> frozenset[str]:
    """The fields of a record that hold whole numbers, which are written without a point."""
    hints = get_type_hints(record)
    return frozenset(name for name, kind in hints.items() if kind in (int, int | None, tuple[int, ...]))


def plain(value: Any) -> Any:
    """Records as dicts, tuples as lists, whole numbers as floats: what `json` writes as the format says."""
    kind = type(value)
    if kind is float:
        return value + 0.0  # turns -0.0 into 0.0: equal Rigs have equal texts
    if kind is str or value is None or kind is bool:
        return value
    if kind is tuple or kind is list:
        return [plain(item) for item in value]
    if isinstance(value, tuple):
        result: dict[str, Any] = {}
        counts: frozenset[str] = _counts(value.__class__)
        for name, item in zip(kind._fields, value, strict=True):
            if name in counts:
                result[name] = list(item) if type(item) is tuple else item
            elif name != "about" or item != NOTHING_SAID:
                result[name] = plain(item)
        return result
    return float(value)


def write_lines(members: dict[str, Any], encode: Callable[[object], str]) -> str:
    """A JSON object of plain data with one line for each key, and for each entry of a list."""
    parts: list[str] = []
    for name, value in members.items():
        if isinstance(value, list) and value:
            text = "[\n" + ",\n".join(map(encode, value)) + "\n]"
        else:
            text = encode(value)
        parts.append(f"{encode(name)}: {text}")
    return "{\n" + ",\n".join(parts) + "\n}\n"


def write_rig(rig: Rig) -> str:
    """The canonical JSON text of a Rig. Raises ValueError where it holds inf or nan, which no checked Rig does."""
    members: dict[str, Any] = {name: getattr(rig, name) for name in HEAD}
    members["made_from"] = plain(rig.made_from)
    for name in Rig._fields:
        if name not in HEAD:
            members[name] = plain(getattr(rig, name))
    return write_lines(members, encoder())


# ---- reading ------------------------------------------------------------------------------------------


class _Likes:
    """Dataclasses that have the fields, defaults and docstrings of records: pydantic takes named tuples for lists."""

    def __init__(self) -> None:
        self._made: dict[type, type] = {}
        self._records: dict[type, Any] = {}

    def of(self, kind: Any) -> Any:
        """A type with the records in it replaced by their dataclasses."""
        if isinstance(kind, type) and issubclass(kind, tuple) and hasattr(kind, "_fields"):
            return self._made.get(kind) or self._make(kind)
        parts = get_args(kind)
        if not parts or get_origin(kind) is Literal:
            return kind
        replaced = tuple(self.of(part) for part in parts)
        maker: Any = tuple if get_origin(kind) is tuple else Union
        return maker[replaced]

    def _make(self, record: Any) -> type:
        defaults = record._field_defaults
        entries: list[Any] = [
            (name, Any, field(default=defaults[name])) if name in defaults else (name, Any) for name in record._fields
        ]
        made = make_dataclass(record.__name__, entries, frozen=True)
        made.__doc__ = record.__doc__
        self._made[record], self._records[made] = made, record
        # Types come second, because a combination's parts are combinations.
        for name, kind in get_type_hints(record).items():
            made.__annotations__[name] = made.__dataclass_fields__[name].type = self.of(kind)  # type: ignore[attr-defined]
        return made

    def description(self, name: str) -> str:
        """What the docstring of the record with this name says."""
        record = next(record for record in self._made if record.__name__ == name)
        return cleandoc(record.__doc__ or "")

    def record(self, value: Any) -> Any:
        """The record, or tuple of records, that checked dataclasses stand for."""
        if isinstance(value, tuple):
            # A default is a record already, and a tuple as well.
            return value if hasattr(value, "_fields") else tuple(self.record(item) for item in value)
        record = self._records.get(type(value))
        return value if record is None else record(*(self.record(getattr(value, name)) for name in record._fields))


class _Reader(NamedTuple):
    """A pydantic model that holds a Rig; its strictness reaches all records below."""

    holder: type[BaseModel]
    likes: _Likes


@cache
def _reader() -> _Reader:
    from pydantic import ConfigDict, create_model

    likes = _Likes()
    config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)
    return _Reader(create_model("Holder", __config__=config, rig=(likes.of(Rig), ...)), likes)


def read_rig(text: str) -> Rig:
    """The Rig of a JSON text, its shape, numbers and cross-references checked.

    Raises RigFormatError, with the place in the JSON and plain words, for everything else.
    """
    from pydantic import ValidationError

    from plica.rig.integrity import first_problem

    data = _parsed(text)
    _check_head(data)
    reader = _reader()
    try:
        held = reader.holder.model_validate_json(b'{"rig": ' + encoded(text) + b"}")
    except ValidationError as error:
        raise _in_plain_words(error.errors(include_url=False)) from None
    rig: Rig = reader.likes.record(held.rig)  # type: ignore[attr-defined]
    minor = data.get("minor", 0)
    missing = _missing_key(data, plain(rig), "", minor)
    if missing is not None:
        raise RigFormatError(missing, _WORDS["missing"])
    huge = _huge_number(data, "")
    if huge is not None:
        raise RigFormatError(huge, f"is beyond {LARGEST_NUMBER:g}, which no character needs and no evaluation bears")
    problem = first_problem(rig)
    if problem is not None:
        raise RigFormatError(problem.path, problem.text)
    return rig


def _parsed(text: str) -> Any:
    """The text as plain data. Raises RigFormatError where it is not JSON."""
    try:
        return json_of(text)
    except UnreadableDataError as error:
        raise RigFormatError("", str(error)) from None


def _check_head(data: Any) -> None:
    """Refuses what is no Rig, or one of another version, before details are looked at."""
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        raise RigFormatError("format", f"this is not a rig: it must be an object whose `format` is {FORMAT!r}")
    version = data.get("version")
    if type(version) is not int or version != FORMAT_VERSION:
        if isinstance(version, int) and version > FORMAT_VERSION:
            raise RigFormatError("version", f"{version} is newer than this Plica reads ({FORMAT_VERSION})")
        raise RigFormatError("version", f"must be {FORMAT_VERSION}")
    minor = data.get("minor", 0)
    if type(minor) is not int or minor < 0:
        raise RigFormatError("minor", "must be a whole number from 0")
    if minor > FORMAT_MINOR:
        # Other readers may ignore what they do not know; Plica compares rigs, and could not say that it is the same.
        raise RigFormatError("minor", f"{minor} is newer than this Plica reads ({FORMAT_MINOR})")


_WORDS = {
    "missing": "this key is missing",
    "missing_argument": "this key is missing",
    "unexpected_keyword_argument": "the format has no such key here",
    "extra_forbidden": "the format has no such key here",
    "string_type": "must be text",
    "float_type": "must be a number",
    "int_type": "must be a whole number",
    "bool_type": "must be true or false",
    "finite_number": "must be a finite number",
    "tuple_type": "must be a list",
    "too_long": "has too many items",
    "dataclass_type": "must be an object",
}


Place = tuple[int | str, ...]


def _in_plain_words(errors: list[ErrorDetails]) -> RigFormatError:
    """The first mistake among pydantic's findings.

    Where one of several kinds of object may stand, pydantic reports mistakes for each kind. What counts are those
    of the kind that the object says it is; where objects have no `kind`, those of the one that fits best.
    """
    if errors[0]["type"] == "json_invalid":  # stricter than Python's: half surrogate pairs, depth
        return RigFormatError("", f"not JSON: {errors[0]['ctx']['error']}")
    other_kinds = {
        error["loc"][:-1] for error in errors if error["loc"][-1] == "kind" and error["type"] == "literal_error"
    }

    def of_another_kind(place: Place) -> bool:
        return any(place[:end] in other_kinds for end in range(len(place)))

    kept = [error for error in errors if not of_another_kind(error["loc"])]
    if not kept:
        return _unknown_kind(errors)
    first = _of_best_member(kept, 0)
    words = _WORDS.get(first["type"])
    if words is None and first["type"] == "literal_error":
        words = f"must be {first['ctx']['expected']}"
    return RigFormatError(_shown(first["loc"]), words or "has a value that cannot stand here")


def _unknown_kind(errors: list[ErrorDetails]) -> RigFormatError:
    """What to say where an object is of no kind that may stand there."""
    kinds = [(_without_class(error["loc"][:-1]), error) for error in errors if error["loc"][-1] == "kind"]
    place = max((where for where, _ in kinds), key=len)
    known = [error["ctx"]["expected"] for where, error in kinds if where == place]
    listed = f"{', '.join(known[:-1])} or {known[-1]}" if len(known) > 1 else known[0]
    return RigFormatError(_shown((*place, "kind")), f"must be {listed}")


def _without_class(place: Place) -> Place:
    """The place of an object, without the name of the class that it was tried as."""
    return place[:-1] if place and _names_class(place[-1]) else place


def _of_best_member(errors: list[ErrorDetails], depth: int) -> ErrorDetails:
    """The first error, at each choice between classes following the class with the fewest errors."""
    first = errors[0]["loc"]
    while depth < len(first) and not _names_class(first[depth]):
        depth += 1
    if depth >= len(first):
        return errors[0]
    there = [error for error in errors if error["loc"][:depth] == first[:depth] and len(error["loc"]) > depth]
    members = Counter(error["loc"][depth] for error in there)
    best = min(members, key=members.__getitem__)
    return _of_best_member([error for error in there if error["loc"][depth] == best], depth + 1)


def _names_class(step: int | str) -> bool:
    """Whether a step of pydantic's places names a class; all keys of the format begin in lower case."""
    return isinstance(step, str) and step[:1].isupper()


def _shown(place: Place) -> str:
    """A place of pydantic's in the way people write it, without the holder and the names of classes."""
    text = ""
    for step in place[1:]:
        if isinstance(step, int):
            text += f"[{step}]"
        elif not _names_class(step):
            text += f".{step}" if text else step
    return text


def _missing_key(data: Any, whole: Any, place: str, minor: int) -> str | None:
    """The place of the first key that `whole` has and `data` lacks: keys whose default was taken, but for those that
    this minor version did not have yet."""
    if isinstance(whole, list):
        both = enumerate(zip(data, whole, strict=True))
        pairs = ((item, other, f"{place}[{index}]") for index, (item, other) in both)
    elif isinstance(whole, dict):
        places = {key: f"{place}.{key}" if place else key for key in whole}
        for key, where in places.items():
            if key not in data and _ADDED.get(_NUMBER_IN_LIST.sub("", where), 0) <= minor:
                return where
        pairs = ((data[key], whole[key], where) for key, where in places.items() if key in data)
    else:
        return None
    return next((result for result in (_missing_key(*pair, minor) for pair in pairs) if result is not None), None)


def _huge_number(data: Any, place: str) -> str | None:
    """The place of the first number that is beyond `LARGEST_NUMBER`."""
    if isinstance(data, int | float):
        return place if abs(data) > LARGEST_NUMBER else None
    if isinstance(data, list):
        pairs = ((item, f"{place}[{index}]") for index, item in enumerate(data))
    elif isinstance(data, dict):
        pairs = ((item, f"{place}.{key}" if place else key) for key, item in data.items())
    else:
        return None
    return next((result for item, where in pairs if (result := _huge_number(item, where)) is not None), None)


# ---- for schemas --------------------------------------------------------------------------------------


def described_records() -> tuple[dict[str, Any], Callable[[str], str]]:
    """The JSON Schemas of the records by name, as pydantic makes them, and a record's docstring by its name."""
    reader = _reader()
    whole = reader.holder.model_json_schema(ref_template="#/$defs/{model}")
    return whole["$defs"], reader.likes.description


def optional_keys() -> frozenset[str]:
    """The keys that files of an older minor version lack, each after those of the objects that it stands in."""
    return frozenset(_ADDED)
