"""Volume, girth and area: a frame's figure is the same bits whichever frames it comes with; runs of figures."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from plica.kinds.expectations import Worse
from plica.measure.girth import Girth
from plica.measure.structure_of_arrays import total
from plica.measure.volume import Volume
from plica.measure.worst_values import FrameValues, joined, starts_in, worst_of
from plica.prove.measures.area import RegionArea
from tests.measure.moving import Moving, first_worst, moving
from tests.support.meshes import bare_mesh


@settings(max_examples=60, deadline=None)
@given(moving(), st.integers(1, 70))
def test_how_frames_are_cut_changes_nothing(case: Moving, size: int) -> None:
    mesh, weights = bare_mesh(case.rest, case.triangles), np.ones(len(case.rest))
    volume = Volume.prepared(mesh, weights, case.rest)
    girth = Girth.prepared(mesh, weights, case.rest, np.array([-1e-9, 0, 0]), np.array([1e-9, 1e-9, 0]))
    area = RegionArea.prepared(mesh, weights, case.rest)
    for measure in (volume.of, girth.of, area.of):
        whole = measure(case.positions)
        for start in range(0, len(case.positions), size):
            part = measure(np.ascontiguousarray(case.positions[start : start + size]))
            assert part.tolist() == whole[start : start + size].tolist()


@given(st.integers(0, 300), st.integers(1, 5), st.integers(0, 2**32))
def test_a_total_is_the_sum_in_any_company(rows: int, frames: int, seed: int) -> None:
    values = np.random.default_rng(seed).normal(size=(rows, frames))
    result = total(values)
    np.testing.assert_allclose(result, values.sum(axis=0), rtol=1e-12, atol=1e-12)
    for column in range(frames):
        assert total(np.ascontiguousarray(values[:, column : column + 1]))[0] == result[column]


@given(
    st.lists(st.sampled_from([0.0, 1.0, 2.0, -2.0, np.nan]), min_size=1, max_size=30),
    st.sets(st.integers(0, 29)),
    st.integers(1, 30),
    st.sampled_from(list(Worse)),
)
def test_the_worst_of_runs_is_that_of_their_pieces(figures: list[float], at: set[int], size: int, worse: Worse) -> None:
    values = np.array(figures)
    starts = np.array(sorted({0, *(number for number in at if number < len(values))}))
    measured = FrameValues(values, np.arange(len(values)))
    whole = worst_of(measured, starts, worse)
    known = np.where(np.isnan(values), np.inf, worse.badness(values))
    assert whole.frames.tolist() == first_worst(known, starts).tolist() == whole.vertices.tolist()
    pieces = [slice(start, min(start + size, len(values))) for start in range(0, len(values), size)]
    result = [
        (piece, worst_of(FrameValues(values[piece], np.arange(len(values))[piece]), starts_in(piece, starts), worse))
        for piece in pieces
    ]
    again = joined(result, starts, worse)
    np.testing.assert_array_equal(again.values, whole.values)
    assert again.frames.tolist() == whole.frames.tolist() and again.vertices.tolist() == whole.vertices.tolist()
