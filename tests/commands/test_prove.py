"""`plica prove`."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from xml.etree import ElementTree

import pytest

from plica.commands.main import run
from plica.prove.prover import Prover
from plica.prove.results import Result
from tests.commands.test_measure import CLIP, HEAD

KICK = "driver kick { reads rotation about x of LeftLeg   span 0 deg .. 90 deg }\n"
HOLDS = KICK + "expect { rest   reach kick   smooth kick within 0.1 }\n"
FAILS = KICK + 'expect { smooth kick within 0.1 over clip "kick.bvh" }\n'


@pytest.fixture
def prove(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., int]:
    """Proves a spec of the stroller, in a folder of its own."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    Path("kick.bvh").write_text(CLIP, "utf-8")

    def proving(declarations: str, *more: str) -> int:
        Path("stroller.plica").write_text(HEAD + declarations, "utf-8")
        return run(["prove", "stroller.plica", *more])

    return proving


def test_what_holds(prove: Callable[..., int], capsys: pytest.CaptureFixture[str]) -> None:
    assert prove(HOLDS) == 0
    shown = capsys.readouterr()
    assert [line.split()[:2] for line in shown.out.splitlines()[1:4]] == [
        ["holds", "reach"],
        ["holds", "rest"],
        ["holds", "smooth"],
    ]
    assert "3 expectations: 3 hold" in shown.out
    assert shown.err == ""


def test_what_fails_is_told_at_its_line(prove: Callable[..., int], capsys: pytest.CaptureFixture[str]) -> None:
    assert prove(FAILS) == 1
    shown = capsys.readouterr().out
    # 30 degrees from frame to frame, of a span of 90
    assert "stroller.plica:9:10: error PL934 expectation-fails" in shown
    assert "0.3333, where the limit is 0.1" in shown
    assert "(LeftLeg " in shown


def test_a_clip_given_on_the_command_line_is_gone_over_too(prove: Callable[..., int]) -> None:
    assert prove(HOLDS, "--clip", "kick.bvh") == 1


def test_json_says_the_same(prove: Callable[..., int], capsys: pytest.CaptureFixture[str]) -> None:
    assert prove(FAILS, "--format", "json") == 1
    document = json.loads(capsys.readouterr().out)
    assert (document["format"], document["version"], document["complete"]) == ("plica-proof", 2, True)
    (result,) = document["results"]
    assert result["status"] == "fails"
    assert result["worst"] == pytest.approx(1 / 3)
    assert result["pose"]["track"] == "clip kick.bvh"
    assert result["pose"]["angles"] == {"LeftLeg": pytest.approx(30.0 * result["pose"]["number"])}


def test_sarif_points_at_the_expect_line(prove: Callable[..., int], capsys: pytest.CaptureFixture[str]) -> None:
    assert prove(FAILS, "--format", "sarif") == 1
    note, result = json.loads(capsys.readouterr().out)["runs"][0]["results"]
    assert (note["ruleId"], note["level"]) == ("PL711", "note"), "what was taken for the clip's neutral stance"
    assert (result["ruleId"], result["level"]) == ("PL934", "error")
    place = result["locations"][0]["physicalLocation"]
    assert place["artifactLocation"]["uri"] == "stroller.plica"
    assert (place["region"]["startLine"], place["region"]["startColumn"]) == (9, 10)


def test_github_annotates_the_expect_line(prove: Callable[..., int], capsys: pytest.CaptureFixture[str]) -> None:
    assert prove(FAILS, "--format", "github") == 1
    note, error = capsys.readouterr().out.splitlines()
    assert note.startswith("::notice file=stroller.plica,line=9,")
    assert error.startswith("::error file=stroller.plica,line=9,")


def test_junit_counts_what_fails(prove: Callable[..., int], capsys: pytest.CaptureFixture[str]) -> None:
    assert prove(FAILS + "expect { rest   partition }\n", "--format", "junit") == 1
    suites = ElementTree.fromstring(capsys.readouterr().out)
    (suite,) = suites
    assert {key: suite.get(key) for key in ("tests", "failures", "skipped")} == {
        "tests": "3",
        "failures": "1",
        "skipped": "1",
    }
    cases = {case.get("classname"): [child.tag for child in case] for case in suite}
    assert cases == {"stroller.smooth": ["failure"], "stroller.rest": [], "stroller.partition": ["skipped"]}


UNKNOWN = KICK + "expect { rest   partition }\n"


def test_what_cannot_be_measured_does_not_hold(prove: Callable[..., int], capsys: pytest.CaptureFixture[str]) -> None:
    assert prove(UNKNOWN) == 1
    shown = capsys.readouterr().out
    assert "PL935 expectation-not-measured: `partition` was not measured: there is no mesh" in shown
    assert "1 hold, 1 not measured" in shown


def test_what_cannot_be_measured_may_be_let_pass(prove: Callable[..., int], capsys: pytest.CaptureFixture[str]) -> None:
    assert prove(UNKNOWN, "--allow-unmeasured") == 0
    assert "1 hold, 1 not measured" in capsys.readouterr().out
    assert prove(FAILS, "--allow-unmeasured") == 1


@pytest.mark.parametrize("number", ["0", "-3"])
def test_fewer_than_one_worker(prove: Callable[..., int], capsys: pytest.CaptureFixture[str], number: str) -> None:
    with pytest.raises(SystemExit) as stopped:
        prove(HOLDS, f"--workers={number}")
    assert stopped.value.code == 2
    assert "a number from 1 on" in capsys.readouterr().err


def test_without_a_mesh_no_scheduler_is_asked(prove: Callable[..., int]) -> None:
    assert prove(HOLDS, "--scheduler", "tcp://127.0.0.1:1") == 0


def test_an_accepted_figure_does_not_fail_until_it_gets_worse(
    prove: Callable[..., int], capsys: pytest.CaptureFixture[str]
) -> None:
    accepted = ("--baseline", "accepted.json")
    assert prove(FAILS, *accepted, "--write-baseline") == 1
    written = json.loads(Path("accepted.json").read_text("utf-8"))
    assert written["accepted"] == {'smooth kick over clip "kick.bvh"': pytest.approx(1 / 3)}
    capsys.readouterr()
    assert prove(FAILS, *accepted) == 0
    assert "PL937 accepted-figure" in capsys.readouterr().out
    assert prove(FAILS.replace("90 deg", "60 deg"), *accepted) == 1
    shown = capsys.readouterr().out
    assert "PL936 worse-than-accepted" in shown and "got worse: 0.5, where the baseline has 0.3333" in shown
    assert "PL934" in shown
    assert prove(FAILS.replace("90 deg", "120 deg"), *accepted) == 0
    shown = capsys.readouterr().out
    assert "PL942 better-than-accepted" in shown and "got better: 0.25, where the baseline has 0.3333" in shown
    assert "1 got better" in shown


BASELINE = '{"format": "plica-baseline", "version": 1, "accepted": {"rest": %s}}'


@pytest.mark.parametrize(
    "content",
    [
        None, "{", '{"format": "other"}', '{"format": "plica-baseline", "version": 9}', "[" * 100_000,
        '{"format": "plica-baseline", "version": true, "accepted": {}}', '{"a": 1, "a": 2}', "\x80",
        *(BASELINE % figure for figure in ("NaN", "1e999", "-Infinity", "9" * 5000, "9" * 400, '"0"', "[0]", "null")),
        BASELINE % "true", (BASELINE % "0").replace("rest", "\\ud800"),
    ],
    ids=range(18),
)  # fmt: skip
def test_a_baseline_that_cannot_be_read(
    prove: Callable[..., int], capsys: pytest.CaptureFixture[str], content: str | None
) -> None:
    if content is not None:
        Path("accepted.json").write_text(content, "latin-1")
    assert prove(HOLDS, "--baseline", "accepted.json") == 1
    assert "PL938 unreadable-baseline" in capsys.readouterr().out


def test_writing_a_baseline_needs_a_file(prove: Callable[..., int], capsys: pytest.CaptureFixture[str]) -> None:
    assert prove(HOLDS, "--write-baseline") == 2
    assert "--baseline FILE" in capsys.readouterr().err


def test_stopping_keeps_what_was_done(
    prove: Callable[..., int], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    results = Prover.results

    def stopped(self: Prover, *more: object) -> Iterator[Result]:
        for number, result in enumerate(results(self)):
            if number == 2:
                raise KeyboardInterrupt
            yield result

    monkeypatch.setattr(Prover, "results", stopped)
    assert prove(HOLDS) == 130
    shown = capsys.readouterr()
    assert "2 hold, 1 not measured" in shown.out
    assert "the run was stopped before" in shown.out
    assert "stopped; what was measured until then is told" in shown.err
