"""Offsets weighted, trimmed, measured, written and read back."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import zipfile

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plica.diagnostics import Diagnostics
from plica.mesh.arrays import Offsets
from plica.mesh.inbetweens import Inbetweens
from plica.mesh.npz import ArchiveError, arrays_of, written
from plica.mesh.offsets import Loss, Size, report_loss, report_unpaired, size_of, trimmed, weighted
from plica.mesh.offsets_file import OffsetsFile, StoredShape, offsets_file, plain, read_offsets_file
from tests.support.meshes import bare_mesh

ROWS = np.array([[0.003, 0.004, 0.0], [0.0, 1e-5, 0.0], [0.0, 0.0, 0.0], [0.0, 0.0, -2e-5]])
SCULPT = Offsets(np.array([1, 4, 6, 9]), ROWS, ROWS[::-1].copy())


def test_weights_scale_and_take_out() -> None:
    weights = np.zeros(10)
    weights[[1, 9]] = [0.5, 1.0]
    result = weighted(SCULPT, weights)
    assert result.indices.tolist() == [1, 9]
    assert result.offsets.tolist() == [[0.0015, 0.002, 0.0], [0.0, 0.0, -2e-5]]
    assert result.normals is not None
    assert result.normals.tolist() == [[0.0, 0.0, -1e-5], [0.003, 0.004, 0.0]]


def test_short_offsets_are_dropped_and_the_loss_is_told() -> None:
    kept, loss = trimmed(SCULPT, 1e-4)
    assert kept.indices.tolist() == [1]
    # The root of the mean of (1e-5)^2 and (2e-5)^2, by hand.
    assert (loss.count, loss.largest) == (2, 2e-5)
    assert loss.rms == pytest.approx(np.sqrt(2.5e-10))
    diagnostics = Diagnostics()
    report_loss(diagnostics, None, "brow", loss)
    report_loss(diagnostics, None, "brow", Loss(0, 0.0, 0.0))
    report_unpaired(diagnostics, None, "brow", 3, 0.0012, 0.12)
    report_unpaired(diagnostics, None, "brow", 0, 0.0, 0.12)
    assert [one.name for one in diagnostics.all] == ["mirrored-without-partner", "offsets-dropped"]
    assert "2 offsets" in diagnostics.all[1].message and "0.02 mm" in diagnostics.all[1].message


def test_a_hole_in_a_mirrored_shape_is_an_error() -> None:
    diagnostics = Diagnostics()
    report_unpaired(diagnostics, None, "brow", 3, 0.0013, 0.12)
    assert [one.name for one in diagnostics.all] == ["mirrored-shape-lost"] and diagnostics.has_errors
    assert "3 vertices" in diagnostics.all[0].message and "1.3 mm of its 120 mm" in diagnostics.all[0].message


def test_without_a_threshold_only_what_does_not_move_is_dropped() -> None:
    kept, loss = trimmed(Offsets(SCULPT.indices, SCULPT.offsets), 0.0)
    assert kept.indices.tolist() == [1, 4, 9]
    assert loss == Loss(0, 0.0, 0.0)
    turned, _ = trimmed(SCULPT, 0.0)  # vertex 6 stays where it is, but its normal turns
    assert turned.indices.tolist() == [1, 4, 6, 9]
    exact, _ = trimmed(Offsets(SCULPT.indices, SCULPT.offsets), 0.005)
    assert exact.indices.tolist() == [1]  # as long as the threshold is long enough


@given(st.lists(st.tuples(*[st.floats(-1, 1)] * 3), min_size=1, max_size=30), st.sampled_from([0.0, 0.1, 0.5, 3.0]))
def test_nothing_kept_is_shorter_than_the_threshold(rows: list[tuple[float, float, float]], threshold: float) -> None:
    offsets = Offsets(np.arange(len(rows)), np.array(rows))
    kept, loss = trimmed(offsets, threshold)
    sizes = np.linalg.norm(offsets.offsets, axis=1)
    assert (np.linalg.norm(kept.offsets, axis=1) >= threshold).all()
    assert kept.count + loss.count == np.count_nonzero(sizes)
    assert loss.rms <= loss.largest * (1.0 + 1e-12)
    assert loss.largest < threshold or loss.count == 0


def test_what_a_shape_weighs() -> None:
    mesh = bare_mesh(np.zeros((10, 3)), np.zeros((0, 3), np.int64))
    half = Offsets(np.array([4, 5]), np.array([[0.0, 0.0, 0.001], [0.007, 0.0, 0.0]]))
    # (4 + 24) bytes for each of 4 vertices with normals, (4 + 12) for each of 2 without.
    assert size_of(Inbetweens(SCULPT, (0.5,), (half,)), mesh, ["arm"]) == Size(5, 4 * 28 + 2 * 16, 0.007, 5, "arm")
    nothing = Offsets(np.zeros(0, np.int64), np.zeros((0, 3)))
    assert size_of(Inbetweens(nothing), mesh, ["arm"]) == Size(0, 0, 0.0, None, None)


# ---- the file -----------------------------------------------------------------------------------------

HALF = Offsets(np.array([1, 2]), np.array([[0.1, 0.2, 0.3], [1.0, 2.0, 3.0]]))
CONTENT = OffsetsFile(
    12,
    {
        "right_brow": StoredShape(SCULPT, ((-0.5, HALF), (0.25, SCULPT))),
        "left_brow": StoredShape(Offsets(np.zeros(0, np.int64), np.zeros((0, 3)))),
        "Öhr": StoredShape(HALF),
    },
)


def assert_same(result: Offsets, expected: Offsets) -> None:
    assert np.array_equal(result.indices, expected.indices)
    assert result.offsets.dtype == np.float64
    assert np.array_equal(result.offsets, expected.offsets.astype(np.float32))
    assert (result.normals is None) == (expected.normals is None)
    if result.normals is not None and expected.normals is not None:
        assert np.array_equal(result.normals, expected.normals.astype(np.float32))


def test_which_point_each_vertex_is_a_copy_of_is_kept_by_part() -> None:
    points = {1: np.array([0, 1, 1, 2]), 12: np.array([0, 0])}
    result = read_offsets_file(offsets_file(OffsetsFile(12, CONTENT.shapes, points=points)))
    assert {part: own.tolist() for part, own in result.points.items()} == {1: [0, 1, 1, 2], 12: [0, 0]}
    assert read_offsets_file(offsets_file(CONTENT)).points == {}
    wrong = written({**WHOLE, "points_of_part_0": np.array([0.5])})
    with pytest.raises(ArchiveError, match="points_of_part_0"):
        read_offsets_file(wrong)


def test_what_is_written_is_read_back_in_single_precision() -> None:
    result = read_offsets_file(offsets_file(CONTENT))
    assert result.vertex_count == 12
    assert list(result.shapes) == sorted(CONTENT.shapes)
    for name, shape in CONTENT.shapes.items():
        assert_same(result.shapes[name].offsets, shape.offsets)
        assert [at for at, _ in result.shapes[name].inbetweens] == [at for at, _ in shape.inbetweens]
        for (_, one), (_, other) in zip(result.shapes[name].inbetweens, shape.inbetweens, strict=True):
            assert_same(one, other)


def test_the_page_tells_the_truth_about_the_members() -> None:
    """Opened with numpy alone, as targets/json/offsets.md says."""
    with np.load(io.BytesIO(offsets_file(CONTENT)), allow_pickle=False) as file:
        assert file["format"] == "plica-offsets"
        assert (file["version"], file["version"].dtype.str) == (1, "<i4")
        assert file["shapes"].tolist() == ["left_brow", "right_brow", "Öhr"]
        moves = np.zeros((int(file["vertex_count"]), 3))
        moves[file["right_brow/indices"]] = file["right_brow/offsets"]
        assert np.array_equal(moves[1], np.array([0.003, 0.004, 0.0], np.float32))
        assert file["right_brow/indices"].dtype.str == "<i4"
        assert file["right_brow/normals"].dtype.str == "<f4"
        assert (file["right_brow/inbetweens"].tolist(), file["right_brow/inbetweens"].dtype.str) == (
            [-0.5, 0.25],
            "<f8",
        )
        assert file["right_brow/0/offsets"].shape == (2, 3)
        assert "right_brow/0/normals" not in file.files and "Öhr/inbetweens" not in file.files


def test_the_bytes_are_the_same_in_any_order_and_under_any_hash_seed() -> None:
    turned = OffsetsFile(12, dict(reversed(list(CONTENT.shapes.items()))))
    assert offsets_file(turned) == offsets_file(CONTENT)
    program = (
        "import hashlib, numpy as np\n"
        "from plica.mesh.arrays import Offsets\n"
        "from plica.mesh.offsets_file import OffsetsFile, StoredShape, offsets_file\n"
        "shape = StoredShape(Offsets(np.arange(5), np.ones((5, 3))))\n"
        "data = offsets_file(OffsetsFile(9, {name: shape for name in {'a', 'b', 'c', 'd'}}))\n"
        "print(hashlib.sha256(data).hexdigest())\n"
    )
    outputs = {
        subprocess.run(
            [sys.executable, "-c", program], env={**os.environ, "PYTHONHASHSEED": seed}, capture_output=True, check=True
        ).stdout
        for seed in ("1", "2")
    }
    assert len(outputs) == 1
    with zipfile.ZipFile(io.BytesIO(offsets_file(CONTENT))) as file:
        assert {entry.date_time for entry in file.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_a_file_of_another_build_is_refused_where_one_is_asked_for() -> None:
    whole = offsets_file(OffsetsFile(12, CONTENT.shapes, "b" * 32))
    assert read_offsets_file(whole).build == read_offsets_file(whole, "b" * 32).build == "b" * 32
    with pytest.raises(ArchiveError, match=f"it belongs to the build {'b' * 32}, not to {'c' * 32}"):
        read_offsets_file(whole, "c" * 32)
    with pytest.raises(ArchiveError, match="belongs to the build without an id"):
        read_offsets_file(offsets_file(CONTENT), "c" * 32)


def test_mistakes_of_ours_are_refused() -> None:
    with pytest.raises(ValueError, match="slash"):
        offsets_file(OffsetsFile(12, {"a/b": StoredShape(HALF)}))
    with pytest.raises(ValueError, match="rise"):
        offsets_file(OffsetsFile(12, {"a": StoredShape(HALF, ((0.5, HALF), (0.5, HALF)))}))


WHOLE = arrays_of(offsets_file(CONTENT))


@pytest.mark.parametrize(
    "changed",
    [
        {"format": np.array("another")},
        {"version": np.array(2)},
        {"vertex_count": np.array(9)},
        {"vertex_count": np.array(1.5)},
        {"shapes": np.array("brow")},
        {"shapes": np.array(["brow"])},
        {"right_brow/indices": np.array([4, 1, 6, 9])},
        {"right_brow/indices": np.array([1.0, 4, 6, 9])},
        {"right_brow/indices": np.array([-1, 4, 6, 9])},
        {"right_brow/offsets": np.zeros((3, 3))},
        {"right_brow/offsets": np.full((4, 3), np.inf)},
        {"right_brow/normals": np.zeros((4, 2))},
        {"right_brow/inbetweens": np.array([0.5, 0.5])},
        {"right_brow/inbetweens": np.array([0.1, 0.2, 0.3])},
        {"right_brow/inbetweens": np.array([0.1, np.nan])},
    ],
    ids=lambda changed: next(iter(changed)),
)
def test_files_that_are_wrong_are_refused(changed: dict[str, np.ndarray]) -> None:
    with pytest.raises(ArchiveError):
        read_offsets_file(written({**WHOLE, **changed}))


@given(st.binary(max_size=40), st.integers(0, 4000), st.booleans())
def test_damaged_files_end_in_no_other_error(noise: bytes, place: int, replacing: bool) -> None:
    whole = offsets_file(CONTENT)
    data = whole[:place] + noise + whole[place + (len(noise) if replacing else 0) :]
    for damaged in (noise, data, whole[:place]):
        try:
            read_offsets_file(damaged)
        except ArchiveError as error:
            assert str(error)


def test_pickled_objects_are_not_loaded() -> None:
    content = io.BytesIO()
    np.savez(content, format=np.array([{"a": 1}], dtype=object))
    with pytest.raises(ArchiveError):
        arrays_of(content.getvalue())


def test_small_shapes_stand_in_json_with_the_fewest_digits() -> None:
    result = plain(HALF)
    assert json.dumps(result) == '{"indices": [1, 2], "offsets": [[0.1, 0.2, 0.3], [1.0, 2.0, 3.0]]}'
    back = np.array(plain(SCULPT)["offsets"], dtype=np.float32)
    assert np.array_equal(back, SCULPT.offsets.astype(np.float32))
    assert list(plain(SCULPT)) == ["indices", "offsets", "normals"]
