"""Output folders that make trouble: in use by another build, full, read-only, vanishing, without locks."""

from __future__ import annotations

import errno
import os
import shutil
import signal
import stat
import tempfile
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from time import monotonic, sleep

import pytest

from plica.diagnostics import Diagnostics
from plica.emit import lock, publish, writer
from plica.emit.lock import FolderBusyError, locked
from tests.support.output_sets import States, accepted, everything_in, leftovers, mixed_sets_accepted, states

forks = pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot copy a process")
NOBODY = 65534


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> States:
    return states(tmp_path_factory.mktemp("states"))


def in_a_process(work: Callable[[], object]) -> int:
    """A copy of this process that does the work; its number. It exits with 0 where the work gave something true."""
    process = os.fork()
    if process == 0:
        status = 70
        try:
            status = 0 if work() else 1
        finally:
            os._exit(status)
    return process


def status_of(process: int) -> int:
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])


def told(both: States, folder: Path) -> list[str]:
    diagnostics = Diagnostics()
    publish.publish(both.new, folder, diagnostics)
    return [f"{item.name}: {item.message}" for item in diagnostics.all]


# ---- several at once


@forks
def test_many_builds_at_once_leave_one_whole_set(both: States, tmp_path: Path) -> None:
    def work(number: int) -> Callable[[], bool]:
        made = both[number % 2]
        return lambda: all(publish.publish(made, tmp_path, Diagnostics()) is not None for _ in range(10))

    processes = [in_a_process(work(number)) for number in range(6)]
    assert [status_of(process) for process in processes] == [0] * 6
    assert leftovers(tmp_path) == []
    assert mixed_sets_accepted(tmp_path, both) == []
    assert {"self-test", "diff"} <= set(accepted(tmp_path, both))


@pytest.fixture
def holder(tmp_path: Path) -> Iterator[int]:
    """A process that holds the lock of the folder and never gives it back."""
    ready = tmp_path / "ready"

    def hold() -> None:
        with locked(tmp_path, lambda: None, 5.0):
            ready.touch()
            while True:
                sleep(1.0)

    process = in_a_process(hold)
    end = monotonic() + 300.0
    while not ready.exists() and monotonic() < end:
        sleep(0.01)
    ready.unlink()
    yield process
    os.kill(process, signal.SIGKILL)
    os.waitpid(process, 0)


@forks
def test_a_second_build_waits_says_so_and_gives_up(
    both: States, tmp_path: Path, holder: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(writer, "WAIT_SECONDS", 0.3)
    steps: list[str] = []
    diagnostics = Diagnostics()
    assert publish.publish(both.new, tmp_path, diagnostics, step=steps.append) is None
    assert [item.name for item in diagnostics.all] == ["folder-busy"]
    assert steps == ["waiting for another build that writes into the folder"]
    assert list(everything_in(tmp_path)) == [".plica.lock"]


@forks
def test_the_lock_ends_with_the_process_that_is_killed(both: States, tmp_path: Path, holder: int) -> None:
    threading.Timer(0.5, os.kill, (holder, signal.SIGKILL)).start()
    assert told(both, tmp_path) == []
    assert leftovers(tmp_path) == []
    assert "current" in accepted(tmp_path, both)


@forks
def test_leftovers_are_not_removed_while_somebody_writes(both: States, tmp_path: Path, holder: int) -> None:
    part = tmp_path / ".plica-0123456789abcdef.part"
    part.write_bytes(b"being written")
    writer.tidy(tmp_path)
    assert part.exists()


def test_two_threads_hold_the_lock_one_after_the_other(tmp_path: Path) -> None:
    with locked(tmp_path, lambda: None, 0.0) as has_locks:
        assert has_locks
        with pytest.raises(FolderBusyError), locked(tmp_path, lambda: None, 0.1):
            pass
    with locked(tmp_path, lambda: None, 0.0):
        pass
    assert list(tmp_path.iterdir()) == []


def test_a_file_system_without_locks_is_told(both: States, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(file: int) -> None:
        raise OSError(errno.ENOLCK, "no locks available")

    monkeypatch.setattr(lock, "_lock", refuse)
    (problem,) = told(both, tmp_path)
    assert problem.startswith("folder-without-locks: ")
    assert "current" in accepted(tmp_path, both)


def test_a_link_in_the_locks_place_is_not_followed(both: States, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / ".plica.lock").symlink_to(tmp_path / "elsewhere")
    assert [line.split(":")[0] for line in told(both, tmp_path / "out")] == ["file-not-written"]
    assert not (tmp_path / "elsewhere").exists()


# ---- no room, no rights, no folder


@forks
@pytest.mark.parametrize("share", [0.0, 0.3, 0.999])
def test_a_full_disk_changes_nothing(both: States, tmp_path: Path, share: float) -> None:
    """The system's limit on the size of files stands in for a disk's."""
    resource = pytest.importorskip("resource")
    assert publish.publish(both.old, tmp_path, Diagnostics()) is not None
    before = everything_in(tmp_path)
    most = int(max(map(len, both.new.files.values())) * share)

    def work() -> bool:
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
        problems = told(both, tmp_path)
        return len(problems) == 1 and problems[0].startswith("file-not-written: ")

    assert status_of(in_a_process(work)) == 0
    assert everything_in(tmp_path) == before


@forks
def test_a_read_only_folder_changes_nothing(both: States) -> None:
    base = Path(tempfile.mkdtemp(prefix="plica-test-"))
    if os.geteuid() == 0 and not all(place.stat().st_mode & stat.S_IXOTH for place in base.resolve().parents):
        shutil.rmtree(base)
        pytest.skip("the superuser gives up its rights here, and the folder for temporary files is closed to others")
    try:
        base.chmod(0o755)
        folder = base / "out"
        assert publish.publish(both.old, folder, Diagnostics()) is not None
        before = everything_in(folder)
        for place in (folder, folder / "more"):
            place.chmod(0o555)

        def work() -> bool:
            if os.geteuid() == 0:
                os.setuid(NOBODY)  # rights do not hold for the superuser
            current = publish.publish(both.old, folder, Diagnostics())
            problems = told(both, folder)
            return current is not None and [line.split(":")[0] for line in problems] == ["file-not-written"]

        assert status_of(in_a_process(work)) == 0
        assert everything_in(folder) == before
        for place in (folder, folder / "more"):
            place.chmod(0o755)
    finally:
        shutil.rmtree(base)


@pytest.mark.parametrize("number", range(1, 10))
def test_a_folder_that_vanishes(both: States, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int) -> None:
    """Just before one of the renames; what is told is what is there."""
    folder = tmp_path / "out"
    assert publish.publish(both.old, folder, Diagnostics()) is not None
    real, count = Path.replace, 0

    def replace(path: Path, target: Path) -> Path:
        nonlocal count
        count += 1
        if count == number:
            shutil.rmtree(folder)
        return real(path, target)

    monkeypatch.setattr(Path, "replace", replace)
    (problem,) = told(both, folder)
    assert problem.startswith("files-half-written: ")
    assert "missing: `cloth.masks.1.png`" in problem and "new: " not in problem
    assert not folder.exists()


def test_something_else_writes_at_the_same_time(both: States, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = publish.put

    def put(*given: object) -> bool:
        done = real(*given)  # type: ignore[arg-type]
        (tmp_path / "cloth.rig.json").write_bytes(b"{}")
        return done

    monkeypatch.setattr(publish, "put", put)
    (problem,) = told(both, tmp_path)
    assert problem.startswith("outputs-disturbed: ") and "`cloth.rig.json`" in problem
