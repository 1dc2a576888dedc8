"""Typed access to parsed JSON of unknown origin: a wrong type is said in words, never met as a traceback."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from plica.readers.model_outline import UnreadableModel

Fields = Mapping[str, Any]
LARGEST_NUMBER = 1e12  # metres; anything beyond is a broken file, and its products would overflow


def fields(value: object, place: str) -> Fields:
    """The value as an object."""
    if not isinstance(value, dict):
        raise UnreadableModel(f"{place} is not an object")
    return value


def items(holder: Fields, key: str, place: str) -> list[Any]:
    """The array `key`, empty where it is absent."""
    value = holder.get(key)
    if value is None:
        return []
    if not isinstance(value, list):
        raise UnreadableModel(f"{place}.{key} is not an array")
    return value


def objects(holder: Fields, key: str, place: str) -> list[Fields]:
    """The array of objects `key`, empty where it is absent."""
    return [fields(item, f"{place}.{key}[{index}]") for index, item in enumerate(items(holder, key, place))]


def text(holder: Fields, key: str, place: str) -> str | None:
    """The text `key`; None where it is absent or empty."""
    value = holder.get(key)
    if value is None or value == "":
        return None
    if not isinstance(value, str):
        raise UnreadableModel(f"{place}.{key} is not a text")
    try:
        value.encode("utf-8")  # JSON can spell half of a surrogate pair, which no output could write
    except UnicodeEncodeError as error:
        raise UnreadableModel(f"{place}.{key} is not valid Unicode") from error
    return value


def index_of(value: object, count: int, place: str) -> int:
    """The value as an index into a list of `count` things."""
    if type(value) is not int:
        raise UnreadableModel(f"{place} is not a whole number")
    if not 0 <= value < count:
        raise UnreadableModel(f"{place} refers to number {shown(value)}, but there are {count}, counted from 0")
    return value


def index(holder: Fields, key: str, count: int, place: str) -> int | None:
    """The index `key` into a list of `count` things; None where it is absent."""
    value = holder.get(key)
    return None if value is None else index_of(value, count, f"{place}.{key}")


def indexes(holder: Fields, key: str, count: int, place: str) -> list[int]:
    """The array of indexes `key`, empty where it is absent."""
    return [
        index_of(value, count, f"{place}.{key}[{position}]") for position, value in enumerate(items(holder, key, place))
    ]


def whole(holder: Fields, key: str, default: int, place: str) -> int:
    """The whole number `key`, not negative."""
    value = holder.get(key, default)
    if type(value) is not int or not 0 <= value < 2**53:
        raise UnreadableModel(f"{place}.{key} is not a whole number of a usable size")
    return value


def numbers(holder: Fields, key: str, count: int, place: str) -> tuple[float, ...] | None:
    """The array of `count` finite numbers `key`; None where it is absent."""
    value = holder.get(key)
    if value is None:
        return None
    if not isinstance(value, list) or len(value) != count:
        raise UnreadableModel(f"{place}.{key} is not an array of {count} numbers")
    for number in value:
        if type(number) not in (int, float) or not -LARGEST_NUMBER <= number <= LARGEST_NUMBER:
            raise UnreadableModel(f"{place}.{key} holds a value that is not a usable number")
    return tuple(map(float, value))


def shown(number: int) -> str:
    """A number short enough for a message."""
    return str(number) if abs(number) < 10**12 else "of many digits"
