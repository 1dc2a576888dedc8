"""The harness notices whatever can go wrong with an input, says which input it was, and makes it smaller."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from tests.fuzz import campaign, faulty, worker
from tests.fuzz.campaign import Plan
from tests.fuzz.judge import WATCHES_MEMORY
from tests.fuzz.minimise import minimised, smaller
from tests.fuzz.target import CORPUS, Target, files_in
from tests.fuzz.targets import TARGETS

REGISTRY = faulty.__name__
of_memory = pytest.mark.skipif(not WATCHES_MEMORY, reason="memory is watched on Linux only")


def _causes(name: str, *inputs: bytes) -> list[str]:
    result = campaign.verdicts(faulty.TARGETS[name], inputs, REGISTRY)
    return [one.cause if one is not None else "" for one in result]


def test_an_exception_is_a_finding_and_other_inputs_are_not() -> None:
    assert _causes("raises", b"good", b"so bad", b"") == ["", "ValueError in tests.fuzz.faulty._raises", ""]


def test_a_process_that_breaks_down_is_started_again_for_the_inputs_after() -> None:
    assert _causes("breaks-down", b"bad", b"good", b"bad", b"") == ["process ended: SIGSEGV", ""] * 2


@of_memory
def test_memory_is_bounded_and_watched() -> None:
    assert _causes("takes-memory", b"x") == ["memory in tests.fuzz.faulty._takes_memory"]
    assert _causes("hides", b"x") == ["memory"]


def test_processor_time_is_bounded_whatever_is_caught() -> None:
    assert _causes("loops", b"x") == ["slow in tests.fuzz.faulty"]


def test_what_waits_for_ever_is_ended_and_the_next_input_is_run() -> None:
    assert _causes("sleeps", b"1", b"2") == ["hangs", "hangs"]


def test_endless_recursion_is_a_finding() -> None:
    assert _causes("never-ends", b"") == ["RecursionError in tests.fuzz.faulty._never_ends"]


def _run(name: str, folder: Path, seed: int = 3) -> campaign.Outcome:
    return campaign.run(faulty.TARGETS[name], Plan(seed=seed, inputs=60, registry=REGISTRY), folder)


def test_the_same_seed_gives_the_same_inputs_whatever_happens_between(tmp_path: Path) -> None:
    once, again = _run("raises", tmp_path / "1"), _run("raises", tmp_path / "2")
    assert once.inputs == again.inputs == 60
    assert once.findings == again.findings and once.findings[0].times > 1
    broken = _run("breaks-down", tmp_path / "3")
    assert broken.inputs == 60
    assert [one.times for one in broken.findings] == [one.times for one in once.findings]


@pytest.mark.skipif(not campaign.can_be_guided(), reason="atheris is not there")
def test_guided_by_what_inputs_reach(tmp_path: Path) -> None:
    plan = Plan(seconds=1.0, guided=True, registry=REGISTRY)
    outcome = campaign.run(faulty.TARGETS["raises"], plan, tmp_path)
    assert [one.cause for one in outcome.findings] == ["ValueError in tests.fuzz.faulty._raises"]


def test_inputs_are_made_smaller() -> None:
    target = faulty.TARGETS["raises"]
    (result,) = campaign.verdicts(target, [b"a long way before it is bad, and a long way after"], REGISTRY)
    assert result is not None
    assert minimised(target, result, 60.0, REGISTRY).data == b"bad"


def test_making_smaller_stops_when_time_is_up() -> None:
    data = bytes(100)
    assert smaller(data, "x", lambda inputs: ["x"] * len(inputs), lambda: True) == data
    assert smaller(data, "x", lambda inputs: ["x" if b"\0" in one else "" for one in inputs], lambda: False) == b"\0"


@pytest.mark.parametrize("target", TARGETS.values(), ids=list(TARGETS))
def test_seeds_are_few_and_small_and_mutation_depends_on_chance_alone(target: Target) -> None:
    kept = [path.stat().st_size for path in files_in(CORPUS / target.name)]
    assert sum(kept) <= 24 * 1024
    seeds = target.seeds()
    assert seeds
    for number, data in enumerate(seeds[:6]):
        assert target.mutate(Random(number), data) == target.mutate(Random(number), data)
    assert any(target.mutate(Random(number), seeds[0]) != seeds[0] for number in range(4))


def test_targets_are_known_by_their_own_names() -> None:
    assert [target.name for target in TARGETS.values()] == list(TARGETS)


def test_limits_are_lower_while_fuzzing() -> None:
    from plica import limits

    lowered = limits.raised(worker.lowered_limits().split())
    pairs = list(zip(lowered, limits.Limits(), strict=True))
    assert all(low <= usual for low, usual in pairs)
    assert all(low < usual for low, usual in pairs if usual > 10_000)
