"""The forms of a report that other tools read: SARIF, GitHub's annotations, JSON."""

from __future__ import annotations

import copy
import json
import re
from math import radians
from typing import Any

from jsonschema import Draft7Validator, Draft202012Validator

from plica.diff.diagnostics_report import render_github, render_sarif
from plica.diff.json_report import document
from plica.diff.report import Report, with_accepted
from tests.diff.test_triples import CONTROLLED, EDITS, EDITS_OF_STRENGTHS, report_of
from tests.outside.test_sarif_standard import LOG
from tests.support.data import ROOT


def everything() -> Report:
    """A report with a change of each kind of harm, the first and the last of them accepted."""
    report = report_of([*EDITS["removed"], *EDITS["span"], *EDITS["feather"], *EDITS["added"]])
    report = report._replace(changes=(*report.changes, *report_of(EDITS["note"]).changes))
    assert {change.harm.word for change in report.changes} == {"breaking", "risky", "safe", "cosmetic"}
    agreed = {report.changes[0].fingerprint: "agreed at the weir", report.changes[-1].fingerprint: "only words"}
    return with_accepted(report, agreed)


def log_schema() -> dict[str, Any]:
    """The rules of the standard, with those for what only a comparison writes."""
    schema: dict[str, Any] = copy.deepcopy(LOG)
    result = schema["properties"]["runs"]["items"]["properties"]["results"]["items"]["properties"]
    # SARIF 2.1.0, 3.27.17: an object whose values are strings; 3.27.17: names end in a version, as in `name/v1`
    result["partialFingerprints"] = {
        "type": "object",
        "additionalProperties": False,
        "patternProperties": {r"^[A-Za-z]+(/v\d+)?$": {"type": "string", "minLength": 1}},
    }
    result["suppressions"] = {  # 3.27.23, 3.35: kind is "inSource" or "external"; justification is a string
        "type": "array",
        "uniqueItems": True,
        "items": {
            "type": "object",
            "additionalProperties": False,
            "required": ["kind"],
            "properties": {"kind": {"enum": ["inSource", "external"]}, "justification": {"type": "string"}},
        },
    }
    return schema


def test_sarif_keeps_the_standards_rules() -> None:
    report = everything()
    log = json.loads(render_sarif(report))
    Draft7Validator(log_schema()).validate(log)
    results = log["runs"][0]["results"]
    assert len(results) == len(report.changes) + len(report.accepted)
    assert [bool(one.get("suppressions")) for one in results] == [False] * len(report.changes) + [True, True]
    rules = log["runs"][0]["tool"]["driver"]["rules"]
    assert all(rules[one["ruleIndex"]]["id"] == one["ruleId"] for one in results)
    assert all(one["locations"] for one in results)


def test_what_is_gone_is_shown_in_the_text_that_is_there() -> None:
    """A review tool knows only the new text: what was removed stands at the character's name."""
    report = report_of(EDITS["removed"])
    (gone,) = report.changes
    assert gone.what == "removed" and gone.place != gone.beside
    (line,) = render_github(report).splitlines()
    assert gone.beside is not None
    assert f"line={gone.beside.source.line_and_column(gone.beside.start)[0]}," in line


def test_annotations_follow_githubs_rules() -> None:
    """GitHub documentation, "Workflow commands": one line each, `::name key=value,key=value::message`, escaped."""
    report = everything()
    lines = render_github(report).splitlines()
    assert len(lines) == len(report.changes)
    for line in lines:
        assert re.fullmatch(r"::(error|warning|notice) (\w+=[^,:]+)(,\w+=[^,:]+)*::.+", line), line
        assert not re.search(r"%(?!25|0A|0D|3A|2C)", line)


def test_json_keeps_its_schema() -> None:
    """Also of what is renamed, of a change of reading, of comments, and where nothing could be compared."""
    schema = json.loads((ROOT / "compiler" / "diff" / "diff.schema.json").read_text("utf-8"))
    Draft202012Validator.check_schema(schema)
    reports = [everything(), Report((), (), unmeasured=("nothing: a side could not be read",))]
    reports += [report_of(EDITS[name]) for name in ("comment", "accepted", "renamed", "dropped")]
    reports.append(report_of(EDITS_OF_STRENGTHS["reading_joint"], CONTROLLED))
    for report in reports:
        Draft202012Validator(schema).validate(json.loads(json.dumps(document(report))))
    (effect,) = [one["effect"] for one in document(reports[-1])["changes"] if one["effect"] is not None]
    assert not effect["same_reading"] and effect["poses"] > 100 and effect["now"] is not None


def test_json_has_every_change_with_its_values() -> None:
    told = document(everything())
    assert [change["harm"] for change in told["changes"]] == ["risky", "risky", "safe"]
    span = next(change for change in told["changes"] if change["what"] == "changed" and change["kind"] == "driver")
    left, right = span["entries"]
    assert (left["side"], right["side"]) == ("left", "right")
    assert [(field["path"], field["old"], field["new"]) for field in left["fields"]] == [
        ("span", [0.0, radians(130)], [0.0, radians(120)])
    ]
    assert span["effect"]["reaches"] == [radians(130), radians(120)]
    assert [one["reason"] for one in told["accepted"]] == ["agreed at the weir", "only words"]
    assert json.loads(json.dumps(told)) == told


def test_json_tells_entries_as_a_reviewer_reads_them() -> None:
    report = everything()
    told = document(report)
    changes = [fingerprint for entry in told["entries"] for fingerprint in entry["changes"]]
    assert sorted(changes) == sorted(change.fingerprint for change in report.changes)
    assert [entry["section"] for entry in told["entries"]] == ["risky", "risky", "safe"]
    (span,) = (entry for entry in told["entries"] if "driver elbow" in entry["title"])
    assert "130 deg" in span["text"][0] and span["places"] and span["characters"] == ["otter"]
