"""`plica prove` over long motion: other processes, the cache, and being stopped. In processes of their own."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.support.data import ROOT

SCRIPT = """
import sys
from pathlib import Path

from plica.api import subject
from plica.commands.main import run
from tests.support.arms import CHARACTER
from tests.support.swinging import TEXT, swinging

if __name__ == "__main__":
    Path("arms.plica").write_text(CHARACTER + TEXT, "utf-8")
    subject.read_subject = lambda *given, **named: swinging(int(sys.argv[1]))
    sys.exit(run(["prove", "arms.plica", *sys.argv[2:]]))
"""
LONG, SHORT = 100_000, 80
ENOUGH = 20  # figures, of some thousands, after which a run is stopped
PATIENCE = 600.0  # seconds, reached only when something hangs
STOPPED = "stopped; what was measured until then is told, and kept in the cache: the next run goes on from there\n"


def started(folder: Path, frames: int, *more: str) -> subprocess.Popen[str]:
    """The command over so many frames, leading a group of processes of its own as a terminal would have it."""
    (folder / "script.py").write_text(SCRIPT, "utf-8")
    return subprocess.Popen(
        [sys.executable, "script.py", str(frames), *more],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": os.pathsep.join((str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])))},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


def figures(folder: Path) -> int:
    """How many are kept; those that are still being written are not yet."""
    return sum(path.suffix != ".part" for path in (folder / "kept" / "figures").glob("??/*"))


def group_is_empty(group: int) -> bool:
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until:
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.05)
    return False


@pytest.mark.skipif(not hasattr(os, "killpg"), reason="this system has no groups of processes")
@pytest.mark.parametrize(("how", "to_all"), [(signal.SIGINT, True), (signal.SIGTERM, False)])
def test_stopping_leaves_what_is_done_and_no_process(tmp_path: Path, how: signal.Signals, to_all: bool) -> None:
    """Ctrl-C goes to all processes of a terminal, a request to end to the first one alone."""
    running = started(tmp_path, LONG, "--workers", "2", "--cache", "kept")
    until = time.monotonic() + PATIENCE
    while figures(tmp_path) < ENOUGH and running.poll() is None and time.monotonic() < until:
        time.sleep(0.02)
    if to_all:
        os.killpg(running.pid, how)
    else:
        running.send_signal(how)
    shown, told = running.communicate(timeout=PATIENCE)
    assert running.returncode == 130, told
    assert group_is_empty(running.pid)
    assert told == STOPPED
    assert "not measured: the run was stopped before" in shown
    kept = figures(tmp_path)
    assert kept >= ENOUGH
    assert not list((tmp_path / "kept").rglob("*.part"))


def test_json_is_the_same_with_other_processes_and_from_the_cache(tmp_path: Path) -> None:
    shown = []
    for more in (("--no-cache", "--workers", "1"), ("--cache", "kept", "--workers", "2"), ("--cache", "kept")):
        done = started(tmp_path, SHORT, "--format", "json", *more)
        out, told = done.communicate(timeout=PATIENCE)
        assert done.returncode in (0, 1) and told == ""
        shown.append(out)
    assert shown[0] == shown[1] == shown[2]
    assert all(result["status"] != "not measured" for result in json.loads(shown[0])["results"])


def test_a_scheduler_that_is_not_there_is_told(tmp_path: Path) -> None:
    pytest.importorskip("distributed", reason="dask.distributed, the extra `cluster`, is not installed")
    done = started(tmp_path, SHORT, "--no-cache", "--scheduler", "nonsense://here")
    out, told = done.communicate(timeout=PATIENCE)
    assert done.returncode == 1
    assert "PL944 nobody-measures: the skin could not be measured: no scheduler answers at nonsense://here" in out
    assert told == ""


@pytest.mark.skipif(not hasattr(os, "killpg"), reason="this system has no groups of processes")
def test_stopping_a_run_on_a_cluster_leaves_what_is_done(tmp_path: Path) -> None:
    distributed = pytest.importorskip("distributed", reason="dask.distributed, the extra `cluster`, is not installed")
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=True, dashboard_address=":0", silence_logs=50
    ) as cluster:
        running = started(tmp_path, LONG, "--scheduler", cluster.scheduler_address, "--cache", "kept")
        until = time.monotonic() + PATIENCE
        while figures(tmp_path) < ENOUGH and running.poll() is None and time.monotonic() < until:
            time.sleep(0.02)
        os.killpg(running.pid, signal.SIGINT)
        shown, told = running.communicate(timeout=PATIENCE)
    assert running.returncode == 130, told
    assert told == STOPPED
    assert "not measured: the run was stopped before" in shown
    assert figures(tmp_path) >= ENOUGH
