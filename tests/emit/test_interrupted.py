"""Builds that are killed or refused by the system at every single step: no reader takes a mixed set for a whole one."""

from __future__ import annotations

import errno
import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from plica.diagnostics import Diagnostics
from plica.emit import exchange
from plica.emit.output_set import OutputSet
from plica.emit.publish import publish
from tests.support.output_sets import (
    States,
    accepted,
    everything_in,
    leftovers,
    mixed_sets_accepted,
    states,
)

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot copy a process")

KILLED, MOST_STEPS = 9, 400
MEMORY = Path("/dev/shm")
CHANGING = {"os.rename", "os.remove", "os.link", "os.mkdir", "os.rmdir"}
LOOKING = {"os.scandir", "os.listdir", "fcntl.flock"}


@pytest.fixture(autouse=True)
def _quick_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody pulls the plug here, so nothing need reach the disk itself."""
    monkeypatch.setattr(os, "fsync", lambda file: None)


@pytest.fixture
def tmp_path(tmp_path: Path) -> Iterator[Path]:
    """In memory where the system has a place for files there: a disk would be waited for thousands of times."""
    if not os.access(MEMORY, os.W_OK):
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(dir=MEMORY) as folder:
        yield Path(folder)


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> States:
    return states(tmp_path_factory.mktemp("states"))


class Stopper:
    """Counts the steps in which a process touches files; at one of them, or from it on, something happens."""

    def __init__(self, step: int, happens: Callable[[], None], goes_on: bool, only_changes: bool) -> None:
        self.step, self.happens, self.goes_on = step, happens, goes_on
        self.events = CHANGING if only_changes else CHANGING | LOOKING
        self.only_changes = only_changes
        self.met = 0

    def install(self) -> None:
        """From now on, for the rest of this process."""
        sys.addaudithook(self._heard)
        real = os.fsync

        def fsync(file: int) -> None:
            self.meet(lambda: os.ftruncate(file, os.fstat(file).st_size // 2))  # as if not all was written yet
            real(file)

        os.fsync = fsync

    def _heard(self, event: str, arguments: tuple[Any, ...]) -> None:
        writes = event == "open" and isinstance(arguments[2], int) and arguments[2] & (os.O_WRONLY | os.O_RDWR)
        if writes or event in self.events or (event == "open" and not self.only_changes):
            self.meet(lambda: None)

    def meet(self, before: Callable[[], None]) -> None:
        """One step."""
        self.met += 1
        if self.met == self.step or (self.goes_on and self.met > self.step):
            before()
            self.happens()


def die() -> None:
    os._exit(KILLED)


def refuse() -> None:
    raise OSError(errno.EIO, "the disk does not answer")


def interrupted(
    made: OutputSet, folder: Path, step: int, happens: Callable[[], None], goes_on: bool = False, changes: bool = False
) -> tuple[int, str]:
    """Publishes in a process of its own; its exit status (0: written, 1: refused), and what it told."""
    reading, writing = os.pipe()
    process = os.fork()
    if process == 0:
        status = 70
        try:
            diagnostics = Diagnostics()
            Stopper(step, happens, goes_on, changes).install()
            status = 0 if publish(made, folder, diagnostics) is not None else 1
            os.write(writing, "\n".join(f"{item.name}: {item.message}" for item in diagnostics.all).encode())
        except BaseException as error:
            os.write(writing, repr(error).encode())
        finally:
            os._exit(status)
    os.close(writing)
    with os.fdopen(reading, "rb") as file:
        told = file.read().decode()
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]), told


def folder_of(tmp_path: Path, made: OutputSet | None) -> Path:
    folder = tmp_path / "out"
    shutil.rmtree(folder, ignore_errors=True)
    if made is not None:
        assert publish(made, folder, Diagnostics()) is not None
        (folder / "letter.txt").write_text("not ours", "utf-8")
    return folder


@pytest.mark.parametrize("beside", ["the old set", "nothing"])
def test_killed_at_every_step(both: States, tmp_path: Path, beside: str) -> None:
    """Where there is an old set the next build is in turn of the new state and of the old one."""
    old = both.old if beside == "the old set" else None
    refused = whole = 0
    for step in range(1, MOST_STEPS):
        folder = folder_of(tmp_path, old)
        status, told = interrupted(both.new, folder, step, die)
        if status == 0:
            break
        assert status == KILLED, told
        assert mixed_sets_accepted(folder, both) == [], step
        refused += not accepted(folder, both)
        if old is not None and step % 2 == 0:
            whole += _the_state_before_is_built_next(both, folder, step)
            continue
        assert publish(both.new, folder, Diagnostics()) is not None, step
        assert leftovers(folder) == [], step
        assert set(accepted(folder, both)) == {"self-test", "diff", "current"}, step
    assert step > 30
    assert refused > 0
    assert (0 < whole < step // 2) if old is not None else whole == 0


def _the_state_before_is_built_next(both: States, folder: Path, step: int) -> bool:
    """Files of the new state that the old one lacks are left over then, and named; whether there are any."""
    assert publish(both.old, folder, Diagnostics()) is not None
    assert leftovers(folder) == [] and mixed_sets_accepted(folder, both) == [], step
    diagnostics = Diagnostics()
    assert publish(both.old, folder, diagnostics) is not None
    # Killed after its manifest was written, the new state was there whole: what the old one lacks is told.
    told = [item.name for item in diagnostics.all]
    assert told == ["outputs-no-longer-written"] if "current" not in accepted(folder, both) else told == [], step
    return told != []


def test_refused_once_at_every_step_all_is_put_back(both: States, tmp_path: Path) -> None:
    refusals = 0
    for step in range(1, MOST_STEPS):
        folder = folder_of(tmp_path, both.old)
        before = everything_in(folder)
        status, told = interrupted(both.new, folder, step, refuse, changes=True)
        after = everything_in(folder)
        if status == 0 and not told:
            assert {path: after[path] for path in both.new.files} == dict(both.new.files)
            if not leftovers(folder) and step > 60:
                break
            continue  # what was refused was some tidying up
        assert status == 1 and told.startswith("file-not-written: "), (step, told)
        refusals += 1
        for path in leftovers(folder):
            after.pop(path)
        assert after == before, step
    assert refusals >= 3 * len(both.new.files)


def test_refused_from_a_step_on_the_message_says_what_is_there(both: States, tmp_path: Path) -> None:
    """Then nothing can be put back either."""
    half_written = 0
    for step in range(1, MOST_STEPS):
        folder = folder_of(tmp_path, both.old)
        before = everything_in(folder)
        status, told = interrupted(both.new, folder, step, refuse, goes_on=True, changes=True)
        if status == 0:
            break
        assert mixed_sets_accepted(folder, both) == [], step
        after = everything_in(folder)
        new = [path for path in both.new.files if after.get(path) == both.new.files[path]]
        same = [path for path in (*both.new.files, both.new.manifest_file) if after.get(path) == before.get(path)]
        if told.startswith("files-half-written: "):
            half_written += 1
            for word, paths in (("new", new), ("as it was", same)):
                listed = ", ".join(f"`{path}`" for path in paths)
                assert (f"{word}: {listed}" in told) == bool(paths), (step, told)
        else:
            assert told.startswith("file-not-written: ") and not new, (step, told)
    assert half_written >= len(both.new.files)


def test_interrupted_by_the_user_all_is_put_back(both: States, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = folder_of(tmp_path, both.old)
    before = everything_in(folder)
    real, count = Path.replace, 0

    def replace(path: Path, target: Path) -> Path:
        nonlocal count
        count += 1
        if count == 4:
            raise KeyboardInterrupt
        return real(path, target)

    monkeypatch.setattr(Path, "replace", replace)
    with pytest.raises(KeyboardInterrupt):
        publish(both.new, folder, Diagnostics())
    assert everything_in(folder) == before


def test_where_there_are_no_hard_links_old_files_are_copied(
    both: States, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def link(*_: object, **__: object) -> None:
        raise OSError(errno.EPERM, "not here")

    monkeypatch.setattr(os, "link", link)
    folder = folder_of(tmp_path, both.old)
    before = everything_in(folder)
    real = exchange._Exchange._put_back
    monkeypatch.setattr(Path, "replace", _failing_at(6))
    diagnostics = Diagnostics()
    assert publish(both.new, folder, diagnostics) is None
    assert [item.name for item in diagnostics.all] == ["file-not-written"]
    assert real is exchange._Exchange._put_back
    assert everything_in(folder) == before


def _failing_at(number: int) -> Callable[[Path, Path], Path]:
    real, count = Path.replace, 0

    def replace(path: Path, target: Path) -> Path:
        nonlocal count
        count += 1
        if count == number:
            refuse()
        return real(path, target)

    return replace
