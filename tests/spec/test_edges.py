"""What is just allowed, and what is just refused: the ends of ranges that a text states."""

from __future__ import annotations

import pytest

from plica.rig.rig import Control
from tests.support.texts import names_of, rig_of

CURVE = "driver elbow both {{ reads rotation about z of lowerarm span 0 deg .. 130 deg curve {} }}\n"
DIAL = "control dial {{ {} }}\ndriver dialled {{ reads control dial span 0 .. 1 }}\n"
EACH = "each number in {} {{ driver nod_{{number}} {{ reads bend of head span 0 deg .. 90 deg }} }}\n"
LIMIT = "region fur {{ skin of head }}\nexpect {{ volume of fur within {} }}\n"

ALLOWED = [
    (CURVE, "bezier 0 0.2 1 0.8"),
    (CURVE, "bezier 1 0.2 0 0.8"),
    (CURVE, "bezier 0.5 -1 0.5 2"),
    (CURVE, "0 0, 1 1"),
    (CURVE, "0 1, 1 0"),
    (DIAL, "range -0.5 .. -0.25"),
    (DIAL, "range 0 .. 1 rest 1"),
    (EACH, "1 .. 1"),
    (EACH, "997 .. 999"),
    (LIMIT, "0 %"),
]
REFUSED = [
    (CURVE, "bezier -0.01 0 1 1", "bezier-turns-back"),
    (CURVE, "bezier 0 0 1.01 1", "bezier-turns-back"),
    (CURVE, "0 0", "curve-incomplete"),
    (CURVE, "0.1 0, 1 1", "curve-incomplete"),
    (CURVE, "0 0, 0.9 1", "curve-incomplete"),
    (CURVE, "0 0, 0.5 1.5, 1 1", "curve-out-of-range"),
    (CURVE, "0 0, 0.5 -0.5, 1 1", "curve-out-of-range"),
    (DIAL, "range 1 .. 1", "empty-range"),
    (DIAL, "range 0 .. 1 rest 1.5", "rest-out-of-range"),
    (EACH, "2 .. 1", "not-a-count"),
    (EACH, "1 mm .. 3", "not-a-count"),
    (EACH, "1 .. 2.5", "not-a-count"),
    (EACH, "1 .. 1001", "not-a-count"),
    (LIMIT, "-1 %", "not-positive"),
]


@pytest.mark.parametrize(("text", "value"), ALLOWED)
def test_the_ends_of_a_range_belong_to_it(text: str, value: str) -> None:
    assert names_of(text.format(value)) == []


@pytest.mark.parametrize(("text", "value", "rule"), REFUSED)
def test_what_lies_beyond_an_end_is_refused(text: str, value: str, rule: str) -> None:
    assert rule in names_of(text.format(value))


@pytest.mark.parametrize(
    ("limits", "rest"),
    [("0 .. 1", 0.0), ("-1 .. 2", 0.0), ("0.5 .. 2", 0.5), ("-3 .. -1", -1.0)],
)
def test_a_control_rests_at_0_or_at_the_end_next_to_it(limits: str, rest: float) -> None:
    (control,) = rig_of(DIAL.format(f"range {limits}")).controls
    assert isinstance(control, Control) and control.rest == rest
