"""The proof finds each way in which a layout could be wrong."""

from __future__ import annotations

from plica.diagnostics import Diagnostics
from plica.format import LaidOut, difference, lay_out
from plica.format.proof import same_but_for_places
from plica.source import Source
from plica.syntax.parser import parse

TEXT = """plica 1

// of the arm
region a { skin of b }    // why
driver c { reads bend of d span 0 deg .. 90 deg }
"""


def _laid_out() -> LaidOut:
    result = lay_out(Source("a.plica", TEXT), Diagnostics())
    assert result is not None
    return result


def _fault(old: str, new: str) -> str | None:
    laid_out = _laid_out()
    assert old in laid_out.text
    return difference(laid_out._replace(text=laid_out.text.replace(old, new)))


def test_a_right_layout_has_no_fault() -> None:
    assert difference(_laid_out()) is None


def test_a_layout_that_does_not_parse() -> None:
    assert _fault("skin of b }", "skin of b") == "the new layout does not parse"


def test_other_words() -> None:
    assert _fault("90 deg", "91 deg") == "the new layout has other words"
    assert _fault("90 deg", "90 deg   unclamped") == "the new layout has other words"
    assert _fault("90 deg", "90deg") == "the new layout has other words"


def test_other_comments() -> None:
    assert _fault("    // why", "") == "the new layout has other comments"
    assert _fault("// why", "// who") == "the new layout has other comments"


def test_another_meaning() -> None:
    laid_out = _laid_out()
    fewer = laid_out.document._replace(declarations=laid_out.document.declarations[:1])
    assert difference(laid_out._replace(document=fewer)) == "the new layout means something else"


def test_a_second_pass_that_changes_something() -> None:
    assert _fault("region a", "region  a") == "a second pass changes the new layout"


def test_places_and_nothing_else_are_left_out_of_the_comparison() -> None:
    def declarations(text: str) -> object:
        return parse(Source("a.plica", "plica 1\n" + text), Diagnostics()).declarations

    one = declarations("region a both { skin of b   feather 3 mm }")
    assert same_but_for_places(one, declarations("region a both {\nskin of b\nfeather 3.0mm }"))
    assert not same_but_for_places(one, declarations("region a both { skin of b feather 4 mm }"))
    assert not same_but_for_places(one, declarations("region a { skin of b feather 3 mm }"))
    assert not same_but_for_places(one, declarations("region a both { skin of b }"))
    assert not same_but_for_places(declarations("curve a = smooth"), declarations("curve a = b"))
