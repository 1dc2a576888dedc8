"""Where an expectation fails for want of a sculpt, the command that computes one is proposed, ready to paste."""

from __future__ import annotations

import pytest

from plica.evaluate.poses import SparsePose
from plica.prove.report.draft_hints import draft_hints
from plica.prove.results import Result, WorstFrame
from plica.rig.rig import Expectation
from tests.support.arms import ELBOW, rig_from

SHAPES = {
    "none": "",
    "a stub": "shape hold both { follows elbow }\n",
    "a sculpt": 'shape hold both { sculpt "hold.npz"  posed at elbow 1   follows elbow }\n',
}


def hints(shapes: str, kind: str = "volume", track: str = "left_elbow", status: str = "fails") -> list[str]:
    """The hints for one result, met in a sweep."""
    expectation = Expectation(kind, "left", ("left_forearm",))
    frame = WorstFrame(track, "sweep", 3, 1.0, (), SparsePose())
    result = Result(0, expectation, status, 0.2, 0.05, frame=frame)  # type: ignore[arg-type]
    return list(draft_hints(rig_from(ELBOW + shapes), "my arms.plica", [result]).values())


def test_the_command_is_ready_to_paste() -> None:
    (one,) = hints(SHAPES["a stub"])
    assert one.endswith(": plica draft 'my arms.plica' hold")
    (one,) = hints(SHAPES["none"])
    assert "`shape elbow_hold both { follows elbow }`" in one and one.endswith("plica draft 'my arms.plica' elbow_hold")
    rig_from(ELBOW + "shape elbow_hold both { follows elbow }\n")


@pytest.mark.parametrize(
    ("shapes", "given"),
    [
        ("a sculpt", {}),
        ("a stub", {"status": "holds"}),
        ("a stub", {"kind": "moved"}),
        ("a stub", {"track": "rest"}),
    ],
)
def test_nothing_is_proposed_where_a_draft_would_not_help(shapes: str, given: dict[str, str]) -> None:
    assert hints(SHAPES[shapes], **given) == []
