"""What is told of results: the table, JSON and JUnit's XML, and what changed since a baseline."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from plica.diagnostics import Diagnostics
from plica.evaluate.poses import rest_poses
from plica.kinds.expectations import EXPECTATION_KINDS, Worse
from plica.prove.baseline import UnreadableBaselineError, is_better, is_worse, read
from plica.prove.proof import ProofSubject
from plica.prove.prover import Prover
from plica.prove.quantities import unit_of_expectation
from plica.prove.report.summary import add_findings, change, figures, json_text, junit, limit, place, text
from plica.prove.report.tables import table
from plica.prove.results import Result, WorstFrame, WorstPlace
from plica.prove.sweeps import PoseTrack, Sweeper
from plica.rig.expectations import keeps_to, limit_of
from plica.rig.rig import Expectation
from tests.support.arms import rig_from

SWEEP = WorstFrame("left_elbow_bend", "sweep", 25, 0.78125, (("lowerarm_lf", 1.75), ("paw_lf", 0.5)))
PLACE = WorstPlace("left_forearm", 412, "lowerarm_lf", (0.5, 0.05, 0.0))
RESULTS = (
    Result(
        0,
        Expectation("volume", "left", ("left_forearm",), limit=0.04, over=("left_elbow_bend",)),
        "fails",
        0.0612,
        0.04,
        0.12,
        33,
        SWEEP,
        PLACE,
        picture="01_volume.png",
    ),
    Result(
        1,
        Expectation("clearance", "left", ("left_paw",), "left_upperarm", 0.002, ("left_elbow_bend",)),
        "holds",
        0.00279,
        0.002,
        0.0,
        33,
        SWEEP,
        PLACE,
    ),
    Result(2, Expectation("partition", "none"), "not measured", limit=1e-9, about="no mirror plane is known"),
)
TITLES = [result.title for result in RESULTS]


@pytest.mark.parametrize("width", [80, 100, 120])
@pytest.mark.parametrize("colour", [False, True])
def test_the_table_fits_the_terminal_and_says_everything(width: int, colour: bool) -> None:
    shown = text(RESULTS, {}, width, colour)
    plain = shown
    for code in ("\x1b[0m", "\x1b[1m", "\x1b[1;31m", "\x1b[32m", "\x1b[33m"):
        plain = plain.replace(code, "")
    assert "\x1b" not in plain
    table, total = plain.split("\n\n")
    assert max(len(line) for line in table.splitlines()) <= width
    words = set(table.split())
    for told in ("FAILS", "holds", "6.12", "2.79", "left_elbow_bend", "left_upperarm", "left_forearm", "known"):
        assert told in words
    assert total == "3 expectations: 1 hold, 1 fail, 1 not measured"


def test_a_small_limit_never_reads_as_nothing() -> None:
    """0.001 % is not 0 %; and limits that are 0, or read as something, are told as ever."""
    told = [limit(replace(RESULTS[0], limit=one)) for one in (0.00001, 0.0, 0.04, None)]
    assert told == ["0.001 %", "0 %", "4 %", "-"]


def test_a_table_that_goes_to_a_file_has_one_line_for_each_expectation() -> None:
    table = text(RESULTS, {}).split("\n\n")[0].splitlines()
    assert len(table) == 1 + len(RESULTS)
    assert all(title in line for title, line in zip(TITLES, table[1:], strict=True))


def test_json_holds_the_pose_the_place_and_the_figure_without_shapes() -> None:
    document = json.loads(json_text(rig_from(""), RESULTS, {TITLES[0]: 0.07}, True))
    volume, clearance, partition = document["results"]
    assert (volume["worst"], volume["limit"], volume["withoutShapes"], volume["unit"]) == (
        pytest.approx(6.12),
        pytest.approx(4.0),
        pytest.approx(12.0),
        "%",
    )
    assert (volume["accepted"], volume["change"], volume["picture"]) == (pytest.approx(7.0), "better", "01_volume.png")
    assert volume["pose"]["track"] == "left_elbow_bend" and volume["pose"]["place"] == 0.78125
    assert volume["pose"]["angles"]["lowerarm_lf"] == pytest.approx(100.26761)
    assert volume["place"] == {
        "region": "left_forearm",
        "vertex": 412,
        "joint": "lowerarm_lf",
        "position": [0.5, 0.05, 0.0],
    }
    assert (clearance["worst"], clearance["unit"], clearance["picture"]) == (pytest.approx(2.79), "mm", None)
    assert (partition["status"], partition["about"]) == ("not measured", "no mirror plane is known")


def test_junit_tells_the_figures_the_pose_the_place_and_the_picture() -> None:
    (suite,) = ElementTree.fromstring(junit(rig_from(""), RESULTS, {}, {}, 1.25))
    volume, clearance, partition = suite
    (failure,) = volume
    assert failure.get("message") == "6.12 % gained, where the limit is 4 % (12 % gained without shapes)"
    assert failure.text == (
        "left_forearm near lowerarm_lf, vertex 412; left_elbow_bend at 0.781 (lowerarm_lf 100 deg, paw_lf 29 deg); "
        "picture 01_volume.png"
    )
    assert len(clearance) == 0
    assert partition[0].tag == "skipped"


@pytest.mark.parametrize(
    ("accepted", "expected", "codes"),
    [
        ({}, "", {"expectation-fails", "expectation-not-measured"}),
        ({TITLES[0]: 0.0612}, "same", {"accepted-figure", "expectation-not-measured"}),
        ({TITLES[0]: 0.07}, "better", {"better-than-accepted", "accepted-figure", "expectation-not-measured"}),
        ({TITLES[0]: 0.05}, "worse", {"worse-than-accepted", "expectation-fails", "expectation-not-measured"}),
    ],
)
def test_what_got_worse_and_what_got_better_is_told(
    accepted: Mapping[str, float], expected: str, codes: set[str]
) -> None:
    diagnostics = Diagnostics()
    add_findings(RESULTS, accepted, diagnostics, {})
    assert {one.name for one in diagnostics.all} == codes
    assert change(RESULTS[0], accepted) == expected
    total = text(RESULTS, accepted).splitlines()[-1]
    assert ("got " + expected in total) == (expected in ("worse", "better"))


def test_reach_names_every_strength_that_never_gets_from_0_to_1() -> None:
    """In the clip the elbow goes half its way, the paw from a third to all of it, the upper arm all of it."""
    drivers = "".join(
        f"driver {name} {{ reads rotation about x of {joint}   span 0 deg .. 90 deg }}\n"
        for name, joint in (("bend", "lowerarm_lf"), ("turn", "paw_lf"), ("lift", "upperarm_lf"))
    )
    rig = rig_from(drivers + 'expect { reach bend, turn, lift over clip "stroll.bvh" }\nexpect { reach lift }\n')
    sweeps = {name: Sweeper(rig).sweep(name).between for name in ("bend", "turn", "lift")}
    share = np.linspace(0.0, 1.0, 31)
    parts = [sweeps[name] for name in sweeps]
    assert all(parts)
    rotations = sum(
        (part(places).rotations - part(0.0 * places).rotations)  # type: ignore[misc]
        for part, places in zip(parts, (0.5 * share, (1.0 + 2.0 * share) / 3.0, share), strict=True)
    )
    poses = replace(rest_poses(rig, 31), rotations=rest_poses(rig, 31).rotations + rotations)
    clips = {"stroll.bvh": [PoseTrack("clip stroll.bvh", "clip", share, poses)]}
    over_clip, alone = sorted(Prover(ProofSubject(rig, None, clips)).results(), key=lambda one: one.index)
    assert (over_clip.status, over_clip.worst) == ("fails", pytest.approx(0.5))
    assert over_clip.about == "never from 0 to 1: bend (to 0.5), turn (from 0.3333 to 1)"
    assert (alone.status, alone.worst, alone.about) == ("holds", pytest.approx(1.0), "")


def test_less_clearance_is_worse_and_less_stretch_is_better() -> None:
    volume, clearance, partition = RESULTS
    assert is_worse(clearance, 0.003) and is_better(clearance, 0.001)
    assert is_worse(volume, 0.06) and is_better(volume, 0.07)
    for result in (volume, clearance):
        assert result.worst is not None
        nearly = result.worst * (1.0 + 1e-9)  # machines round differently
        assert not is_worse(result, nearly) and not is_better(result, nearly)
    assert not is_worse(partition, 0.0) and not is_better(partition, 1.0)


def test_every_default_limit_is_kept_by_itself_and_broken_beyond() -> None:
    for kind in EXPECTATION_KINDS.values():
        expectation, limit = Expectation(kind.name, "none", ("left_forearm",)), kind.limit.default
        assert limit_of(expectation) == limit
        assert unit_of_expectation(expectation) == kind.limit.unit
        if limit is not None:
            assert keeps_to(expectation, limit, limit)
            worse = -1.0 if kind.worse is Worse.LESS else 1.0
            assert not keeps_to(expectation, limit + worse * 0.5, limit)
            assert keeps_to(expectation, limit - worse * min(0.5, limit or 0.5), limit)
            assert kind.worse is not Worse.FURTHER or not keeps_to(expectation, -limit - 0.5, limit)
            assert not keeps_to(expectation, float("nan"), limit)


def test_a_clearance_and_a_reach_are_worse_when_less_and_what_is_kept_is_worse_either_way() -> None:
    assert {kind.name for kind in EXPECTATION_KINDS.values() if kind.worse is Worse.LESS} == {"clearance", "reach"}
    either_way = {kind.name for kind in EXPECTATION_KINDS.values() if kind.worse is Worse.FURTHER}
    assert either_way == {kind.name for kind in EXPECTATION_KINDS.values() if kind.ways}
    assert either_way == {"volume", "girth", "area"}


def test_what_is_lost_is_told_from_what_is_gained() -> None:
    volume = RESULTS[0]
    lost = replace(volume, worst=-0.0612, bare=0.12)
    assert figures(volume) == "6.12 % gained, where the limit is 4 % (12 % gained without shapes)"
    assert figures(lost) == "6.12 % lost, where the limit is 4 % (12 % gained without shapes)"
    assert figures(replace(volume, worst=-0.0)) == "0 %, where the limit is 4 % (12 % gained without shapes)"
    assert is_worse(lost, 0.05) and is_worse(lost, -0.05) and is_better(lost, -0.07)
    assert not keeps_to(lost.expectation, -0.0612, 0.04) and keeps_to(lost.expectation, -0.04, 0.04)


@pytest.mark.parametrize(
    ("content", "problem"),
    [
        (b"[" * 100_000, "nested too deeply"),
        (b'{"format": "plica-baseline", "version": 1, "accepted": {"rest": 1' + b"0" * 400 + b"}}", "larger than any"),
        (b'{"format": "plica-baseline", "version": 1, "accepted": {"rest": 1' + b"0" * 5000 + b"}}", "too many digits"),
        (b'{"format": "plica-baseline", "version": 1, "accepted": {"rest": true}}', "is no number"),
    ],
    ids=["deep", "large", "larger", "no number"],
)
def test_what_is_no_baseline_is_refused(content: bytes, problem: str) -> None:
    with pytest.raises(UnreadableBaselineError, match=problem):
        read(content)


@pytest.mark.parametrize("cells", [("short", "1"), ("a title of many words that goes on and on", "12345.678")])
def test_a_table_in_colour_of_any_width_breaks_no_line(cells: tuple[str, ...]) -> None:
    """Without a width it takes as many characters as it needs, however many rows and columns there are."""
    rows = [(*cells, *cells, *cells)] * 3
    lines = table(("one", "two", "three", "four", "five", "six"), rows, (0, 2, 4), None, {}).splitlines()
    assert len(lines) == 4
    assert all(cells[0] in line and cells[1] in line for line in lines[1:])


def test_a_table_is_wrapped_where_it_is_wider_than_the_line_and_not_before() -> None:
    """The columns are 4 and 5 characters wide, with two between them."""
    heads, rows = ("name", "worst"), [("a bc", "1")]
    plain = table(heads, rows)
    assert plain.splitlines() == ["name  worst", "a bc      1"]
    assert table(heads, rows, width=11) == plain
    assert table(heads, rows * 9, width=12) == table(heads, rows * 9)


def test_numbers_are_set_to_the_right_also_where_words_are_wrapped() -> None:
    rows = [("a title of many words that goes on " * 3, "1"), ("b", "12345.6")]
    lines = table(("", "worst"), rows, width=40).splitlines()
    assert len(lines) > 3 and lines[1].endswith("      1") and lines[-1].endswith("12345.6")
    assert len(lines[1]) == len(lines[-1]) and lines[-1].startswith("b")


def test_a_place_names_what_is_known_of_it() -> None:
    assert place(WorstPlace("fur", 0, "paw", (0.0, 0.0, 0.0))) == "fur near paw, vertex 0"
    assert place(WorstPlace("", -1, "", (0.0, 0.0, 0.0))) == "near no joint"
