"""The engine: what it looks at, and what it says where it cannot."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from plica.evaluate.poses import rest_poses
from plica.mesh.deform import Deformer
from plica.prove.execution.work import Measurer, WorkAnswer, WorkUnit
from plica.prove.proof import ProofSubject
from plica.prove.prover import Prover
from plica.prove.results import Result
from plica.prove.skin import Skin
from plica.rig.surfaces import Painted, RegionSource, SkinOf
from tests.support.arms import ELBOW, SHAPE, arms, rig_from
from tests.support.skins import random_poses

EVERY = ELBOW + SHAPE + "expect both { volume of forearm within 2 %  stretch of forearm at most 80 % }\n"


def results(text: str, block_bytes: int) -> list[Result]:
    made = arms(text)
    return sorted(Prover(ProofSubject(made.rig, made.attached), block_bytes).results(), key=lambda one: one.index)


def test_small_blocks_and_large_ones_give_the_same_figures() -> None:
    one, other = results(EVERY, 1 << 16), results(EVERY, 1 << 26)
    for small, large in zip(one, other, strict=True):
        assert small == large


def test_two_runs_are_the_same_to_the_last_bit() -> None:
    assert results(EVERY, 1 << 22) == results(EVERY, 1 << 22)


OF_SKIN = (
    "volume of forearm within 2 %", "volume of forearm border 50 % within 2 %", "girth of upperarm within 9 %",
    "area of forearm within 9 %", "stretch of forearm at most 80 %", "squeeze of forearm at most 80 % on 90 %",
    "shear of upperarm at most 50 deg", "shear of upperarm at most 50 deg on 90 %", "crossing of forearm none",
    "clearance of forearm from upperarm at least 1 mm",
)  # fmt: skip


def test_without_a_place_there_is_no_figure() -> None:
    """A place that is not a number, near the middle of the region, leaves its run of frames without a figure."""
    made = arms(ELBOW + SHAPE + "".join(f"expect both {{ {one} }}\n" for one in OF_SKIN))
    rig, mesh = made.rig, made.attached.mesh
    deformer = Deformer(mesh, rig, made.attached.shapes)
    rest = next(deformer.positions(rest_poses(rig))).positions[0]
    skin = Skin(rig, mesh, made.attached.regions, rest)
    bent = next(deformer.positions(random_poses(rig, 5))).positions
    assert len(rig.expectations) == 2 * len(OF_SKIN)
    for expectation in rig.expectations:
        gauge, torn = skin.gauge(expectation), bent.copy()
        covered = np.flatnonzero(made.attached.regions[expectation.of[0]] > 0.9)
        torn[4, covered] = np.nan
        whole, worst = (gauge(one, np.array([0, 3])) for one in (bent, torn))
        assert worst.values[0] == whole.values[0], expectation.kind
        assert np.isfinite(whole.values[1]) and np.isnan(worst.values[1]), expectation.kind


def test_without_a_mesh_strengths_are_measured_and_the_skin_is_not() -> None:
    text = (
        ELBOW + SHAPE + "expect both { volume of forearm within 2 %   reach elbow }\nexpect { rest partition even }\n"
    )
    result = {one.expectation.kind: one for one in Prover(ProofSubject(rig_from(text))).results()}
    assert {kind: one.status for kind, one in result.items()} == {
        "volume": "not measured",
        "partition": "not measured",
        "reach": "holds",
        "rest": "holds",
        "even": "holds",
    }
    assert result["volume"].about == "there is no mesh"


def test_a_region_that_covers_nothing_is_not_measured() -> None:
    made = arms(EVERY)
    regions = dict.fromkeys(made.attached.regions, np.zeros(made.attached.mesh.vertex_count))
    empty = replace(made.attached, regions=regions)
    result = list(Prover(ProofSubject(made.rig, empty)).results())
    assert {one.status for one in result} == {"not measured"}
    assert result[0].about == "left_forearm covers nothing of the mesh"


@pytest.mark.parametrize(
    ("expectation", "why"),
    [
        ("clearance of forearm from upperarm at least 90 m over elbow", "no place of one is farther from the other"),
        ("smooth elbow within 0.1 over pose bent", "no pose has a neighbour"),
    ],
)
def test_what_looks_at_nothing_is_not_measured(expectation: str, why: str) -> None:
    """All of the skin is nearer than four times the limit, a pose has no pose before it: that is no yes."""
    pose = "pose bent { at left elbow 1 }\n"
    (result,) = results(f"{ELBOW}{pose}expect left {{ {expectation} }}\n", 1 << 22)
    assert result.status == "not measured" and result.worst is None
    assert result.about.startswith(why)


def test_sweeps_are_refined_where_they_come_near_the_limit() -> None:
    """The bump of the volume between two poses of the sweep is met more closely with a limit that it comes near."""
    text = ELBOW + SHAPE + "expect left { volume of forearm within %s over elbow }\n"
    far, near = (results(text % limit, 1 << 22)[0] for limit in ("90 %", "1 %"))
    assert far.worst is not None and near.worst is not None
    assert near.frames > far.frames
    assert near.worst >= far.worst


def test_poses_over_which_several_things_are_measured_are_deformed_once(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[tuple[int, ...]] = []
    answer = Measurer.answer

    def counting(self: Measurer, unit: WorkUnit) -> WorkAnswer:
        seen.append(unit.asked)
        return answer(self, unit)

    monkeypatch.setattr(Measurer, "answer", counting)
    made = arms(EVERY + "expect left { shear of forearm at most 80 deg over elbow }\n")
    prover = Prover(ProofSubject(made.rig, made.attached))
    result = {one.index: one for one in prover.results()}
    shear = next(index for index, one in enumerate(made.rig.expectations) if one.kind == "shear")
    others = {0, 1, 2, 3, 4} - {shear}
    assert all(one.status != "not measured" for one in result.values())
    # Closer looks are for one expectation each; all else is for all that go over it
    together = [set(asked) for asked in seen if len(asked) > 1]
    assert together.count({*others, shear}) == 1  # rest, and the sweep of the left elbow
    assert together.count(others) == len(together) - 1 >= 1


def test_strengths_that_no_sweep_shows_are_told() -> None:
    near = "driver near both { reads gap of paw from spine   span 0 mm .. -50 mm }\n"
    text = (
        ELBOW
        + near
        + SHAPE
        + "expect left { volume of forearm within 2 %   stretch of forearm at most 80 % over elbow }\n"
    )
    made = arms(text)
    prover = Prover(ProofSubject(made.rig, made.attached))
    kinds = {made.rig.expectations[index].kind: names for index, names in prover.unswept.items()}
    assert kinds == {"volume": ("left_near", "right_near")}
    assert Prover(ProofSubject(arms(EVERY).rig, arms(EVERY).attached)).unswept == {}


def test_without_a_mesh_no_figure_of_the_skin_is_counted() -> None:
    prover = Prover(ProofSubject(rig_from(EVERY)))
    list(prover.results())
    assert tuple(prover.tally) == (0, 0)


@pytest.mark.parametrize(
    ("sources", "worst"),
    [
        # One painting for both sides is split between them: nothing of the right side is the left's.
        ((Painted("map.png", None), Painted("map.png", None)), 0.2),
        # Two paintings are two regions: only a sum above 1 is wrong.
        ((Painted("one.png", None), Painted("other.png", None)), 0.0),
        ((SkinOf(("lowerarm_lf",)), SkinOf(("lowerarm_rt",))), 0.0),
        ((SkinOf(("spine",)), SkinOf(("spine",))), 0.0),
    ],
)
def test_sides_of_one_source_share_it_by_side_and_others_must_not_exceed_one(
    sources: tuple[RegionSource, RegionSource], worst: float
) -> None:
    made = arms("expect { partition }\n")
    regions = tuple(
        region._replace(source=sources[region.side == "right"]) if region.declared == "forearm" else region
        for region in made.rig.regions
    )
    weights = dict(made.attached.regions)
    left = weights["left_forearm"] = weights["left_forearm"].copy()
    of_right = made.attached.mesh.positions[:, 0] < -0.05
    uncovered = int(np.flatnonzero(of_right & (weights["right_forearm"] == 0.0))[0])
    left[uncovered] = 0.2
    subject = ProofSubject(made.rig._replace(regions=regions), replace(made.attached, regions=weights))
    (result,) = Prover(subject).results()
    assert result.worst == pytest.approx(worst)
    assert result.status == ("fails" if worst else "holds")
    # Where nothing is off there is no place and no region to look at.
    assert (result.place is not None, result.about) == ((True, "forearm") if worst else (False, ""))


def test_what_is_not_measured_on_the_skin_goes_over_no_frames() -> None:
    """Progress is told of it all the same, by its kind."""
    told: list[tuple[str, int, int, int]] = []
    made = arms(ELBOW + SHAPE + "expect { rest partition even }\n")
    list(Prover(ProofSubject(made.rig, made.attached)).results(told.append))
    assert sorted(map(tuple, told)) == [("even", 0, 0, 0), ("partition", 0, 0, 0), ("rest", 0, 0, 0)]
