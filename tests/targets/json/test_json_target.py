"""The target `json`: golden files, published schemas, and an interpreter written from its documentation."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.vectors_json import vectors_schema
from plica.rig.rig import Rig
from plica.rig.rig_json import read_rig
from plica.rig.rig_schema import schema_text
from plica.targets.json import TARGET
from tests.support.rigs import random_rig
from tests.targets.golden_files import check_golden
from tests.targets.json.interpreter import strengths
from tests.targets.rigs import whole_rig

HERE = Path(__file__).resolve().parent
PAGE = HERE.parents[2] / "targets" / "json"


def emitted(rig: Rig) -> dict[str, bytes]:
    diagnostics = Diagnostics()
    files = TARGET.emit(Build(rig), diagnostics)
    assert diagnostics.all == ()
    return files


def test_golden_files() -> None:
    """The rig only: the vectors' last digits depend on the machine's mathematical functions."""
    files = emitted(whole_rig())
    assert sorted(files) == ["wren.rig.json", "wren.vectors.json"]
    check_golden({"wren.rig.json": files["wren.rig.json"]}, HERE / "golden")


def test_the_emitted_rig_reads_back() -> None:
    assert read_rig(emitted(whole_rig())["wren.rig.json"].decode("utf-8")) == whole_rig()


def test_the_published_schema_of_vectors_is_current() -> None:
    assert (PAGE / "vectors.schema.json").read_text("utf-8") == schema_text(vectors_schema())


@pytest.mark.parametrize(
    ("file", "schema"), [("wren.rig.json", "rig.schema.json"), ("wren.vectors.json", "vectors.schema.json")]
)
def test_outputs_follow_the_published_schemas(file: str, schema: str) -> None:
    """Validated by the library jsonschema, an implementation of JSON Schema draft 2020-12."""
    rules = json.loads((PAGE / schema).read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(rules)
    jsonschema.Draft202012Validator(rules).validate(json.loads(emitted(whole_rig())[file]))


@pytest.mark.parametrize("make", [whole_rig, lambda: random_rig(7)], ids=["whole", "random"])
def test_an_interpreter_made_from_the_documentation_agrees(make: object) -> None:
    """interpreter.py shares no code with Plica: it implements README.md, in plain Python."""
    rig = make()  # type: ignore[operator]
    files = emitted(rig)
    data = json.loads(next(content for name, content in files.items() if name.endswith(".rig.json")))
    vectors = json.loads(files["wren.vectors.json"])
    assert vectors["tolerance"] == 1e-9
    assert vectors["vectors"][0]["pose"] == {"joints": {}, "controls": {}}
    for vector in vectors["vectors"]:
        result = strengths(data, vector["pose"])
        assert list(result) == list(vector["strengths"])
        for name, expected in vector["strengths"].items():
            assert result[name] == pytest.approx(expected, rel=0, abs=1e-9), name


def test_every_key_of_the_format_is_documented() -> None:
    page = (PAGE / "README.md").read_text("utf-8")
    rules = json.loads((PAGE / "rig.schema.json").read_text("utf-8"))
    keys = {key for definition in rules["$defs"].values() for key in definition["properties"]}
    assert [key for key in sorted(keys | set(rules["properties"])) if key not in page] == []
    kinds = {
        entry["const"]
        for definition in rules["$defs"].values()
        for name, entry in definition["properties"].items()
        if name == "kind" and "const" in entry
    }
    assert [kind for kind in sorted(kinds) if f'"{kind}"' not in page] == []


def test_named_poses_give_what_they_are_named_for() -> None:
    """A declared pose has its strengths at their amounts, a sample's pose its strength at 1, by the interpreter."""
    rig = whole_rig()
    files = emitted(rig)
    data, vectors = (json.loads(files[f"wren.{kind}.json"]) for kind in ("rig", "vectors"))
    named = {one["name"]: one for one in vectors["named_poses"]}
    samples = [entry["name"] for entry in data["strengths"] if entry["kind"] == "sample"]
    assert list(named) == [*(pose["name"] for pose in data["poses"]), *samples]
    assert named["salute"]["words"] == "bent 1, about x of back 11.4592 deg"
    assert strengths(data, named["salute"]["pose"])["bent"] == pytest.approx(1.0, abs=1e-6)
    assert list(named["salute"]["pose"]["joints"]) == ["back", "left_upperarm"]
    assert samples
    for name in samples:
        assert strengths(data, named[name]["pose"])[name] == pytest.approx(1.0, abs=1e-9), named[name]["words"]
