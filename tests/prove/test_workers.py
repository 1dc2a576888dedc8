"""Units of work in other processes: the same figures to the last bit, and nothing left running."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest

from plica.evaluate.poses import rest_poses
from plica.mesh.deform import Deformer
from plica.prove.execution.executor import LocalExecutor
from plica.prove.execution.skin_runs import frames_of_a_stretch
from plica.prove.execution.work import (
    Material,
    Measurer,
    OtherCodeError,
    WorkAnswer,
    WorkUnit,
    material_of,
    prepared,
)
from plica.prove.proof import ProofSubject
from plica.prove.prover import Prover
from plica.prove.results import Result
from plica.worker_processes import WorkerError, Workers
from tests.support.arms import Arms, arms
from tests.support.data import ROOT
from tests.support.skins import random_poses
from tests.support.swinging import TEXT, swinging

FRAMES = 70  # more than one stretch


@pytest.fixture(scope="module")
def subject() -> ProofSubject:
    return swinging(FRAMES)


@pytest.fixture(autouse=True)
def nothing_left_running() -> Iterator[None]:
    yield
    assert multiprocessing.active_children() == []


def results(subject: ProofSubject, count: int, patience: float = 0.0) -> list[Result]:
    prover = Prover(subject, hire=partial(LocalExecutor, count=count, patience=patience))
    return sorted(prover.results(), key=lambda one: one.index)


def material(made: Arms) -> Material:
    rest = next(Deformer(made.attached.mesh, made.rig, {}).positions(rest_poses(made.rig))).positions[0]
    return material_of(made.rig, made.attached, rest)


def workers_of(made: Arms, count: int) -> Workers[WorkUnit, WorkAnswer]:
    return Workers(partial(prepared, material(made)), count)


def units(made: Arms, count: int) -> list[WorkUnit]:
    deformer = Deformer(made.attached.mesh, made.rig, made.attached.shapes)
    asked = tuple(range(len(made.rig.expectations)))
    return [
        WorkUnit(
            seed,
            asked,
            tuple(deformer.motion(random_poses(made.rig, 8, 2 * seed + one)) for one in (0, 1)),
            (None, None),
        )
        for seed in range(count)
    ]


def test_figures_are_the_same_with_any_number_of_processes(subject: ProofSubject) -> None:
    alone = results(subject, 1)
    assert {one.expectation.kind for one in alone} == {"volume", "stretch", "girth", "clearance", "crossing"}
    assert "not measured" not in {one.status for one in alone}
    assert results(subject, 3) == alone


def test_work_that_is_short_stays_in_this_process(subject: ProofSubject, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plica.prove.execution.executor.Workers", None)
    assert results(subject, 2, patience=1e9) == results(subject, 1)


def test_others_are_started_only_where_much_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    """However long it took until now: what is nearly done is done here."""
    started: list[int] = []

    class Started(Exception):  # noqa: N818 - no fault
        pass

    def start(prepare: object, count: int) -> None:
        started.append(count)
        raise Started

    monkeypatch.setattr("plica.prove.execution.executor.Workers", start)
    made = arms(TEXT)
    crew = LocalExecutor(material(made), 2, patience=1e-9)
    for unit in units(made, 3):
        crew.add(unit)
    for _ in range(2):
        crew.foresee(0)
        crew.answer()
    crew.foresee(10**9)
    with pytest.raises(Started):
        crew.answer()
    assert started == [2]


def test_others_are_started_where_it_is_long_and_do_the_work(monkeypatch: pytest.MonkeyPatch) -> None:
    given: list[int] = []
    give = Workers.give

    def counting(self: Workers[WorkUnit, WorkAnswer], unit: WorkUnit) -> None:
        given.append(unit.number)
        give(self, unit)

    class Waiting(LocalExecutor):
        """Does nothing more of its own once others are started."""

        def answer(self) -> WorkAnswer:
            answer = super().answer()
            while self._workers is not None and not self._workers.ready:
                time.sleep(0.01)
            return answer

    monkeypatch.setattr(Workers, "give", counting)
    subject = swinging(600)
    result = sorted(Prover(subject, hire=partial(Waiting, count=2, patience=0.0)).results(), key=lambda one: one.index)
    assert len(given) >= 3
    assert result == results(subject, 1)


def test_a_worker_that_is_killed_costs_nothing_but_time() -> None:
    made = arms(TEXT)
    known, work = Measurer(material(made)), units(made, 6)
    workers = workers_of(made, 2)
    try:
        answers: dict[int, WorkAnswer] = {}
        waiting = list(work)
        killed = False
        while len(answers) < len(work):
            while waiting and workers.idle:
                workers.give(waiting.pop(0))
            if workers.under_way and not killed:
                victim = multiprocessing.active_children()[0]
                os.kill(victim.pid or 0, signal.SIGKILL)
                killed = True
            answer, returned = workers.answer()
            waiting += returned
            if answer is not None:
                answers[answer.number] = answer
        assert len(multiprocessing.active_children()) == 1
    finally:
        workers.close()
    assert [answers[unit.number] for unit in work] == [known.answer(unit) for unit in work]


def test_where_all_workers_are_killed_this_process_goes_on() -> None:
    made = arms(TEXT)
    known, work = Measurer(material(made)), units(made, 3)
    crew = LocalExecutor(material(made), 1)
    crew._workers = workers_of(made, 1)
    while not crew._workers.ready:
        time.sleep(0.01)
    for unit in work:
        crew.add(unit)
    for process in multiprocessing.active_children():
        process.kill()
    answers = sorted(crew.answer() for _ in work)
    crew.close()
    assert answers == [known.answer(unit) for unit in work]


def test_a_mistake_in_a_worker_is_told_here() -> None:
    made = arms(TEXT)
    workers = workers_of(made, 1)
    try:
        while not workers.ready:
            time.sleep(0.01)
        (unit,) = units(made, 1)
        workers.give(unit._replace(asked=(999,)))
        with pytest.raises(WorkerError, match="IndexError"):
            workers.answer()
    finally:
        workers.close()


def test_the_worst_does_not_depend_on_the_order_of_the_answers(
    subject: ProofSubject, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Answers handed back the last one first."""
    expected = results(subject, 1)

    class Backwards(LocalExecutor):
        @property
        def has_room(self) -> bool:
            return True

        def answer(self) -> WorkAnswer:
            self._queue.rotate(1)
            return super().answer()

    result = sorted(Prover(subject, hire=Backwards).results(), key=lambda one: one.index)
    assert result == expected


def test_material_of_another_version_is_refused() -> None:
    made = material(arms(TEXT))
    with pytest.raises(OtherCodeError):
        Measurer(Material(made.rig, made.mesh, made.regions, made.shapes, made.rest, "other"))


def test_material_holds_nothing_that_is_not_measured() -> None:
    made = material(arms(TEXT))
    assert set(made.regions) == {"left_forearm", "right_forearm", "left_upperarm"}
    assert made.mesh.normals is None and not made.mesh.morphs


ORPHANS = """
import multiprocessing, sys, time
from tests.prove.test_workers import TEXT, arms, units, workers_of

if __name__ == "__main__":
    made = arms(TEXT)
    workers = workers_of(made, 2)
    while not workers.idle:
        time.sleep(0.01)
    workers.give(units(made, 1)[0])
    print(*(process.pid for process in multiprocessing.active_children()), flush=True)
    time.sleep(3600)
"""


def is_running(process: int) -> bool:
    """Whether a process is there and no zombie."""
    try:
        return Path(f"/proc/{process}/stat").read_text("utf-8").rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="processes are looked up in /proc, which is not here")
def test_workers_do_not_outlive_a_process_that_is_killed(tmp_path: Path) -> None:
    script = tmp_path / "orphans.py"
    script.write_text(ORPHANS, "utf-8")
    parent = subprocess.Popen(
        [sys.executable, str(script)], stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": str(ROOT)}
    )
    assert parent.stdout is not None
    children = [int(number) for number in parent.stdout.readline().split()]
    assert len(children) == 2 and all(map(is_running, children))
    parent.kill()
    parent.wait()
    parent.stdout.close()
    until = time.monotonic() + 300.0
    while any(map(is_running, children)) and time.monotonic() < until:
        time.sleep(0.05)
    assert not any(map(is_running, children))


def test_stretches_of_a_large_mesh_hold_fewer_frames() -> None:
    sizes = [frames_of_a_stretch(vertices) for vertices in (1, 24_000, 100_000, 1_000_000, 100_000_000)]
    assert sizes == [64, 64, 16, 2, 1]


def test_a_stretch_gives_the_same_whatever_it_is_packed_with() -> None:
    made = arms(TEXT)
    measurer = Measurer(material(made))
    one, other = units(made, 2)
    together = measurer.answer(
        WorkUnit(7, one.asked, (*one.stretches, *other.stretches), (*one.mirrored, *other.mirrored))
    )
    assert together.figures == (*measurer.answer(one).figures, *measurer.answer(other).figures)
