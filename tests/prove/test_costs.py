"""What shapes cost: how many are on at once, their bytes, the vertices that they move."""

from __future__ import annotations

import numpy as np
import pytest

from plica.mesh.arrays import Offsets
from plica.mesh.inbetweens import Inbetweens
from plica.prove.proof import ProofSubject
from plica.prove.prover import Prover
from plica.prove.results import Result
from tests.support.arms import ELBOW, SHAPE, arms
from tests.support.texts import compiled

TEXT = "shape hold both { follows elbow }\nshape ridge left { follows elbow }\n"
LIMITS = "shapes on at most {on:g} {over} shapes size at most {size} KiB shapes moved at most {moved:g}"


def offsets(first: int, count: int) -> Offsets:
    return Offsets(np.arange(first, first + count), np.full((count, 3), 0.001))


SHAPES = {
    "left_hold": Inbetweens(offsets(0, 10), (0.5,), (offsets(5, 10),)),
    "right_hold": Inbetweens(offsets(100, 20)),
    "left_ridge": Inbetweens(offsets(0, 5)),
}


def proven(on: float = 9, size: str = "9", moved: float = 999, over: str = "") -> dict[str, Result]:
    text = "expect { " + LIMITS.format(on=on, size=size, moved=moved, over=over) + " }\n"
    made = arms(ELBOW + TEXT + text, shapes=SHAPES)
    results = Prover(ProofSubject(made.rig, made.attached)).results()
    return {result.expectation.kind: result for result in results}


def test_the_most_sets_of_offsets_that_are_on_at_once() -> None:
    """Left: `hold` between 0.5 and 1 adds two of its sets of offsets, `ridge` one; right: one."""
    result = proven(on=4)
    assert (result["shapes_on"].status, result["shapes_on"].worst) == ("holds", 4.0)
    assert proven(on=3)["shapes_on"].status == "fails"
    one_side = proven(over="over left elbow", on=2)["shapes_on"]
    assert (one_side.status, one_side.worst, one_side.about) == ("fails", 3.0, "left_hold, left_ridge")
    assert one_side.frame is not None and one_side.frame.place > 0.5
    assert proven(over="over right elbow", on=1)["shapes_on"].worst == 1.0


def test_vertices_moved_are_those_of_each_shape_added_up() -> None:
    """`hold` moves 15 on the left (5 of them by both its sets) and 20 on the right, `ridge` 5 of the same 15."""
    result = proven(moved=40)["shapes_moved"]
    assert (result.status, result.worst, result.about) == ("holds", 40.0, "right_hold the most")
    assert proven(moved=39)["shapes_moved"].status == "fails"


def test_bytes_are_indices_and_offsets_in_single_precision() -> None:
    """Four bytes for each index and each of three coordinates: 45 moved vertices in four sets."""
    result = proven(size="1")["shapes_size"]
    assert (result.status, result.worst) == ("holds", 45.0 * 16.0)
    assert proven(size="0.7")["shapes_size"].status == "fails"


def test_without_a_mesh_nothing_is_said_of_costs() -> None:
    made = arms(ELBOW + SHAPE + "expect { " + LIMITS.format(on=1, size=1, moved=1, over="") + " }\n")
    results = list(Prover(ProofSubject(made.rig)).results())
    assert [result.status for result in results] == ["not measured"] * 3


@pytest.mark.parametrize(
    "fact",
    ["shapes on at most 50 %", "shapes on at most 2 KiB", "shapes size at most 20000", "shapes moved at most 3 mm"],
)
def test_a_cost_in_another_dimension_is_refused(fact: str) -> None:
    found = [one.name for one in compiled(f"expect {{ {fact} }}\n").diagnostics if one.severity.value == "error"]
    assert len(found) == 1 and found[0] in ("missing-unit", "unit-not-wanted")
