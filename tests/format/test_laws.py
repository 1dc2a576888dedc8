"""What holds for the layout of any text: it keeps what is said, it is its own layout, and blanks do not matter."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from plica.diagnostics import Diagnostics
from plica.format import difference, formatted, lay_out
from plica.pipeline import compile_file, compile_text
from plica.source import Source
from plica.syntax.parser import parse
from plica.syntax.structure import structure_of
from tests.fuzz.good import GOOD, SCRAPS
from tests.grammar.test_reference import EXAMPLES, LIBRARY, make_folder, whole
from tests.support.data import ROOT
from tests.support.trees import declarations, same_but_for_places

TEXTS = [whole(example) for example in EXAMPLES] + [LIBRARY, GOOD]
CASES = sorted((ROOT / "tests" / "format" / "cases").glob("*.plica"))
BLANKS = (" ", "  ", "\t", "\n", "\r\n", "\n    ")
BETWEEN = (*BLANKS, "\n\n", "\n \n\n", " // a comment\n", "\n// on its own line\n", "\n\n//\n\n// two\n")


def _words(text: str) -> list[str]:
    structure = structure_of(Source("text.plica", text), Diagnostics())
    assert structure is not None
    return structure.tokens.texts


WORDS = [_words(text) for text in TEXTS]


def _respaced(draw: st.DrawFn, words: list[str], between: tuple[str, ...]) -> str:
    """The words with other blanks between them; `plica 1` stays on a line, so that a version is found."""
    gaps = draw(st.lists(st.sampled_from(between), min_size=len(words) - 2, max_size=len(words) - 2))
    return "plica 1" + "".join([gap + word for gap, word in zip(gaps, words[2:], strict=True)])


@st.composite
def respaced(draw: st.DrawFn) -> str:
    """An example of the reference with blanks, blank lines and comments anywhere."""
    text = _respaced(draw, draw(st.sampled_from(WORDS)), BETWEEN)
    return text + draw(st.sampled_from(("", "\n", " // the end", "\n\n// the end\n\n")))


@st.composite
def twice(draw: st.DrawFn) -> tuple[str, str]:
    """Two texts of the same words that differ in nothing but blanks and line ends."""
    words = draw(st.sampled_from(WORDS))
    return _respaced(draw, words, BLANKS), _respaced(draw, words, BLANKS)


@st.composite
def mutated(draw: st.DrawFn) -> str:
    """A good text with some scraps put in or words taken out."""
    words = list(draw(st.sampled_from(WORDS)))
    for _ in range(draw(st.integers(1, 3))):
        place = draw(st.integers(0, len(words) - 1))
        words[place : place + draw(st.integers(0, 2))] = [draw(st.sampled_from([*SCRAPS, *words[:40]]))]
    return " ".join(words)


def _keeps(text: str) -> str:
    """The layout of a good text, which keeps everything."""
    diagnostics = Diagnostics()
    laid_out = lay_out(Source("text.plica", text), diagnostics)
    assert laid_out is not None, [one.message for one in diagnostics.all]
    assert difference(laid_out) is None
    # What the proof concludes without parsing again, seen by parsing again.
    assert same_but_for_places(declarations(text), declarations(laid_out.text))
    assert formatted(Source("text.plica", laid_out.text), Diagnostics()) == laid_out.text
    return laid_out.text


@settings(max_examples=50, deadline=None)
@given(respaced())
def test_a_layout_keeps_words_comments_and_meaning_and_is_its_own_layout(text: str) -> None:
    diagnostics = Diagnostics()
    parse(Source("text.plica", text), diagnostics)
    assume(not diagnostics.has_errors)  # a blank can make a unit of a word: `1` and `in` on one line are an inch
    _keeps(text)


@settings(max_examples=30, deadline=None)
@given(twice())
def test_blanks_and_line_ends_do_not_matter(texts: tuple[str, str]) -> None:
    one, other = texts
    assume(_words(one) == _words(other))
    assert _keeps(one) == _keeps(other)


@settings(max_examples=60, deadline=None)
@given(mutated())
def test_a_text_is_laid_out_if_and_only_if_it_has_no_mistakes(text: str) -> None:
    source, result, parsed = Source("text.plica", text), Diagnostics(), Diagnostics()
    laid_out = lay_out(source, result)
    parse(source, parsed)
    assert (laid_out is None) == parsed.has_errors
    assert result.all == parsed.all
    if laid_out is not None:
        assert difference(laid_out) is None


@settings(max_examples=20, deadline=None)
@given(respaced())
def test_the_layout_compiles_to_the_same_rig(text: str) -> None:
    before = compile_text(text)
    assume(before.rig is not None)
    after = compile_text(_keeps(text))
    assert after.rig == before.rig
    assert [one.name for one in after.diagnostics] == [one.name for one in before.diagnostics]


def test_examples_with_rigs_are_among_the_texts() -> None:
    assert sum(compile_text(text).rig is not None for text in TEXTS) > 8


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda text: text.strip().splitlines()[0][:50])
def test_the_references_examples_compile_to_the_same_rig(example: str, tmp_path: Path) -> None:
    spec = make_folder(tmp_path, example) / "example.plica"
    before = compile_file(spec)
    for file in (spec, tmp_path / "library" / "limb.plica"):
        file.write_text(_keeps(file.read_text("utf-8")), "utf-8")
    assert before.rig is not None
    assert compile_file(spec).rig == before.rig


@pytest.mark.parametrize("comment", [" // here\n", "\n// here\n", "\n\n// here\n\n"])
@pytest.mark.parametrize("step", [1, 2, 7])
def test_comments_may_stand_anywhere(step: int, comment: str) -> None:
    """One after each word, after each second and after each seventh, wherever that is."""
    for case in CASES:
        words = _words(case.read_text("utf-8"))[2:]
        after = [comment if number % step == 0 else "\n" for number in range(len(words))]
        text = "plica 1\n" + "".join([word + gap for word, gap in zip(words, after, strict=True)])
        assert _keeps(text).count("// here") == -(-len(words) // step)


def test_the_layout_of_nothing_but_blanks_between_words_has_no_blank_lines_in_tables() -> None:
    text = "plica 1\n" + "\n".join(f"region r{number} {{ skin of a }}" for number in range(5))
    layout = formatted(Source("text.plica", text), Diagnostics())
    assert layout is not None
    assert layout.count("\n\n") == 1
