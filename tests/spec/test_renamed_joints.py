"""A joint that is called by marks of sides which the skeleton does not have any more: the pair is suggested, once."""

from __future__ import annotations

import pytest

from plica.diagnostics import Diagnostic
from plica.pipeline import compile_text

CHARACTER = """plica 1
character otter {
    skeleton {
        joint upperarm_lf at 100 mm, 0 m, 0 m
        joint upperarm_rt at -100 mm, 0 m, 0 m
        joint paw_lf at 200 mm, 0 m, 0 m
        joint paw_rt at -200 mm, 0 m, 0 m
        joint neck at 0 m, 300 mm, 0 m
    }
    symmetry across x
    left "*_lf"
    right "*_rt"
}
"""


def errors(text: str) -> list[Diagnostic]:
    return [one for one in compile_text(CHARACTER + text).diagnostics if one.severity == "error"]


@pytest.mark.parametrize("name", ["upperarm_l", "L_upperarm", "upperarm_left", '"upperarm.L"', "lf_upperarm"])
@pytest.mark.parametrize("side", ["both ", "left ", ""])
def test_the_pair_is_suggested(name: str, side: str) -> None:
    (error,) = errors(f"region arm {side}{{ skin of {name} }}\n")
    assert error.name == "unknown-joint"
    assert error.hint == "did you mean `upperarm`, which is `upperarm_lf` and `upperarm_rt`?"
    assert (error.fix is not None) is bool(side)  # without a side the name of the pair would not be enough


def test_both_sides_of_a_renamed_pair_are_one_finding_with_all_places() -> None:
    text = "".join(
        f"region arm_{number} left {{ skin of upperarm_{(number % 2 and 'l') or 'r'} }}\n" for number in range(20)
    )
    (error,) = errors(text + "region paw left { skin of paw }\n")
    assert len(error.places) == 19


def test_two_pairs_are_two_findings() -> None:
    found = errors("region arm both { skin of upperarm_l, paw_l }\n")
    assert [one.message for one in found] == ["no joint is named `upperarm_l`", "no joint is named `paw_l`"]


def test_a_near_miss_of_one_side_is_answered_with_the_pair_where_both_are_meant() -> None:
    (error,) = errors("region arm both { skin of uperarm_lf }\n")
    assert error.hint == "did you mean `upperarm`?" and error.fix is not None and error.fix.replacement == "upperarm"


def test_patterns_that_match_nothing_are_answered_with_those_that_do() -> None:
    changed = CHARACTER.replace('"*_lf"', '"*_l"').replace('"*_rt"', '"*_r"')
    (error,) = [one for one in compile_text(changed).diagnostics if one.severity == "error"]
    assert error.name == "no-pairs" and error.hint == 'the joints\' names fit `left "*_lf"` and `right "*_rt"`'
