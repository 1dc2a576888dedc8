"""The Rig as JSON: canonical, exact, and refused in plain words where it is wrong."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plica.rig.rig import Rig
from plica.rig.rig_json import RigFormatError, encoded, read_rig, write_rig
from plica.rig.rig_schema import rig_schema, schema_text
from tests.targets.rigs import SKELETON, whole_rig
from tests.targets.strategies import rigs

ROOT = Path(__file__).resolve().parents[2]


@given(rigs())
@settings(max_examples=60, deadline=None)
def test_reading_back_gives_the_equal_rig_and_the_same_text(rig: Rig) -> None:
    text = write_rig(rig)
    read = read_rig(text)
    assert read == rig
    assert write_rig(read) == text
    assert kinds_of(read) == kinds_of(rig)


def kinds_of(value: object) -> object:
    """The types of all records in a rig: named tuples are equal to plain ones."""
    return [type(value).__name__, *map(kinds_of, value)] if isinstance(value, tuple) else None


def test_the_whole_rig_round_trips() -> None:
    assert read_rig(encoded(write_rig(whole_rig())).decode("utf-8")) == whole_rig()


def test_one_entry_stands_on_one_line() -> None:
    rig = whole_rig()
    lines = write_rig(rig).splitlines()
    assert sum('"kind": "driver"' in line or '"kind": "combine"' in line for line in lines) == sum(
        strength.kind != "sample" for strength in rig.strengths
    )
    changed = rig._replace(shapes=(rig.shapes[0]._replace(threshold=0.5), *rig.shapes[1:]))
    other = write_rig(changed).splitlines()
    assert [a for a, b in zip(lines, other, strict=True) if a != b] == [
        line for line in lines if line.startswith('{"name": "swell"')
    ]


def test_equal_rigs_have_equal_texts() -> None:
    rig = whole_rig()
    joint = SKELETON[-1]
    whole: Any = (0, 1, -0.0)
    same = joint._replace(neutral=joint.neutral._replace(translation=whole))
    first = rig._replace(
        skeleton=(*SKELETON[:-1], joint._replace(neutral=joint.neutral._replace(translation=(0.0, 1.0, 0.0))))
    )
    assert write_rig(first) == write_rig(rig._replace(skeleton=(*SKELETON[:-1], same)))
    assert "[0.0, 1.0, 0.0]" in write_rig(first)


def test_half_surrogates_are_escaped() -> None:
    assert encoded('"\ud800"') == b'"\\ud800"'


def test_text_follows_the_schema() -> None:
    """Validated by the library jsonschema, an implementation of JSON Schema draft 2020-12."""
    schema = rig_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    data = json.loads(write_rig(whole_rig()))
    validator = jsonschema.Draft202012Validator(schema)
    validator.validate(data)
    data["strengths"][0]["reading"]["kind"] = "gizmo"
    assert not validator.is_valid(data)


def test_the_published_schema_is_current() -> None:
    published = ROOT / "targets" / "json" / "rig.schema.json"
    assert published.read_text("utf-8") == schema_text(rig_schema())


def _entry(place: str, index: int) -> Callable[[Any], Any]:
    return lambda data: data[place][index]


WRONG: list[tuple[str, Callable[[Any], object], str]] = [
    ("no rig", lambda data: data.update(format="x"), "format: this is not a rig"),
    ("newer", lambda data: data.update(version=3), "version: 3 is newer than this Plica reads (2)"),
    ("version text", lambda data: data.update(version="1"), "version: must be 2"),
    ("version true", lambda data: data.update(version=True), "version: must be 2"),
    ("no list", lambda data: data.pop("shapes"), "shapes: this key is missing"),
    ("unknown key", lambda data: data.update(colour=1), "colour: the format has no such key here"),
    ("list for number", lambda data: data["character"].update(tolerance=[]), "character.tolerance: must be a number"),
    ("text for number", lambda data: data["character"].update(tolerance="1"), "character.tolerance: must be a number"),
    ("number for text", lambda data: data["skeleton"][2].update(name=3), "skeleton[2].name: must be text"),
    (
        "short vector",
        lambda data: data["skeleton"][2]["rest"]["scale"].pop(),
        "skeleton[2].rest.scale[2]: this key is missing",
    ),
    ("side", lambda data: data["skeleton"][2].update(side="up"), "skeleton[2].side: must be 'left', 'right' or 'none'"),
    ("kind", lambda data: data["strengths"][0].update(kind="x"), "strengths[0].kind: must be 'driver', 'combine' or"),
    ("reading", lambda data: data["strengths"][0]["reading"].update(kind="x"), "strengths[0].reading.kind: must be "),
    ("no kind", lambda data: data["strengths"][0]["curve"].pop("kind"), "strengths[0].curve.kind: this key is missing"),
    (
        "field of the kind that it is",
        lambda data: data["strengths"][0]["reading"].update(joint=None),
        "strengths[0].reading.joint: must be text",
    ),
    (
        "part",
        lambda data: data["strengths"].reverse() or data["strengths"][0]["combination"]["parts"][0].update(strength=1),
        "strengths[0].combination.parts[0].strength: must be text",
    ),
    ("joint", lambda data: data["strengths"][0]["reading"].update(joint="x"), "strengths[0].reading.joint: there is"),
    ("parent", lambda data: data["skeleton"].reverse(), "skeleton[0].parent: no joint 'back' stands before this one"),
    ("twice", lambda data: data["shapes"].append(data["shapes"][0]), "shapes[3].name: 'swell' stands twice"),
    ("span", lambda data: data["strengths"][0].update(span=[1, 1]), "strengths[0].span: its two ends are the same"),
    ("order", lambda data: data["strengths"].reverse(), "strengths[0].combination.parts[0].strength: no strength"),
    ("knots", lambda data: data["strengths"][0]["curve"]["knots"].pop(), "strengths[0].curve.knots: the first numbers"),
    ("follows", lambda data: data["shapes"][0].update(follows="x"), "shapes[0].follows: there is no strength 'x'"),
    ("detail", lambda data: data["folds"][0].update(detail="x"), "folds[0].detail: there is no detail 'x'"),
    ("rows", lambda data: data["fields"][0]["coefficients"].pop(), "fields[0].coefficients: must hold 3 rows of 2"),
    ("width", lambda data: data["fields"][0].update(width=None), "fields[0].width: must be above 0"),
    (
        "huge",
        lambda data: data["skeleton"][1]["neutral"].update(translation=[0.0, -1e31, 0.0]),
        "skeleton[1].neutral.translation[1]: is beyond 1e+30",
    ),
    ("huge count", lambda data: data["details"][0].update(budget=1e31), "details[0].budget: is beyond 1e+30"),
    ("region", lambda data: data["regions"][3]["source"].update(regions=["x"]), "regions[3].source.regions[0]: there"),
]


@pytest.mark.parametrize(("change", "message"), [row[1:] for row in WRONG], ids=[row[0] for row in WRONG])
def test_mistakes_are_named_in_plain_words(change: Callable[[Any], object], message: str) -> None:
    data = json.loads(write_rig(whole_rig()))
    change(data)
    with pytest.raises(RigFormatError) as caught:
        read_rig(json.dumps(data))
    assert str(caught.value).startswith(message)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "not JSON"),
        ('{"format": "plica-rig",}', "not JSON"),
        ("[1]", "format: this is not a rig"),
        ('{"a": NaN}', "NaN is not a number"),
        ('{"a": 1, "a": 2}', "the key 'a' stands twice"),
        ("[" * 100_000, "nested too deeply"),
        ("1" * 10_000, "a whole number in it has too many digits"),
        ('{"format": "plica-rig", "version": 2, "character": "\\ud800"}', "not JSON: .* hex escape"),
    ],
)
def test_no_text_ends_in_another_error(text: str, message: str) -> None:
    with pytest.raises(RigFormatError, match=message):
        read_rig(text)


@given(st.data())
@settings(max_examples=150, deadline=None)
def test_damaged_texts_are_refused_or_read(data: st.DataObject) -> None:
    text = write_rig(whole_rig())
    start = data.draw(st.integers(0, len(text)))
    end = start + data.draw(st.integers(0, 40))
    inserted = data.draw(st.text(max_size=5) | st.sampled_from(("null", "[]", "{}", '"x"', "1e999", "-", '"kind": 3')))
    try:
        rig = read_rig(text[:start] + inserted + text[end:])
    except RigFormatError as error:
        assert "pydantic" not in str(error).lower()
    else:
        assert read_rig(write_rig(rig)) == rig


def test_numbers_that_json_cannot_hold_are_our_own_mistake() -> None:
    rig = whole_rig()
    with pytest.raises(ValueError, match="Out of range"):
        write_rig(rig._replace(character=rig.character._replace(tolerance=float("nan"))))
