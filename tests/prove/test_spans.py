"""What a driver's travel is said to be over short clips and several drivers."""

from __future__ import annotations

import numpy as np
import pytest

from plica.diagnostics import Diagnostics
from plica.evaluate.pose_components import skeleton_of
from plica.prove.report.spans import document, text
from plica.prove.spans import Travels, measure_travels, report_travels
from plica.readers.clip import Clip
from plica.rig.rig import Rig
from tests.support.texts import rig_of

DRIVERS = """
control dial { range 0 .. 1   rest 0 }
driver still { reads control dial   span 0 .. 1 }
driver nod { reads bend of head   span 0 deg .. 60 deg }
driver turn { reads rotation about z of head   span 0 deg .. 10 deg }
"""


def nodding(rig: Rig, degrees: list[float], seconds: float = 1.0) -> Clip:
    """The head turned about z by these degrees, frames `seconds` apart; all else stands still."""
    rest = skeleton_of(rig)
    frames = len(degrees)
    rotations = np.tile([joint.rotation for joint in rest.joints], (frames, 1, 1))
    translations = np.tile([joint.translation for joint in rest.joints], (frames, 1, 1))
    half = np.radians(degrees) / 2.0
    at = [joint.name for joint in rest.joints].index("head")
    rotations[:, at] = np.stack([np.zeros(frames), np.zeros(frames), np.sin(half), np.cos(half)], axis=1)
    return Clip("nod.bvh", np.arange(frames) * seconds, rotations, translations, rest, in_metres=True)


def travels(degrees: list[float]) -> tuple[Travels, Diagnostics]:
    rig, diagnostics = rig_of(DRIVERS), Diagnostics()
    result = measure_travels(rig, [nodding(rig, degrees)], diagnostics)
    report_travels(result, diagnostics, {})
    return result, diagnostics


def test_of_two_frames_each_stands_for_half_of_what_is_between() -> None:
    """And a single frame for a second: it has no neighbour to say how long it stands."""
    (two,) = [one for one in travels([0.0, 30.0])[0].travels if one.driver == "nod"]
    assert (two.least.near, two.greatest.near) == (0.5, 0.5)
    (one,) = [one for one in travels([30.0])[0].travels if one.driver == "nod"]
    assert (one.least.near, one.greatest.near) == (1.0, 1.0)


def test_a_reading_that_is_still_is_near_both_of_its_ends_all_the_time() -> None:
    (still,) = [one for one in travels([30.0, 30.0, 30.0])[0].travels if one.driver == "nod"]
    assert (still.least.near, still.greatest.near) == (2.0, 2.0)


def test_every_driver_is_reported_also_after_one_that_is_still_and_one_that_is_right() -> None:
    _, diagnostics = travels([0.0, 60.0])
    assert sorted((item.name, "`turn`" in item.message) for item in diagnostics.all) == [
        ("readings-still", False),
        ("span-exceeded", True),
    ]
    _, diagnostics = travels([0.0, 40.0])
    assert sorted(item.name for item in diagnostics.all) == ["readings-still", "span-exceeded", "span-not-reached"]


def test_the_table_shows_the_percentiles_that_its_heads_name() -> None:
    """A frame for each degree: a percentile is its own number of degrees, to the half frame at each end."""
    result, _ = travels([float(degree) for degree in range(101)])
    (row,) = [line for line in text(result).splitlines() if line.startswith("nod ")]
    least, low, middle, high, greatest = (float(value) for value in row.split(" deg")[0:5][0].split()[1:2] + [
        part.split()[-1] for part in row.split(" deg")[1:5]
    ])  # fmt: skip
    assert (least, middle, greatest) == pytest.approx((0.0, 50.0, 100.0))
    assert (low, high) == pytest.approx((5.0, 95.0), abs=0.51)


def test_a_span_in_the_document_is_in_the_unit_of_its_own_driver() -> None:
    spans = document(travels([0.0, 30.0])[0])["spans"]
    assert isinstance(spans, list)
    (nod,) = [span for span in spans if span["driver"] == "nod"]
    assert (nod["unit"], nod["span"], nod["line"]) == ("deg", pytest.approx([0.0, 30.0]), "span   0 deg .. 30 deg")
