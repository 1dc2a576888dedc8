"""The JSON of `plica prove` follows its published schema, and its page explains every key."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from plica.commands.main import run
from plica.kinds.expectations import EXPECTATION_KINDS
from plica.prove.proof import ProofSubject
from plica.prove.prover import Prover
from plica.prove.report.summary import BOUNDLESS, FORMAT, VERSION, json_text
from plica.prove.results import Result, WorstFrame, WorstPlace
from plica.rig.rig import Expectation
from tests.support.arms import ELBOW, SHAPE, arms, rig_from

FOLDER = files("plica.prove.report")
SCHEMA: dict[str, Any] = json.loads((FOLDER / "proof.schema.json").read_text("utf-8"))
PAGE = (FOLDER / "proof.md").read_text("utf-8")
EVERY = """
pose salute { at about z of right lowerarm 40 deg }
control mood { range 0 .. 1 }
driver  mood { reads control mood   span 0 .. 1 }
expect both { volume of forearm within 1 %   girth of forearm border 30 % within 90 %   area of forearm within 90 % }
expect both { stretch of forearm at most 1 % on 98 %   squeeze of forearm at most 90 % }
expect both { shear of forearm at most 80 deg }
expect both { clearance of forearm from upperarm at least 1 mm   crossing of forearm none   reach elbow }
expect both { smooth elbow within 0.5   moved of hold at most 1   even of forearm within 9 mm over pose salute }
expect { rest   file rest   partition   even   shapes on at most 9 }
expect { shapes size at most 9 MiB   shapes moved at most 9 }
"""


def valid(document: Any) -> dict[str, Any]:
    """Validated by the library jsonschema, an implementation of JSON Schema draft 2020-12."""
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    jsonschema.validate(document, SCHEMA, cls=jsonschema.Draft202012Validator)
    result: dict[str, Any] = document
    return result


def strict(text: str) -> Any:
    """JSON without what RFC 8259 does not know."""

    def refuse(name: str) -> None:
        raise ValueError(f"{name} is no JSON")

    return json.loads(text, parse_constant=refuse)


def test_what_is_proven_of_a_character_follows_the_schema() -> None:
    made = arms(ELBOW + SHAPE + EVERY)
    results = list(Prover(ProofSubject(made.rig, made.attached)).results())
    accepted = {result.title: 1.0 for result in results if result.status == "fails"}
    document = valid(strict(json_text(made.rig, results, accepted, True)))
    entries = document["results"]
    assert {entry["kind"] for entry in entries} == set(EXPECTATION_KINDS) - {"overlap", "budget"}
    assert {entry["status"] for entry in entries} == {"holds", "fails", "not measured"}
    stretch = next(entry for entry in entries if entry["kind"] == "stretch")
    assert list(stretch["percentiles"]) == ["50", "90", "95", "98", "99"] and stretch["share"] == 0.98
    assert any(entry["pose"] and entry["pose"]["plain"]["joints"] for entry in entries)
    assert any(entry["change"] == "better" for entry in entries)


@pytest.mark.parametrize("kind", EXPECTATION_KINDS)
def test_every_kind_and_every_key_has_its_place(kind: str) -> None:
    frame = WorstFrame("hold", "spread", 3, 3.0, (("a", 1.0),))
    whole = Result(
        0, Expectation(kind, "left", ("r",), share=0.5, border=0.25), "fails", 0.2, 0.1, 0.3, 9, frame,
        WorstPlace("", -1, "", (0.0, 1.0, 2.0)), "why", "1.png", ((0.5, 0.1),),
    )  # fmt: skip
    bare = Result(1, Expectation(kind, "none"), "not measured", about="nothing to measure")
    for result in (whole, bare):
        for accepted in ({}, {result.title: 0.1}):
            valid(strict(json_text(rig_from(""), [result], accepted, False)))


@pytest.mark.parametrize("worst", [float("inf"), float("nan"), float("-inf")])
def test_a_figure_beyond_all_bounds_is_told_and_is_json(worst: float) -> None:
    result = Result(0, Expectation("stretch", "left", ("r",)), "fails", worst, 0.1, worst, 9)
    (entry,) = valid(strict(json_text(rig_from(""), [result], {}, True)))["results"]
    assert (entry["worst"], entry["withoutShapes"], entry["about"]) == (None, None, BOUNDLESS)
    named = replace(result, about="left_r")
    assert strict(json_text(rig_from(""), [named], {}, True))["results"][0]["about"] == "left_r"


@pytest.mark.parametrize(
    ("place", "value"),
    [
        ("status", "fine"),
        ("kind", "shine"),
        ("unit", "cm"),
        ("poses", -1),
        ("worst", "1"),
        ("border", 1.0),
        ("more", 1),
    ],
)
def test_the_schema_refuses_what_is_none(place: str, value: object) -> None:
    result = Result(0, Expectation("volume", "left", ("r",)), "holds", 0.1, 0.2)
    document = strict(json_text(rig_from(""), [result], {}, True))
    valid(document)
    document["results"][0][place] = value
    with pytest.raises(jsonschema.ValidationError):
        valid(document)


def test_the_schema_is_that_of_the_code() -> None:
    entry = SCHEMA["properties"]["results"]["items"]["properties"]
    assert (SCHEMA["properties"]["format"]["const"], SCHEMA["properties"]["version"]["const"]) == (FORMAT, VERSION)
    assert entry["kind"]["enum"] == sorted(EXPECTATION_KINDS)
    assert entry["unit"]["enum"] == sorted({kind.limit.unit for kind in EXPECTATION_KINDS.values()})


def keys_of(schema: Any) -> Iterator[str]:
    """Every key of objects that a schema names."""
    if isinstance(schema, dict):
        properties = schema.get("properties", {})
        yield from properties
        for value in schema.values():
            yield from keys_of(value)
    elif isinstance(schema, list):
        for value in schema:
            yield from keys_of(value)


def test_the_page_explains_every_key_and_no_other() -> None:
    told = {name for row in re.findall(r"^\| (`.*?) \|", PAGE, re.MULTILINE) for name in re.findall(r"`(\w+)`", row)}
    inside = {"joints", "controls", "rotation", "translation", "scale"}  # of `plain`, in its own row
    assert told == {key for key in keys_of(SCHEMA) if key != "properties"} - inside
    assert all(f"`{key}`" in PAGE for key in inside)


def test_the_command_prints_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    spec = tmp_path / "stick.plica"
    spec.write_text(
        "plica 1\ncharacter stick { skeleton { joint hips at 0 m, 1 m, 0 m } }\n"
        "driver lean { reads bend of hips   span 0 deg .. 30 deg }\nexpect { rest   reach lean   partition }\n",
        "utf-8",
    )
    run(["prove", str(spec), "--format", "json"])
    document = valid(strict(capsys.readouterr().out))
    assert document["character"] == "stick" and len(document["results"]) == 3
