"""The last digits of what is computed, which depend on the processor, do not reach a rig."""

from __future__ import annotations

import math
import os
import subprocess
import sys
from collections.abc import Callable
from itertools import product
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plica import curves, rounding
from plica.kinds import kernels
from plica.pipeline import compile_text
from plica.rig import expand_readings, mirror, radial
from plica.rig.rig_json import write_rig
from plica.rounding import DIGITS, places_of, rounded, rounded_number
from plica.skeleton import algebra
from plica.workspace import Workspace
from tests.support.characters import PAIRED, Paired, compile_everything, from_file
from tests.support.cloth import SPEC, cloth

# Elementary functions, whose last digit is each library's own, and what readings are turned with, which stands for all
# arithmetic on them. Square roots, sums and products are the same everywhere, so rest poses need no noise.
NOISY = (
    (algebra, ("sin", "cos")),
    (kernels, ("exp",)),
    (curves, ("hypot",)),
    (mirror, ("times",)),
    (expand_readings, ("times",)),
)
TEXT = """plica 1
character stick {
    skeleton {
        joint hips   at 0 m, 0.9 m, 0 m
        joint arm_lf under hips at  0.21 m, 0.37 m, 0.033 m   turned about x 31 deg, about z 17 deg
        joint arm_rt under hips at -0.21 m, 0.37 m, 0.033 m   turned about y 77 deg, about x -41 deg
        joint tip_lf under arm_lf at  0.3 m, -0.1 m, 0.05 m
        joint tip_rt under arm_rt at  0.3 m,  0.1 m, 0.05 m
    }
    symmetry across x
    left "*_lf"
    right "*_rt"
}
driver a both { reads rotation about (0.3, -0.8, 0.5) of arm   span 0 deg .. 90 deg   curve 0 0, 0.3 0.9, 1 1 }
driver b both { reads swing toward z of arm   span 0 deg .. 50 deg   curve harmonic 0 0, 0.31 0.1, 0.7 0.4, 1 1 }
driver c both { reads euler x order xyz of arm   span 0 deg .. 50 deg }
driver d both { reads offset x in model of arm   span 0 mm .. 5 mm }
driver e both { reads gap of tip from hips   span 0 mm .. 5 mm }
field f both {
    reads   rotation of arm
    sample  up    at about z in model 80 deg
    sample  fore  at about y in model -70 deg
    sample  near  at about y in model -30 deg, about z in model -25 deg
}
field g both {
    reads   rotation of arm
    sample  up    at about z in model 80 deg
    sample  fore  at about y in model -70 deg
    kernel  linear
}
"""


def with_noise(monkeypatch: pytest.MonkeyPatch, seed: int) -> None:
    """Makes results differ in their last digit, about a third of them up and a third down."""
    random = Random(seed)

    def changed(value: Any) -> Any:
        if isinstance(value, tuple):
            return tuple(map(changed, value))
        return random.choice((value, math.nextafter(value, math.inf), math.nextafter(value, -math.inf)))

    def noisy(exact: Callable[..., Any]) -> Callable[..., Any]:
        return lambda *given: changed(exact(*given))

    for module, names in NOISY:
        for name in names:
            monkeypatch.setattr(module, name, noisy(getattr(module, name)))


def rig_text(paired: Paired | None) -> str:
    """The JSON of everything that can be read of a real character, or of the one above."""
    if paired is None:
        compiled = compile_text(TEXT, "stick.plica", Workspace(Path()))
    else:
        compiled = compile_everything(from_file(paired), paired.path.parent)
    assert compiled.rig is not None, [result.message for result in compiled.diagnostics]
    return write_rig(compiled.rig)


@pytest.mark.parametrize("paired", [None, *PAIRED], ids=["stick", *(paired.folder for paired in PAIRED)])
def test_other_last_digits_give_the_same_text(paired: Paired | None, monkeypatch: pytest.MonkeyPatch) -> None:
    before = rig_text(paired)
    for seed in (1, 2):
        with monkeypatch.context() as patches:
            with_noise(patches, seed)
            assert rig_text(paired) == before, seed


def test_without_rounding_they_would_not(monkeypatch: pytest.MonkeyPatch) -> None:
    for function in (rounding.rounded, rounding.places_of):
        monkeypatch.setattr(function, "__defaults__", (17,))
    monkeypatch.setattr(radial, "DIGITS", 15)
    before = rig_text(None)
    with_noise(monkeypatch, 1)
    assert rig_text(None) != before


def test_other_kernels_of_linear_algebra_build_the_same_bytes(tmp_path: Path) -> None:
    """OPENBLAS_CORETYPE chooses the kernels of OpenBLAS, which NumPy and SciPy bring; elsewhere it changes nothing."""
    spec = cloth(tmp_path, SPEC.replace('"bump.npz"', '"bump.npz"  posed at lift 0.7'))
    cores = {"plain": {}, **{core: {"OPENBLAS_CORETYPE": core} for core in ("Nehalem", "SkylakeX")}}
    for folder, more in cores.items():
        command = [sys.executable, "-m", "plica", "build", str(spec), "--out", str(tmp_path / folder)]
        subprocess.run(command, check=True, capture_output=True, env={**os.environ, **more})
    files = sorted((tmp_path / "plain").iterdir())
    assert files
    for file, core in product(files, cores):
        assert file.read_bytes() == (tmp_path / core / file.name).read_bytes(), (file.name, core)


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=5).map(tuple))
def test_numbers_keep_eleven_digits_of_the_largest(values: tuple[float, ...]) -> None:
    result = rounded(values)
    largest = max(map(abs, values))
    assert all(abs(one - other) <= 10.0 ** (1 - DIGITS) * largest for one, other in zip(result, values, strict=True))
    assert rounded(result) == result
    assert "-0.0" not in map(repr, result)


def test_the_same_places_on_both_sides_of_a_power_of_ten() -> None:
    below = math.nextafter(1.0, 0.0)
    assert places_of((below, 0.1)) == places_of((1.0, 0.1)) == DIGITS - 1
    assert rounded_number(below) == 1.0 and rounded_number(0.0) == 0.0
    assert rounded((1.0, 1e-17, -1e-17)) == (1.0, 0.0, 0.0)


def test_fields_keep_the_digits_that_their_samples_need() -> None:
    """Samples two degrees apart have coefficients in the hundreds; strengths at the samples come out all the same."""
    half = math.radians(1.0)
    turns = [(math.sin(half * number), 0.0, 0.0, math.cos(half * number)) for number in range(5)]
    samples = [radial.FieldSample(f"pose_{number}", turn) for number, turn in enumerate(turns)]
    result = radial.rounded_solution(samples, "rotation", None, "gaussian")
    distances = [[radial.distance(a, b, "rotation", None) for b in turns] for a in turns]
    assert result.width is not None
    for row, values in enumerate(distances):
        for column in range(4):
            kernels = [math.exp(-((value / result.width) ** 2)) for value in values]
            strength = sum(kernel * one[column] for kernel, one in zip(kernels, result.coefficients, strict=True))
            assert strength == pytest.approx(1.0 if row == column + 1 else 0.0, abs=5e-10)
