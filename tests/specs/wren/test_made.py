"""The demo character's data, made anew: the same bytes as those that are shipped, whatever the processor."""

from __future__ import annotations

import io
import os
import platform
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from PIL import Image

from plica.api.character import compile_file
from plica.api.skin import attach_mesh
from plica.demo import SPEC, demo_files
from plica.diagnostics import Diagnostics
from plica.emit.writer import write
from plica.mesh.draft_layer import KEY
from plica.mesh.npz import arrays_of, written
from plica.specs.wren import steps
from plica.specs.wren.__main__ import DATA, main
from plica.specs.wren.drafts import is_draft
from plica.specs.wren.paint import png

# Kernels that every processor of its kind runs (OpenBLAS, "DYNAMIC_ARCH"), other ones than those of today's machines.
OLDEST = {"x86_64": "Prescott", "AMD64": "Prescott", "aarch64": "ARMV8", "arm64": "ARMV8"}


def shipped() -> dict[str, bytes]:
    return contents(DATA)


def contents(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def packed_here(name: str, content: bytes) -> bytes:
    """The same content, compressed by the libraries at hand: zlib and its successors find different short forms."""
    if name.endswith(".npz"):
        return written(arrays_of(content))
    if name.endswith(".png"):
        with Image.open(io.BytesIO(content)) as image:
            return png(np.asarray(image))
    return content


def assert_same(made: dict[str, bytes]) -> None:
    """Whether files have the very bytes that are shipped, those inside their compression; drafts are not among them."""
    computed = {name: content for name, content in shipped().items() if not is_draft(name)}
    assert made.keys() == computed.keys()
    assert [name for name, content in computed.items() if made[name] != packed_here(name, content)] == []


def test_made_anew_the_files_are_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--keep-drafts", str(tmp_path)]) == 0
    assert_same(contents(tmp_path))
    assert capsys.readouterr().out.split("\n")[:-1] == sorted(name for name in shipped() if not is_draft(name))


def test_another_processors_last_digits_do_not_show(tmp_path: Path) -> None:
    """Made by the plainest kernels of numpy and of OpenBLAS, which take sums in other orders."""
    from numpy._core._multiarray_umath import __cpu_dispatch__, __cpu_features__

    disabled = [name for name in __cpu_dispatch__ if __cpu_features__.get(name)]
    environment = {**os.environ, "NPY_DISABLE_CPU_FEATURES": " ".join(disabled)}
    if platform.machine() in OLDEST:
        environment["OPENBLAS_CORETYPE"] = OLDEST[platform.machine()]
    command = [sys.executable, "-m", "plica.specs.wren", "--keep-drafts", str(tmp_path)]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert_same(contents(tmp_path))


def test_a_file_that_differs_is_seen() -> None:
    changed = {name: content for name, content in shipped().items() if not is_draft(name)}
    content = arrays_of(changed["sculpts/wrist_tendons.npz"])
    content["offsets"] = content["offsets"].copy()
    content["offsets"][0, 0] += np.float32(steps.SKIN)
    changed["sculpts/wrist_tendons.npz"] = written(content)
    with pytest.raises(AssertionError, match="wrist_tendons"):
        assert_same(changed)


def test_drafts_are_of_the_demo_as_it_is(tmp_path: Path) -> None:
    """What each drafted shape hangs on is as its file says, and it is all computed; one that says otherwise is seen."""
    files = demo_files()
    for name in filter(is_draft, files):
        content = arrays_of(files[name])
        assert "drafted_offsets" not in content, name  # nothing was made by hand over it
    other = arrays_of(files["sculpts/ring_knuckle.npz"])
    other[KEY] = np.array(str(other[KEY]).replace('"region": "found"', '"region": "given"'))
    files["sculpts/ring_knuckle.npz"] = written(other)
    write(files, tmp_path, Diagnostics())
    attached = attach_mesh(compile_file(tmp_path / SPEC))
    notes = [one.message for one in attached.diagnostics if one.name == "draft-out-of-date"]
    assert notes == ["`ring_knuckle` was drafted with something that has changed since: the region"]


def test_command_takes_at_most_a_folder(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["a", "b"]) == 2
    assert "usage" in capsys.readouterr().err


# ---- rounding

STEPS = [steps.SKIN, steps.DIRECTION, steps.TEXTURE, steps.WEIGHT, steps.BIND, steps.MOTION]
UNIT = st.floats(-1.0, 1.0)


@pytest.mark.parametrize("step", STEPS)
@given(values=arrays(np.float64, 8, elements=UNIT))
def test_rounded_numbers_are_near_and_exact_in_single_precision(step: float, values: steps.Floats) -> None:
    result = steps.rounded(values, step)
    assert np.abs(result - values).max() <= step / 2.0
    assert np.array_equal(result.astype(np.float32).astype(np.float64), result)
    assert not np.signbit(result[result == 0.0]).any()
    assert np.array_equal(steps.rounded(-values, step), -result + 0.0)


@given(values=arrays(np.float64, (3, 4), elements=UNIT))
def test_both_quaternions_of_a_rotation_are_written_alike(values: steps.Floats) -> None:
    result = steps.rounded_quaternions(values, steps.JOINT)
    assert np.array_equal(result, steps.rounded_quaternions(-values, steps.JOINT))
    assert np.array_equal(np.abs(result), np.abs(steps.rounded(values, steps.JOINT)))
    assert not np.signbit(result[result == 0.0]).any()
    for row in result:
        nonzero = row[row != 0.0]
        assert len(nonzero) == 0 or nonzero[-1] > 0.0
