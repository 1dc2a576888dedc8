"""The SARIF output against the standard: OASIS, Static Analysis Results Interchange Format (SARIF) Version 2.1.0.

The rules checked are written out by hand from the standard's text; the section stands beside each.
"""

from __future__ import annotations

import json
from typing import Any
from urllib.parse import unquote, urlsplit

import pytest
from jsonschema import Draft7Validator

from plica.diagnostics import Diagnostics, Fix, Label
from plica.diagnostics.sarif import region, render, uri
from plica.source import Source, Span

MESSAGE = {
    "type": "object",
    "additionalProperties": False,
    "required": ["text"],  # 3.11.8: text or id must be there; ids are not used here
    "properties": {"text": {"type": "string", "minLength": 1}, "markdown": {"type": "string"}},
}
REGION = {
    "type": "object",
    "additionalProperties": False,
    "required": ["startLine", "startColumn", "endLine", "endColumn"],
    # 3.30.5 to 3.30.8: lines and columns count from 1
    "properties": {
        key: {"type": "integer", "minimum": 1} for key in ("startLine", "startColumn", "endLine", "endColumn")
    },
}
ARTIFACT = {  # 3.4
    "type": "object",
    "additionalProperties": False,
    "required": ["uri"],
    "properties": {"uri": {"type": "string", "format": "uri-reference", "pattern": r"^[\x21-\x7e]+$"}},
}
PHYSICAL = {  # 3.29
    "type": "object",
    "additionalProperties": False,
    "required": ["artifactLocation"],
    "properties": {"artifactLocation": ARTIFACT, "region": REGION},
}
LOCATION = {  # 3.28; 3.28.2: id is a non-negative integer
    "type": "object",
    "additionalProperties": False,
    "properties": {"id": {"type": "integer", "minimum": 0}, "physicalLocation": PHYSICAL, "message": MESSAGE},
}
FIX = {  # 3.55 fix, 3.56 artifactChange, 3.57 replacement
    "type": "object",
    "additionalProperties": False,
    "required": ["artifactChanges"],
    "properties": {
        "description": MESSAGE,
        "artifactChanges": {
            "type": "array",
            "minItems": 1,
            "items": {
                "type": "object",
                "additionalProperties": False,
                "required": ["artifactLocation", "replacements"],
                "properties": {
                    "artifactLocation": ARTIFACT,
                    "replacements": {
                        "type": "array",
                        "minItems": 1,
                        "items": {
                            "type": "object",
                            "additionalProperties": False,
                            "required": ["deletedRegion"],
                            "properties": {
                                "deletedRegion": REGION,
                                "insertedContent": {"type": "object", "required": ["text"]},
                            },
                        },
                    },
                },
            },
        },
    },
}
LEVEL = {"enum": ["none", "note", "warning", "error"]}  # 3.27.10
RESULT = {  # 3.27
    "type": "object",
    "additionalProperties": False,
    "required": ["message"],
    "properties": {
        "ruleId": {"type": "string"},
        "ruleIndex": {"type": "integer", "minimum": -1},
        "level": LEVEL,
        "message": MESSAGE,
        "locations": {"type": "array", "items": LOCATION},
        "relatedLocations": {"type": "array", "items": LOCATION, "uniqueItems": True},
        "fixes": {"type": "array", "items": FIX, "uniqueItems": True},
    },
}
ABSOLUTE = {"type": "string", "pattern": r"^[a-z]+:[\x21-\x7e]+$"}
RULE = {  # 3.49 reportingDescriptor
    "type": "object",
    "additionalProperties": False,
    "required": ["id"],
    "properties": {
        "id": {"type": "string"},
        "name": {"type": "string"},
        "shortDescription": MESSAGE,
        "fullDescription": MESSAGE,
        "help": MESSAGE,
        "helpUri": ABSOLUTE,  # 3.49.12
        "defaultConfiguration": {"type": "object", "properties": {"level": LEVEL}},
    },
}
LOG = {  # 3.13
    "type": "object",
    "required": ["version", "runs"],
    "additionalProperties": False,
    "properties": {
        "$schema": {"type": "string", "pattern": r"^https://docs\.oasis-open\.org/sarif/.*sarif-schema-2\.1\.0\.json$"},
        "version": {"const": "2.1.0"},  # 3.13.2
        "runs": {
            "type": "array",
            "items": {  # 3.14
                "type": "object",
                "additionalProperties": False,
                "required": ["tool", "columnKind"],  # 3.14.17: given wherever results have columns
                "properties": {
                    # 3.17.3: what stands before the last slash is the category
                    "automationDetails": {"properties": {"id": {"type": "string", "pattern": "^plica/[a-z]+/$"}}},
                    "columnKind": {"enum": ["utf16CodeUnits", "unicodeCodePoints"]},
                    "tool": {
                        "type": "object",
                        "required": ["driver"],
                        "properties": {
                            "driver": {  # 3.19
                                "type": "object",
                                "required": ["name"],
                                "properties": {
                                    "rules": {"type": "array", "items": RULE, "uniqueItems": True},
                                    "informationUri": ABSOLUTE,  # 3.19.16
                                    "semanticVersion": {"type": "string", "pattern": r"^\d+\.\d+\.\d+"},
                                },
                            }
                        },
                    },
                    "results": {"type": "array", "items": RESULT},
                },
            },
        },
    },
}


def log() -> dict[str, Any]:
    source = Source("mein spec/手.plica", "plica 1\ndrivr 手 {\n}\n")
    diagnostics = Diagnostics()
    span = Span(source, 8, 13)
    label = Label(Span(source, 16, 19), "the end of it")
    diagnostics.add(
        "unexpected-text", span, labels=[label], fix=Fix(span, "driver"), found="drivr", expected="`driver`"
    )
    diagnostics.add("stray-brace", Span(source, 8, 18))
    diagnostics.add("stray-brace", None)
    diagnostics.add("more-mistakes", Span(source, 19, 19), shown=3)
    return json.loads(render(diagnostics.all, "check"))  # type: ignore[no-any-return]


@pytest.mark.parametrize("document", [log(), json.loads(render((), "check"))], ids=["findings", "nothing found"])
def test_the_log_has_the_form_that_the_standard_asks_for(document: dict[str, Any]) -> None:
    Draft7Validator.check_schema(LOG)
    Draft7Validator(LOG).validate(document)


def test_results_name_their_rule_by_id_and_index() -> None:
    """3.27.5 and 3.27.6: ruleIndex is the index into the driver's rules, whose id is ruleId."""
    (run,) = log()["runs"]
    rules = run["tool"]["driver"]["rules"]
    assert len({rule["id"] for rule in rules}) == len(rules) == 3
    for result in run["results"]:
        assert rules[result["ruleIndex"]]["id"] == result["ruleId"]
        assert result["level"] == rules[result["ruleIndex"]]["defaultConfiguration"]["level"]


def test_texts_end_as_sentences_of_plain_text() -> None:
    """3.49.9: shortDescription is one sentence; 3.11.2: plain text holds no line breaks it does not need."""
    (run,) = log()["runs"]
    for rule in run["tool"]["driver"]["rules"]:
        short = rule["shortDescription"]["text"]
        assert short.endswith(".") and "\n" not in short
        assert rule["fullDescription"]["text"].startswith(short)


def test_the_example_of_the_standard() -> None:
    """3.30.2: with lines that end in CR LF, the region of "bc" in "abcd" is startLine 1, startColumn 2, endColumn 4."""
    source = Source("example", "abcd\r\nefg\r\nhijk\r\nlmn\r\n")
    assert region(Span(source, 1, 3)) == {"startLine": 1, "startColumn": 2, "endLine": 1, "endColumn": 4}
    assert region(Span(source, 6, 9)) == {"startLine": 2, "startColumn": 1, "endLine": 2, "endColumn": 4}


def test_columns_are_code_points() -> None:
    """3.14.17: with columnKind unicodeCodePoints a character outside the basic plane is one column."""
    assert region(Span(Source("x", "🦦 ab"), 2, 4)) == {
        "startLine": 1,
        "startColumn": 3,
        "endLine": 1,
        "endColumn": 5,
    }


def test_a_fix_applied_by_its_columns_mends_the_text() -> None:
    """3.57: a replacement deletes its region and inserts its content."""
    text = "plica 1\ndrivr 手 {\n}\n"
    (result,) = [one for one in log()["runs"][0]["results"] if "fixes" in one]
    (change,) = result["fixes"][0]["artifactChanges"][0]["replacements"]
    at = change["deletedRegion"]
    lines = text.split("\n")
    line = lines[at["startLine"] - 1]
    lines[at["startLine"] - 1] = (
        line[: at["startColumn"] - 1] + change["insertedContent"]["text"] + line[at["endColumn"] - 1 :]
    )
    assert "\n".join(lines) == "plica 1\ndriver 手 {\n}\n"


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("a.plica", "a.plica"),
        ("../library/hand one.plica", "../library/hand%20one.plica"),
        ("手/50%.plica", "%E6%89%8B/50%25.plica"),
        ("a:b.plica", "a%3Ab.plica"),  # RFC 3986, 4.2: a first step with a colon would read as a scheme
        ("/home/wren/a.plica", "file:///home/wren/a.plica"),
        ("C:\\river\\a.plica", "file:///C:/river/a.plica"),
    ],
)
def test_paths_become_uri_references(path: str, expected: str) -> None:
    """3.10.1: a URI reference as in RFC 3986; 3.4.3."""
    written = uri(Source(path, ""))
    assert written == expected
    parts = urlsplit(written)
    assert parts.scheme in ("", "file") and not parts.query and not parts.fragment
    assert unquote(parts.path).removeprefix("/").replace("\\", "/") == path.replace("\\", "/").removeprefix("/")


def test_two_runs_give_the_same_bytes() -> None:
    assert log() == log()
