"""Solving fields: what is refused, and that the strengths come out at the samples."""

from __future__ import annotations

import subprocess
import sys
from math import cos, sin
from random import Random

import pytest

from plica.rig.radial import solve
from plica.rig.strengths import FieldSample
from plica.skeleton.algebra import Quaternion
from tests.support.rigs import unit_quaternion

REST = FieldSample("rest", (0.0, 0.0, 0.0, 1.0))


def about_x(angle: float) -> Quaternion:
    return (sin(angle / 2), 0.0, 0.0, cos(angle / 2))


def test_coinciding_samples_are_named() -> None:
    samples = [REST, FieldSample("raised", about_x(1.0)), FieldSample("lifted", about_x(1.0 + 1e-8))]
    with pytest.raises(ValueError, match="raised and lifted coincide"):
        solve(samples, "rotation", None, "gaussian")
    turned_over = FieldSample("over", (-0.0, 0.0, 0.0, -1.0))
    with pytest.raises(ValueError, match="rest and over coincide"):
        solve([REST, turned_over], "rotation", None, "linear")


def test_twists_have_one_direction() -> None:
    samples = [REST, FieldSample("twisted", about_x(1.0))]
    with pytest.raises(ValueError, match="rest and twisted coincide"):
        solve(samples, "direction", (1.0, 0.0, 0.0), "linear")


def test_hopeless_widths_are_refused() -> None:
    samples = [REST, *(FieldSample(f"step_{number}", about_x(0.3 * number)) for number in range(1, 8))]
    with pytest.raises(ValueError, match="too close to tell apart"):
        solve(samples, "rotation", None, "gaussian", 40.0)
    with pytest.raises(ValueError, match="above 0"):
        solve(samples, "rotation", None, "gaussian", 0.0)


@pytest.mark.parametrize(
    ("samples", "kernel", "message"),
    [([REST], "linear", "beside the rest"), ([REST, FieldSample("up", about_x(1))], "cubic", "kernel cubic")],
)
def test_other_refusals(samples: list[FieldSample], kernel: str, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        solve(samples, "rotation", None, kernel)
    with pytest.raises(ValueError, match="needs an axis"):
        solve([REST, FieldSample("up", about_x(1))], "direction", None, "linear")


def test_sixty_four_samples() -> None:
    random = Random(1)
    samples = [REST, *(FieldSample(f"pose_{number}", unit_quaternion(random)) for number in range(63))]
    width, coefficients, constants = solve(samples, "rotation", None, "linear")
    assert width is None
    assert len(coefficients) == 64
    assert all(len(row) == 63 for row in coefficients)
    assert len(constants) == 63
    for column in zip(*coefficients, strict=True):
        assert sum(column) == pytest.approx(0.0, abs=1e-12)


def test_two_samples_by_hand() -> None:
    """Linear with a constant: from 0 at rest to 1 at distance d, both coefficients have the size 1 / (2 d)."""
    result = solve([REST, FieldSample("up", about_x(1.0))], "rotation", None, "linear")
    half = 1 / (4 * sin(0.5))
    assert result.coefficients[0][0] == pytest.approx(half, abs=1e-15)
    assert result.coefficients[1][0] == pytest.approx(-half, abs=1e-15)
    assert result.constants == pytest.approx((0.5,), abs=1e-15)


def test_no_numpy() -> None:
    program = "import sys, plica.rig.radial; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0
