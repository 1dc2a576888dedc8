"""Findings as JSON."""

from __future__ import annotations

import json

from plica.diagnostics import Diagnostics, Fix, Label
from plica.diagnostics.json_form import render
from plica.source import Source, Span


def test_the_document_says_all_there_is() -> None:
    source = Source("ü/a.plica", "ab\ncde 手\n")
    diagnostics = Diagnostics()
    span = Span(source, 3, 6)
    diagnostics.add(
        "unexpected-text",
        span,
        labels=[Label(Span(source, 7, 8), "hand")],
        fix=Fix(span, "driver"),
        hint="did you mean `driver`?",
        found="cde",
        expected="`driver`",
    )
    diagnostics.add("stray-brace", None)
    text = render(diagnostics.all)
    assert text.isascii() and text.endswith("}\n")
    document = json.loads(text)
    assert (document["format"], document["version"]) == ("plica-diagnostics", 1)
    assert document["counts"] == {"error": 2, "warning": 0, "note": 0}
    placeless, placed = document["diagnostics"]
    assert placeless["place"] is None and placeless["fix"] is None and placeless["labels"] == []
    place = {
        "file": "ü/a.plica",
        "start": {"line": 2, "column": 1, "offset": 3},
        "end": {"line": 2, "column": 4, "offset": 6},
    }
    assert placed == {
        "code": "PL101",
        "name": "unexpected-text",
        "severity": "error",
        "message": "`cde` cannot stand here; expected `driver`",
        "hint": "did you mean `driver`?",
        "place": place,
        "places": [],
        "labels": [
            {
                "place": {
                    "file": "ü/a.plica",
                    "start": {"line": 2, "column": 5, "offset": 7},
                    "end": {"line": 2, "column": 6, "offset": 8},
                },
                "text": "hand",
            }
        ],
        "fix": {"place": place, "replacement": "driver"},
    }


def test_nothing_found_is_a_document_too() -> None:
    document = json.loads(render(()))
    assert document["diagnostics"] == []
    assert document["counts"] == {"error": 0, "warning": 0, "note": 0}


def test_a_lone_surrogate_does_not_stop_the_output() -> None:
    diagnostics = Diagnostics()
    diagnostics.add("unexpected-text", None, found="\ud800", expected="y")
    render(diagnostics.all).encode("ascii")
