"""Texts that ask for a huge amount of work are refused with a finding that names the limit, in little memory.

Nothing here depends on speed: the processes have a bounded address space, and what is not bounded by a limit would not
end, in the generous time that they have, by many orders of magnitude.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from typing import Any

import pytest

from plica import limits
from plica.diagnostics import Diagnostics
from plica.pipeline import compile_text
from plica.spec.ordering import rounds
from tests.support.bombs import BOMBS, HEAD
from tests.support.data import ROOT

GIBIBYTE = 2**30
PATIENCE = 1200  # seconds, for a machine that does much else

# With few steps allowed, so that the suite need not wait: the work is in proportion to them.
WRITING_OUT = (
    "empty_rounds", "empty_rounds_deep", "rounds_that_override_nothing", "rounds_of_a_library", "libraries_that_double",
    "values_that_double", "arguments_that_double", "texts_that_double", "names_that_double",
    "texts_that_grow_in_rounds", "prefixes_that_double", "long_prefix_in_rounds", "many_parameters_in_rounds",
    "many_parameters_of_a_library", "values_of_values", "a_large_declaration_in_rounds", "a_long_list_in_rounds",
    "everything_below_in_rounds", "mistakes_in_rounds", "unused_names_in_rounds", "many_samples",
)  # fmt: skip
FINDING = {
    "unknown_joints": "unknown-joint",
    "unknown_names_in_one_declaration": "unknown-name",
    "repeated_names": "duplicate-name",
    "overrides_of_nothing": "nothing-to-override",
}
CHAINS = ("chain_of_combines", "chain_of_regions", "chain_of_shapes", "overrides_of_one", "acceptances")
MOST_SHOWN = 10


def outcomes(names: tuple[str, ...], stated: str, ways: str = "both") -> dict[str, dict[str, Any]]:
    """What compiling each bomb found, in a process with little memory; what ended the process is missing."""
    environment = {**os.environ, limits.VARIABLE: stated}
    command = [sys.executable, "-m", "tests.support.bomb_runner", str(GIBIBYTE), ways, *names]
    done = subprocess.run(command, env=environment, cwd=ROOT, capture_output=True, timeout=PATIENCE, check=False)
    lines = [json.loads(line) for line in done.stdout.decode().splitlines()]
    assert done.returncode == 0, f"{names[len(lines)]}: {done.stderr.decode()[-400:]}"
    return {line["name"]: line for line in lines}


@pytest.fixture(scope="module")
def written_out() -> dict[str, dict[str, Any]]:
    return outcomes(WRITING_OUT, "expansion=5000")


@pytest.mark.parametrize("name", WRITING_OUT)
def test_writing_out_too_much_is_refused(name: str, written_out: dict[str, dict[str, Any]]) -> None:
    for way in ("found", "open"):
        result = written_out[name][way]
        assert result["too-many-declarations"] == 1
        assert result.keys() <= {"too-many-declarations", "over-limit"}, "nothing is said of what was not written out"
    assert written_out[name]["grown"] < 200 * 2**20


def test_the_refusal_names_the_limit() -> None:
    with limits.using(limits.Limits(expansion=100)):
        result = compile_text(BOMBS["empty_rounds"]()["spec.plica"]).diagnostics
    assert [item.name for item in result] == ["too-many-declarations"]
    assert "--limit expansion=" in (result[0].hint or "")
    assert result[0].span is not None


def test_what_the_limit_allows_is_written_out() -> None:
    text = HEAD + "each a in 1 .. 100 { region r{a} both { skin of arm } }\n"
    assert compile_text(text).rig is not None
    with limits.using(limits.Limits(expansion=200)):
        assert compile_text(text).rig is None


@pytest.fixture(scope="module")
def with_findings() -> dict[str, dict[str, Any]]:
    return outcomes(tuple(FINDING), f"findings={MOST_SHOWN} expansion=10000000")


@pytest.mark.parametrize("name", FINDING)
def test_so_many_errors_are_found_and_no_more(name: str, with_findings: dict[str, dict[str, Any]]) -> None:
    for way in ("found", "open"):
        result = with_findings[name][way]
        assert result == {FINDING[name]: MOST_SHOWN, "too-many-findings": 1}


@pytest.fixture(scope="module")
def chains() -> dict[str, dict[str, Any]]:
    return outcomes(CHAINS, "expansion=10000000", "compiled")


@pytest.mark.parametrize("name", CHAINS)
def test_long_chains_compile(name: str, chains: dict[str, dict[str, Any]]) -> None:
    assert chains[name]["found"].keys() <= {"unused-name"}


class Counted(list[str]):
    """A list that counts how often it was gone through."""

    walks = 0

    def __iter__(self) -> Any:
        Counted.walks += 1
        return super().__iter__()


def test_a_chain_is_put_in_order_by_looking_at_each_link_once() -> None:
    needs = {f"n{index}": Counted([f"n{index - 1}"]) for index in range(4000, 0, -1)}
    Counted.walks = 0
    assert [name for step in rounds(needs) for name in step] == [f"n{index}" for index in range(1, 4001)]
    assert Counted.walks == 4000


def test_names_in_a_circle_never_come() -> None:
    needs = {"a": ["b"], "b": ["a"], "c": ["a"], "d": ["elsewhere"], "e": ["d"]}
    assert list(rounds(needs)) == [["d"], ["e"]]


def test_a_mistake_in_a_family_is_shown_a_few_times() -> None:
    result = compile_text(HEAD + "each a in 1 .. 90 { driver d{a} { reads bend of j{a} span 0 deg .. 1 deg } }\n")
    names = [item.name for item in result.diagnostics]
    assert names.count("unknown-joint") == limits.Limits().findings_at_a_place
    (more,) = [item for item in result.diagnostics if item.name == "more-of-the-same"]
    assert more.message.startswith(f"{90 - limits.Limits().findings_at_a_place} more of `unknown-joint`")


def test_warnings_never_hide_an_error() -> None:
    warned = "".join(f"region r{index} both {{ skin of arm }}\n" for index in range(30))
    with limits.using(limits.Limits(findings=10)):
        compiled = compile_text(HEAD + warned)
        assert compiled.rig is not None
        assert [item.name for item in compiled.diagnostics].count("unused-name") == 10
        assert [item.name for item in compiled.diagnostics].count("too-many-findings") == 1
        late = compile_text(HEAD + warned + "region last both { skin of nothing }\n")
    assert [item.name for item in late.diagnostics if item.severity == "error"] == ["unknown-joint"]


def test_what_is_accepted_does_not_count_as_shown() -> None:
    accepting = 'accept unused-name because "kept for later"'
    text = "".join(f"region r{index} both {{ skin of arm\n{accepting} }}\n" for index in range(30))
    with limits.using(limits.Limits(findings=10)):
        assert compile_text(HEAD + text).diagnostics == ()


def test_the_same_error_found_for_ever_ends_the_search() -> None:
    diagnostics = Diagnostics()
    with limits.using(limits.Limits(findings=10)):
        while not diagnostics.stopped:
            assert diagnostics.count_of_errors < 1000
            diagnostics.add("unknown-joint", None, name="a")
        assert {item.name for item in diagnostics.all} == {"unknown-joint", "too-many-findings"}


def test_bounding_what_is_bounded_changes_nothing() -> None:
    """A command's own list takes in what compiling found."""
    compiled = compile_text(HEAD + "each a in 1 .. 2000 { driver d{a} { reads bend of j{a} span 0 deg .. 1 deg } }\n")
    diagnostics = Diagnostics()
    diagnostics.extend(compiled.diagnostics)
    assert diagnostics.all == compiled.diagnostics


def test_what_fills_a_message_is_cut() -> None:
    diagnostics = Diagnostics()
    diagnostics.add("unknown-joint", None, name="x" * 10_000_000, hint="y" * 10_000_000)
    assert all(len(text or "") < 2_000 for item in diagnostics.all for text in (item.message, item.hint))
