"""Values of a rig, as a diff shows them."""

from __future__ import annotations

from plica.diff.value_text import text_of


def test_a_value_without_words_of_its_own_is_cut_after_sixty_letters() -> None:
    assert text_of(("x" * 60,)) == "x" * 60
    assert text_of(("x" * 61,)) == "x" * 59 + "…"
    assert text_of("x" * 61) == "x" * 61, "names and texts are whole"
