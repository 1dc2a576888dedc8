"""The contract of the rig in JSON: what its schema accepts, what a minor version may add, and what nobody can read.

The schema is validated by the library jsonschema, an implementation of JSON Schema draft 2020-12.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

import jsonschema
import pytest

import plica
from plica.diagnostics import Diagnostics
from plica.emit.artifacts import Request, build_targets
from plica.emit.build import Build
from plica.emit.identity import BuildSources, made_from
from plica.mesh.computed_cache import ComputedCache
from plica.rig.rig import FORMAT_MINOR, SourceFile
from plica.rig.rig_json import RigFormatError, read_rig, write_rig
from plica.rig.rig_schema import MOST_SAMPLES, rig_schema
from plica.workspace import Refused
from tests.support.rigs import random_rig
from tests.targets.rigs import whole_rig

ROOT = Path(__file__).resolve().parents[2]
Change = Callable[[Any], object]


@cache
def validator() -> Any:
    return jsonschema.Draft202012Validator(rig_schema())


def data() -> Any:
    return json.loads(write_rig(whole_rig()))


def curve(data: Any, kind: str) -> Any:
    return next(one["curve"] for one in data["strengths"] if one["kind"] == "driver" and one["curve"]["kind"] == kind)


def reading(data: Any, kind: str) -> Any:
    readings = (one["reading"] for one in data["strengths"] if one["kind"] == "driver")
    return next(one for one in readings if one["kind"] == kind)


def field(data: Any, kernel: str) -> Any:
    return next(one for one in data["fields"] if one["kernel"] == kernel)


NONSENSE: dict[str, Change] = {
    "order abc": lambda data: reading(data, "euler").update(order="abc"),
    "order xxy": lambda data: reading(data, "euler").update(order="xxy"),
    "channel": lambda data: reading(data, "euler").update(channel="w"),
    "equal span": lambda data: data["strengths"][0].update(span=[0.5, 0.5]),
    "span of one": lambda data: data["strengths"][0].update(span=[0.5]),
    "no knots": lambda data: curve(data, "hermite").update(knots=[]),
    "one knot": lambda data: curve(data, "hermite")["knots"].__delitem__(slice(1, None)),
    "knots not from 0": lambda data: curve(data, "hermite")["knots"][0].__setitem__(0, 0.25),
    "no points": lambda data: curve(data, "points").update(points=[]),
    "bezier x below 0": lambda data: curve(data, "bezier")["controls"].__setitem__(0, -0.1),
    "bezier x above 1": lambda data: curve(data, "bezier")["controls"].__setitem__(2, 1.1),
    "bezier of three": lambda data: curve(data, "bezier")["controls"].pop(),
    "no parts": lambda data: next(one for one in data["strengths"] if one["kind"] == "combine")["combination"].update(
        parts=[]
    ),
    "ragged coefficients": lambda data: field(data, "gaussian")["coefficients"][0].append(0.5),
    "coefficients lack a row": lambda data: field(data, "gaussian")["coefficients"].pop(),
    "constants lack one": lambda data: field(data, "gaussian")["constants"].pop(),
    "coefficients of a ramp": lambda data: field(data, "ramp").update(coefficients=[[1.0], [1.0]]),
    "width 0": lambda data: field(data, "ramp")["samples"][1].update(width=0.0),
    "no samples": lambda data: field(data, "ramp").update(samples=[]),
    "unit 0": lambda data: data["character"]["geometry"].update(unit=0.0),
    "unknown kind of reading": lambda data: data["strengths"][0]["reading"].update(kind="gizmo"),
    "unknown kernel": lambda data: data["fields"][0].update(kernel="gizmo"),
    "another version": lambda data: data.update(version=3),
    "a minor version below 0": lambda data: data.update(minor=-1),
    "a key is missing": lambda data: data["strengths"][0].pop("clamped"),
    "NaN as null": lambda data: data["strengths"][0]["span"].__setitem__(0, None),
    "NaN as text": lambda data: data["strengths"][0]["span"].__setitem__(0, "NaN"),
}


@pytest.mark.parametrize("make", [whole_rig, lambda: random_rig(3)], ids=["whole", "random"])
def test_schema_and_reader_accept_what_is_written(make: Callable[[], Any]) -> None:
    text = write_rig(make())
    validator().validate(json.loads(text))
    assert write_rig(read_rig(text)) == text


@pytest.mark.parametrize("what", NONSENSE)
def test_schema_and_reader_refuse_what_nobody_can_evaluate(what: str) -> None:
    changed = data()
    NONSENSE[what](changed)
    assert not validator().is_valid(changed)
    with pytest.raises(RigFormatError):
        read_rig(json.dumps(changed))


@pytest.mark.parametrize("count", [1, MOST_SAMPLES, MOST_SAMPLES + 1, 40])
def test_fields_of_any_size_follow_the_schema(count: int) -> None:
    """Tables of the right sizes are accepted however many samples there are, and rows that are too short refused."""
    changed = data()
    one = field(changed, "gaussian")
    sample = one["samples"][1]
    one["samples"] = [one["samples"][0], *({**sample, "name": f"sample {number}"} for number in range(count))]
    one["coefficients"] = [[0.5] * count for _ in range(count + 1)]
    one["constants"] = [0.0] * count
    changed["strengths"] = [entry for entry in changed["strengths"] if entry.get("field") != one["name"]]
    validator().validate(changed)
    one["coefficients"][-1] = [0.5] * min(count - 1, MOST_SAMPLES)
    assert not validator().is_valid(changed)


def test_what_a_newer_minor_version_may_add_follows_the_schema() -> None:
    """Keys that no reader of today knows, anywhere. Plica's own reader refuses it, because it compares rigs."""
    changed = data()
    changed["minor"] = FORMAT_MINOR + 1
    changed["later"] = {"anything": None}
    changed["strengths"][0]["later"] = 1
    changed["strengths"][0]["reading"]["later"] = "x"
    changed["shapes"][0]["later"] = []
    validator().validate(changed)
    with pytest.raises(RigFormatError, match=f"minor: {FORMAT_MINOR + 1} is newer than this Plica reads"):
        read_rig(json.dumps(changed))


def test_an_older_minor_version_is_read_and_follows_the_schema() -> None:
    """Minor version 0 had neither `minor` nor `made_from`, 1 no directions of folds; today's must have all."""
    changed = data()
    for fold in changed["folds"]:
        del fold["directions"]
    changed["minor"] = 1
    validator().validate(changed)
    assert read_rig(json.dumps(changed))._replace(minor=FORMAT_MINOR) == whole_rig()
    changed["minor"] = 2
    with pytest.raises(RigFormatError, match=r"folds\[0\].directions: this key is missing"):
        read_rig(json.dumps(changed))
    del changed["minor"], changed["made_from"]
    validator().validate(changed)
    assert read_rig(json.dumps(changed)) == whole_rig()
    changed["minor"] = FORMAT_MINOR
    with pytest.raises(RigFormatError, match="made_from: this key is missing"):
        read_rig(json.dumps(changed))


def test_numbers_that_are_none_are_refused_and_never_written() -> None:
    text = write_rig(whole_rig())
    first = text.index('"span": [') + len('"span": [')
    for word in ("NaN", "Infinity", "-Infinity", "1e999"):
        with pytest.raises(RigFormatError):
            read_rig(text[:first] + word + text[text.index(",", first) :])
    joint = whole_rig().skeleton[0]
    spoilt = joint._replace(neutral=joint.neutral._replace(translation=(float("nan"), 0.0, 0.0)))
    with pytest.raises(ValueError, match="JSON"):
        write_rig(whole_rig()._replace(skeleton=(spoilt, *whole_rig().skeleton[1:])))


def test_every_published_schema_has_an_id_of_its_own() -> None:
    published = [
        path for folder in ("targets", "compiler", "grammar") for path in sorted((ROOT / folder).rglob("*.schema.json"))
    ]
    assert len(published) >= 7
    ids = {json.loads(path.read_text("utf-8"))["$id"] for path in published}
    assert len(ids) == len(published)
    assert all(one.startswith("urn:plica:schema:") for one in ids)


def test_a_built_rig_says_what_it_was_made_from() -> None:
    """The version, the rig as the spec says it, and the files with what they held; a comment changes nothing."""
    bare = whole_rig()
    sources = BuildSources(lambda file: Refused("gone", {}), ComputedCache(), (("wren.glb", "ab"), ("gone.npz", "")))
    built = build_targets(Build(bare, sources=None), [Request("json")], Diagnostics())
    rig, vectors = (json.loads(built.files[f"wren.{kind}.json"]) for kind in ("rig", "vectors"))
    text = write_rig(bare._replace(build=None, made_from=None))
    expected = {"plica": plica.__version__, "spec_sha256": sha256(text.encode()).hexdigest(), "sources": []}
    assert rig["made_from"] == vectors["made_from"] == expected
    validator().validate(rig)
    assert made_from(bare, sources).sources == (SourceFile("wren.glb", "ab"),)
    assert made_from(read_rig(json.dumps(rig)), sources) == made_from(bare, sources)
