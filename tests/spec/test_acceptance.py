"""What overrides add, and what is accepted where."""

from __future__ import annotations

from plica.rig.rig_json import write_rig
from tests.support.texts import compiled, names_of, rig_of

ELBOW = 'driver elbow both { reads rotation about z of lowerarm span 0 deg .. 130 deg note "said for both" }\n'
SCAR = 'override driver elbow right { note "an old scar" }\n'
EXPECTED = "expect both { reach elbow over elbow }\n"
BECAUSE = 'because "the second studio reads both"'


def notes_of(text: str) -> dict[str, tuple[str, ...]]:
    """The notes of each strength by its output name."""
    return {strength.name: strength.about.notes for strength in rig_of(text).strengths}


def test_the_note_of_an_override_is_added_on_its_side() -> None:
    assert notes_of(ELBOW + SCAR) == {
        "left_elbow": ("said for both",),
        "right_elbow": ("said for both", "an old scar"),
    }
    left = SCAR.replace("right", "left")
    assert notes_of(ELBOW + left) == {"left_elbow": ("said for both", "an old scar"), "right_elbow": ("said for both",)}
    both = SCAR.replace("right ", "")
    assert set(notes_of(ELBOW + both).values()) == {("said for both", "an old scar")}


def test_the_note_of_an_override_is_written() -> None:
    assert write_rig(rig_of(ELBOW + SCAR)).count("an old scar") == 1


def test_a_warning_inside_expect_is_accepted_there() -> None:
    assert "repeated-expectation" in names_of(ELBOW + EXPECTED + EXPECTED)
    accepting = EXPECTED.replace("}", f"accept repeated-expectation {BECAUSE} }}")
    assert not {"repeated-expectation", "nothing-accepted"} & set(names_of(ELBOW + EXPECTED + accepting))


def test_an_unused_acceptance_inside_expect_is_reported() -> None:
    accepting = EXPECTED.replace("}", f"accept repeated-expectation {BECAUSE} }}")
    assert "nothing-accepted" in names_of(ELBOW + accepting)


def test_an_acceptance_holds_only_in_its_own_declaration() -> None:
    accepting = f"expect both {{ reach elbow over everything accept repeated-expectation {BECAUSE} }}\n"
    result = names_of(ELBOW + accepting + EXPECTED + EXPECTED)
    assert {"repeated-expectation", "nothing-accepted"} <= set(result)


def test_what_expanding_finds_can_be_accepted() -> None:
    same = "driver lean both { reads bend of spine span 0 deg .. 30 deg %s }\n"
    assert "same-on-both-sides" in names_of(same % "")
    accepted = names_of(same % f"accept same-on-both-sides {BECAUSE}")
    assert not {"same-on-both-sides", "nothing-accepted"} & set(accepted)


def test_an_override_accepts_for_what_it_overrides() -> None:
    same = "driver lean both { reads bend of spine span 0 deg .. 30 deg }\n"
    override = f"override driver lean {{ accept same-on-both-sides {BECAUSE} }}\n"
    assert not {"same-on-both-sides", "nothing-accepted"} & set(names_of(same + override))
    unused = names_of(ELBOW + override.replace("lean", "elbow"))
    assert unused.count("nothing-accepted") == 1


def test_an_error_is_not_accepted() -> None:
    text = f"expect both {{ reach wing accept unknown-name {BECAUSE} }}"
    assert compiled(ELBOW + text).rig is None


def test_braces_in_a_note_that_name_nothing_stay_as_they_are() -> None:
    """Notes are for people: what looks like a placeholder and is none is no mistake there."""
    said = 'driver {side}_lean { reads bend of spine span 0 deg .. 30 deg note "like {this} and {side}" }\n'
    assert notes_of("each side in a, b {\n" + said + "}\n") == {
        "a_lean": ("like {this} and a",),
        "b_lean": ("like {this} and b",),
    }


def test_a_mistake_in_a_value_is_told_where_the_value_is_given() -> None:
    result = compiled("each part in hedd { driver {part}_bend { reads bend of {part}  span 0 deg .. 60 deg } }\n")
    (mistake,) = [item for item in result.diagnostics if item.name == "unknown-joint"]
    (label,) = mistake.labels
    assert mistake.span is not None
    text = mistake.span.source.text
    assert text[mistake.span.start : mistake.span.end] == "hedd"
    assert (label.text, text[label.span.start : label.span.end]) == ("used here", "{part}")


def test_a_side_that_a_one_sided_declaration_does_not_have_is_a_mistake() -> None:
    """And the side that it has is none."""
    one = "driver wave left { reads bend of paw  span 0 deg .. 60 deg }\ncombine both_up = product(%s wave)\n"
    assert "no-such-side" not in names_of(one % "left")
    assert names_of(one % "right").count("no-such-side") == 1
