"""Figures taken from the cache: only what a change touches is measured again."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from plica.mesh.deform import Deformer
from plica.mesh.inbetweens import Inbetweens
from plica.prove.cache import keys as content
from plica.prove.cache.disk import DiskCache
from plica.prove.cache.figures import read_figure, read_percentiles, written_figure
from plica.prove.cache.keys import code_digest, digest, expectation_digest, mesh_digest, motion_digest, shape_digest
from plica.prove.execution.executor import LocalExecutor
from plica.prove.execution.skin_runs import Tally
from plica.prove.execution.work import MeasuredFigure, Worst
from plica.prove.proof import ProofSubject
from plica.prove.prover import Prover
from plica.prove.results import Result
from plica.prove.skin import Skin
from plica.rig.rig import Expectation
from tests.support.arms import ELBOW, SHAPE, arms
from tests.support.skins import random_poses
from tests.support.swinging import TEXT, swinging

TWIST = "driver twist both { reads rotation about x of paw   span 0 deg .. 80 deg }\n"
VOLUMES = "expect both { volume of forearm within 2 % over elbow, twist }\n"


def proven(subject: ProofSubject, folder: Path | None) -> tuple[list[Result], Tally]:
    prover = Prover(subject, hire=LocalExecutor, store=None if folder is None else DiskCache(folder))
    return sorted(prover.results(), key=lambda one: one.index), prover.tally


def test_a_second_run_measures_nothing_and_says_the_same(tmp_path: Path) -> None:
    subject = swinging(70)
    without, nothing = proven(subject, None)
    first, measured = proven(subject, tmp_path)
    second, recalled = proven(subject, tmp_path)
    assert without == first == second
    assert nothing.recalled == 0 and measured.measured == nothing.measured - measured.recalled
    assert recalled == Tally(measured.recalled + measured.measured, 0)


def test_percentiles_are_kept_by_their_pose(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = ELBOW + SHAPE + "expect both { stretch of forearm at most 80 % over elbow }\n"

    def result(text: str) -> Result:
        made = arms(text)
        return proven(ProofSubject(made.rig, made.attached), tmp_path)[0][0]

    first, measure = result(text), Skin.percentiles
    assert len(first.percentiles) == 5
    with monkeypatch.context() as patch:
        patch.setattr(Skin, "percentiles", lambda *more: pytest.fail("they were kept"))
        assert result(text) == first
    asked: list[object] = []
    monkeypatch.setattr(Skin, "percentiles", lambda *more: asked.append(0) or measure(*more))
    for other in (text.replace("0 deg .. 100", "0 deg .. 90"), text.replace("stretch", "squeeze")):
        changed, made = result(other), arms(other)
        assert changed == proven(ProofSubject(made.rig, made.attached), None)[0][0] and asked
        asked.clear()
    assert read_percentiles(json.dumps(first.percentiles).encode()) == first.percentiles
    for held in (b"[", b"{}", b"[[0.5, 1.0]]", json.dumps([*first.percentiles[:4], [0.99, "1"]]).encode()):
        assert read_percentiles(held) is None


def test_a_damaged_entry_is_measured_anew(tmp_path: Path) -> None:
    subject = swinging(70)
    first, measured = proven(subject, tmp_path)
    for number, path in enumerate(sorted(tmp_path.glob("figures/??/*"))):
        if number % 2:
            path.write_bytes(path.read_bytes()[: number % 80])
    second, again = proven(subject, tmp_path)
    assert first == second
    assert 0 < again.measured < measured.measured
    third, whole = proven(subject, tmp_path)
    assert third == first and whole.measured == 0


def test_a_new_curve_measures_only_where_it_shows_again(tmp_path: Path) -> None:
    text = ELBOW + TWIST + SHAPE + VOLUMES

    def subject(text: str) -> ProofSubject:
        made = arms(text)
        return ProofSubject(made.rig, made.attached)

    _, first = proven(subject(text), tmp_path)
    changed = text.replace("curve smooth", "curve linear")
    result, second = proven(subject(changed), tmp_path)
    assert result == proven(subject(changed), None)[0]
    # The twist of the paw, and rest, have nothing to do with the elbow's curve
    assert 0 < second.measured < first.measured
    assert second.recalled > 0


def test_frames_added_to_a_clip_leave_the_rest_kept(tmp_path: Path) -> None:
    _, first = proven(swinging(128), tmp_path)
    _, second = proven(swinging(192), tmp_path)
    fewest = len(swinging(1).rig.expectations)
    assert second.measured < first.measured
    assert second.measured >= fewest


def test_words_notes_and_poses_gone_over_do_not_count_and_everything_else_does() -> None:
    rig = arms(TEXT).rig
    one = rig.expectations[0]

    def of(expectation: Expectation) -> str:
        return expectation_digest(rig, expectation, "body", [])

    for field in Expectation._fields:
        other = one._replace(**{field: "something else"})
        same = field in ("over", "over_clips", "over_poses", "over_everything", "about")
        assert (of(other) == of(one)) == same, field
    assert expectation_digest(rig, one, "other body", []) != of(one)
    assert expectation_digest(rig, one, "body", [np.zeros(3)]) != of(one)
    moved = rig._replace(
        skeleton=(
            rig.skeleton[0]._replace(neutral=rig.skeleton[0].neutral._replace(translation=(0.0, 0.0, 1e-12))),
            *rig.skeleton[1:],
        )
    )
    assert expectation_digest(moved, one, "body", []) != of(one)


def test_every_array_of_the_mesh_that_is_looked_at_counts() -> None:
    mesh = arms("").attached.mesh
    for name in ("positions", "triangles", "points", "joints", "weights", "bind_joints", "inverse_binds"):
        changed = getattr(mesh, name).copy()
        changed.reshape(-1)[-1] += 1
        assert mesh_digest(replace(mesh, **{name: changed})) != mesh_digest(mesh), name
    assert mesh_digest(replace(mesh, uvs={"skin": np.zeros((3, 2))})) != mesh_digest(mesh)


def test_shapes_count_where_they_are_on() -> None:
    made = arms(ELBOW + SHAPE)
    shapes = made.attached.shapes
    motion = Deformer(made.attached.mesh, made.rig, shapes).motion(random_poses(made.rig, 4))
    column = list(shapes).index("left_hold")
    known = [shape_digest(shape) for shape in shapes.values()]
    other = [*known]
    other[column] = shape_digest(Inbetweens(replace(shapes["left_hold"].primary, offsets=np.zeros((1, 3)))))
    motion.strengths[:, column] = 0.0
    assert motion_digest(motion, known) == motion_digest(motion, other)
    motion.strengths[2, column] = 1e-300
    assert motion_digest(motion, known) != motion_digest(motion, other)
    turned = replace(motion, skins=np.nextafter(motion.skins, np.inf))
    assert motion_digest(turned, known) != motion_digest(motion, known)


def test_arrays_that_look_alike_have_digests_of_their_own() -> None:
    alike = [np.zeros(4), np.zeros((2, 2)), np.zeros(4, np.float32), np.zeros(4, np.int64), np.zeros(8), -np.zeros(4)]
    assert len({digest(array) for array in alike}) == len(alike)
    assert digest("a", "b") != digest("ab") != digest(("a", "b"))


def test_the_code_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    made_by = code_digest()
    code_digest.cache_clear()
    monkeypatch.setattr(content, "COMPUTED_BY", content.COMPUTED_BY[:-1])
    assert code_digest() != made_by
    code_digest.cache_clear()
    monkeypatch.undo()
    assert code_digest() == made_by


@pytest.mark.parametrize(
    "figure",
    [
        MeasuredFigure(Worst(0.1 + 0.2, 3, -1), Worst(float("inf"), 0, 7)),
        MeasuredFigure(Worst(-0.0, 0, 0), Worst(5e-324, 0, 0)),
        MeasuredFigure(None, None, "the region covers nothing"),
    ],
)
def test_figures_read_back_exactly(figure: MeasuredFigure) -> None:
    read = read_figure(written_figure(figure), 4, 8)
    assert read is not None and repr(read) == repr(figure)


GOOD = b'[[0.5, 3, 7], [0.25, 0, -1], ""]'
HOSTILE = [
    b"", b"[]", b"7", b"[[1, 2], null, 3]", b'{"a": 1}', b'[null, null, ""]', b"\xff", b"[" * 100_000, b"9" * 5000,
    b'[[NaN, 3, 7], [0.25, 0, -1], ""]', b'[[0.5, 3, 7], [NaN, 0, -1], ""]', b'[["0.5", 3, 7], [0.25, 0, -1], ""]',
    b'[[1, 3, 7], [0.25, 0, -1], ""]', b'[[0.5, 4, 7], [0.25, 0, -1], ""]', b'[[0.5, -1, 7], [0.25, 0, -1], ""]',
    b'[[0.5, 3, 8], [0.25, 0, -1], ""]', b'[[0.5, 3, 7], [0.25, 0, -2], ""]', b'[[0.5, 3.0, 7], [0.25, 0, -1], ""]',
    b'[[0.5, true, 7], [0.25, 0, -1], ""]', b'[[0.5, 3, 7], null, ""]', b'[[0.5, 3, 7], [0.25, 0, -1], "why"]',
    b'[[0.5, 3, 7, 9], [0.25, 0, -1], ""]', b'[null, null, "\\ud800"]', b'[null, null, "a\\n::error ::"]',
    b'[null, null, 7]', b'[[0.5, 3, 7], [0.25, 0, -1], "", 1]', b'[null, null, "' + b"x" * 1001 + b'"]',
]  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_what_is_no_figure_is_measured_anew(text: bytes) -> None:
    assert read_figure(GOOD, 4, 8) is not None
    assert read_figure(text, 4, 8) is None


def test_a_sealed_entry_with_another_content_changes_no_result(tmp_path: Path) -> None:
    """The seal says that an entry is whole, not that it is one of ours."""
    subject = swinging(70)
    first, measured = proven(subject, tmp_path)
    store = DiskCache(tmp_path)
    far = [text.replace(b"0.5, 4, 7", b"0.5, 9999, 7").replace(b"0.5, 3, 8", b"0.5, 3, 999999") for text in HOSTILE]
    for number, path in enumerate(sorted(tmp_path.glob("figures/??/*"))):
        store.put("figures", path.name, far[number % len(far)])
    second, again = proven(subject, tmp_path)
    assert first == second
    assert again.measured == measured.measured


@pytest.mark.parametrize("region", ["left_forearm", "left_upperarm"])
def test_other_weights_of_any_region_that_is_named_are_measured_anew(region: str, tmp_path: Path) -> None:
    """Also of the one that an expectation only measures against."""
    made = arms(ELBOW + SHAPE + "expect left { clearance of forearm from upperarm at least 1 mm over elbow }\n")
    proven(ProofSubject(made.rig, made.attached), tmp_path)
    weights = made.attached.regions[region].copy()
    weights[:] *= 0.75
    regions = {**made.attached.regions, region: weights}
    changed = ProofSubject(made.rig, replace(made.attached, regions=regions))
    results, tally = proven(changed, tmp_path)
    assert tally.recalled == 0 and tally.measured > 0
    assert results == proven(changed, None)[0]
