"""The proof finds each way in which a layout could be wrong."""

from __future__ import annotations

import pytest

from plica.diagnostics import Diagnostics
from plica.format import LaidOut, difference, lay_out
from plica.source import Source
from tests.support.trees import declarations, same_but_for_places

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


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("skin of b }", "skin of b"),
        ("90 deg", "91 deg"),
        ("90 deg", "90 deg   unclamped"),
        ("90 deg", "90deg"),
        ("90 deg }", "90 deg } }"),
        ("region a", "regiona"),
        ("region a {", "region a both {"),
        ("plica 1", "plica 1 1"),
        ("0 deg ..", "0 deg .. .."),
        ("bend of d", "bend ofd"),
        ("// of the arm\n", "// of the arm region z {} "),
    ],
)
def test_other_words(old: str, new: str) -> None:
    assert _fault(old, new) in ("the new layout has other words", "the new layout has other comments")


@pytest.mark.parametrize(
    ("text", "old", "new"),
    [
        # The same signs, but the blanks make other words of them.
        ("expect { moved of a at most 1\nin b }", "", ""),
        ("curve a = ease-in", "ease-in", "ease -in"),
        ("curve a = 0 0, 1 1", "0 0,", "00,"),
        ("driver c { reads swing toward -x of d   span 0 deg .. 90 deg }", "-x", "- x"),
        ("driver c { reads bend of d   span 0 deg .. 90 deg }", "0 deg ..", "0 deg . ."),
    ],
)
def test_blanks_that_change_what_is_read(text: str, old: str, new: str) -> None:
    result = lay_out(Source("a.plica", f"plica 1\n{text}\n"), Diagnostics())
    if result is None:
        assert not old
        return
    assert difference(result) is None
    assert difference(result._replace(text=result.text.replace(old, new))) == "the new layout has other words"


@pytest.mark.parametrize(
    "text",
    [
        "// region a { region\nregion a { skin of b }",
        "region a { // }\n skin of b // }\n } // }",
        "region a { skin of b // c, d\n, c, d }",
        'region a { vertices "// b" // "// b"\n}',
    ],
)
def test_words_that_stand_in_comments_too(text: str) -> None:
    result = lay_out(Source("a.plica", f"plica 1\n{text}\n"), Diagnostics())
    assert result is not None
    assert difference(result) is None
    # Without one of them, in the text or in a comment, it is another text.
    for word in result.words.texts:
        before, _, after = result.text.rpartition(word)
        assert difference(result._replace(text=before + after)) is not None


def test_many_blanks_before_a_word_that_a_comment_says_too_take_no_time() -> None:
    """The proof of any text ends, also of one that no layout would be."""
    result = lay_out(Source("a.plica", "plica 1\nregion a { skin of b }    // of\n"), Diagnostics())
    assert result is not None
    blanks = " " * 5_000
    faulty = result._replace(text=f"plica 1\n\nregion a {{ skin {blanks}// of\n{blanks}of b }}    // of\n")
    assert difference(faulty) == "the new layout has other comments"


def test_other_comments() -> None:
    assert _fault("    // why", "") == "the new layout has other comments"
    assert _fault("// why", "// who") == "the new layout has other comments"


def test_a_comment_after_another_word() -> None:
    assert _fault("// of the arm\nregion a {", "region a { // of the arm\n") == "the new layout has other comments"


def test_a_second_pass_that_changes_something() -> None:
    assert _fault("region a", "region  a") == "a second pass changes the new layout"


def test_places_and_nothing_else_are_left_out_of_the_comparison() -> None:
    def tree(text: str) -> object:
        return declarations("plica 1\n" + text)

    one = tree("region a both { skin of b   feather 3 mm }")
    assert same_but_for_places(one, tree("region a both {\nskin of b\nfeather 3.0mm }"))
    assert not same_but_for_places(one, tree("region a both { skin of b feather 4 mm }"))
    assert not same_but_for_places(one, tree("region a { skin of b feather 3 mm }"))
    assert not same_but_for_places(one, tree("region a both { skin of b }"))
    assert not same_but_for_places(tree("curve a = smooth"), tree("curve a = b"))
