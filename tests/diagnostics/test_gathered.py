"""Findings that are told once for all that they are about: shapes without sculpts."""

from __future__ import annotations

import json

from plica.diagnostics import Diagnostic, json_form, sarif, text
from plica.diagnostics.place import extent
from plica.pipeline import compile_text

HEAD = """plica 1
character stick { skeleton { joint hips at 0 m, 1 m, 0 m   joint head under hips at 0 m, 1 m, 0 m } }
driver nod { reads bend of head   span 0 deg .. 30 deg }
"""


def _shapes(*names: str, more: str = "") -> tuple[Diagnostic, ...]:
    lines = [f"shape {name} {{ follows nod }}" for name in names]
    return compile_text("\n".join([HEAD, *lines, more])).diagnostics


def test_one_shape_is_named() -> None:
    (found,) = _shapes("swell")
    assert (found.name, found.message, found.places) == ("not-sculpted", "the shape `swell` has no sculpt yet", ())


def test_several_are_one_finding_that_counts_them_and_names_the_first_few() -> None:
    (found,) = _shapes("d", "c", "b", "a", "e")
    assert found.message == "5 shapes have no sculpt yet: `d`, `c`, `b` and 2 more"
    assert found.span is not None
    lines = HEAD.count("\n") + 1
    assert [extent(place).line - lines for place in (found.span, *found.places)] == [1, 2, 3, 4, 5]
    # A finding in one place, with its line, whatever the number of shapes.
    assert text.render([found]).count("shape ") == 1


def test_every_member_of_a_family_counts() -> None:
    family = "each finger in ring, little, thumb, index { shape {finger}_swell { follows nod } }"
    (found,) = _shapes(more=family)
    assert found.message == "4 shapes have no sculpt yet: `index_swell`, `little_swell`, `ring_swell` and 1 more"
    assert found.places == ()  # they are written at one place


def test_what_is_accepted_is_not_among_them() -> None:
    accepted = 'shape tail { follows nod   accept not-sculpted because "comes with the winter coat" }'
    (found,) = _shapes("a", "b", more=accepted)
    assert found.message == "2 shapes have no sculpt yet: `a`, `b`"
    whole = HEAD.replace("character stick {", 'character stick { accept not-sculpted because "later"\n')
    assert compile_text(whole + "shape a { follows nod }\nshape b { follows nod }\n").diagnostics == ()


def test_other_findings_stay_beside_it() -> None:
    found = _shapes("a", "b", more="shape c { follows nodd }\n")
    assert [one.name for one in found] == ["not-sculpted", "unknown-name"]
    assert found[0].message.startswith("3 shapes")


def test_json_and_sarif_have_the_places_of_all() -> None:
    found = _shapes("a", "b", "c")
    (entry,) = json.loads(json_form.render(found))["diagnostics"]
    lines = [place["start"]["line"] for place in (entry["place"], *entry["places"])]
    assert lines == [5, 6, 7]
    (result,) = json.loads(sarif.render(found, "check"))["runs"][0]["results"]
    assert [one["physicalLocation"]["region"]["startLine"] for one in result["locations"]] == lines
