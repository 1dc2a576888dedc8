"""JSON and TOML from anywhere: read, or refused in words."""

from __future__ import annotations

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plica.plain_data import UnreadableDataError, json_of, toml_of, usable

DEEP = 100_000


@pytest.mark.parametrize(
    ("content", "problem"),
    [
        ("", "not JSON"),
        (b"\xff", "byte 0 is not UTF-8"),
        ("[" * DEEP, "nested too deeply"),
        ('{"a":' * DEEP, "nested too deeply"),
        ("[" * DEEP + "]" * DEEP, "nested too deeply"),
        ("9" * 5000, "too many digits"),
        ("NaN", "NaN is not a number"),
        ("[-Infinity]", "-Infinity is not a number"),
        ('{"a": {"b": 1, "b": 2}}', "the key 'b' stands twice"),
    ],
)
def test_json_that_is_refused(content: str | bytes, problem: str) -> None:
    with pytest.raises(UnreadableDataError, match=problem):
        json_of(content)


@pytest.mark.parametrize(
    ("content", "problem"),
    [
        ("1e999", "larger than any"),
        ("[[-1e999]]", "larger than any"),
        ("9" * 4000, "larger than any"),
        ('{"a": ["\\ud800"]}', "half of a surrogate pair"),
        ('{"\\udfff": 1}', "half of a surrogate pair"),
    ],
)
def test_json_that_no_output_could_write(content: str, problem: str) -> None:
    value = json_of(content)
    with pytest.raises(UnreadableDataError, match=problem):
        usable(value)


def test_what_is_whole_is_handed_on() -> None:
    value = {"a": [1, 2.5, None, True, "\U0001f9a6", {"b": -1e300}]}
    assert usable(json_of(json.dumps(value))) == value
    assert json_of(b"\xef\xbb\xbf[1]") == [1]


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("a = " + "[" * DEEP, "nested too deeply"),
        ("a = " + "{a=" * DEEP, "nested too deeply"),
        ("a = " + "9" * 5000, "too many digits"),
        ("a = 1\na = 2", "Cannot overwrite"),
        ('a = "\\ud800"', "at line 1"),
        ("a = 1979-99-99", "at line 1"),
        ("=", "at line 1"),
        ("a." * 100_000 + "a = 1", "more than 64 parts"),
        ("[" + '"b c" . ' * 100_000 + "a]", "more than 64 parts"),
        ("a = {" + "'b'.c\t." * 100_000 + "a=1}", "more than 64 parts"),
    ],
)
def test_toml_that_is_refused(text: str, problem: str) -> None:
    with pytest.raises(UnreadableDataError, match=problem):
        toml_of(text)


def test_reasons_are_prose_and_keys_may_have_parts() -> None:
    reason = "It is agreed. Yes. So be it. " * 1000 + "a.b.c"
    assert toml_of(f'a = "{reason}"\n{".".join("b" * 60)} = 1')["a"] == reason
    for text in ("a" * 1_000_000, '"' * 1_000_000, "a b." * 200_000):
        with pytest.raises(UnreadableDataError):
            toml_of(text)


@given(st.text(alphabet='[]{}",:=.#\\n\n \\u0dfe1-+aNnt', max_size=60))
@settings(max_examples=300, deadline=None)
def test_no_text_ends_in_another_error(text: str) -> None:
    for read in (json_of, toml_of):
        try:
            usable(read(text))
        except UnreadableDataError:
            continue
