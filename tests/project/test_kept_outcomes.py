"""Outcomes of earlier runs are used again where everything is as it was, and never otherwise."""

from __future__ import annotations

import json
import multiprocessing
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from plica import limits
from plica.api.found_project import find_project
from plica.api.projects import ProjectRun, check_project
from plica.project import crew, recall
from plica.project.outcome import Outcome
from plica.project.recall import Job
from plica.worker_processes import Workers
from tests.fuzz.stages import SMALL_STAGE
from tests.support.data import ROOT, SMALL_DATA
from tests.support.projects import USES, put_down

MODEL = 'plica 1\ncharacter fin {\n    geometry "fin.gltf"\n}\n'
SCULPT = 'shape swell both { sculpt "swell.npz"  follows lowerarm_bend }\n'


@pytest.fixture
def root(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Wren and otter use the library, heron does not, fin has a model in two files."""
    root = put_down(tmp_path / "project", {"wren": USES, "otter": USES, "heron": "", "fin": ""})
    fin = root / "characters" / "fin"
    (fin / "fin.plica").write_text(MODEL, "utf-8")
    document = json.loads((SMALL_DATA / "SimpleSkin.gltf").read_text("utf-8"))
    (fin / "fin.gltf").write_text(json.dumps(document), "utf-8")
    monkeypatch.chdir(root)
    return root


def run(root: Path, **options: object) -> ProjectRun:
    return check_project(find_project(root), cache=root.parent / "cache", workers=1, **options)  # type: ignore[arg-type]


def redone(root: Path, **options: object) -> set[str]:
    """The specs that a run does not recall."""
    return {Path(one.file).name for one in run(root, **options).results if not one.recalled}


ALL = {"wren.plica", "otter.plica", "heron.plica", "fin.plica", "limb.plica"}


def append(path: str, text: str = "\n") -> Callable[[Path], None]:
    def change(root: Path) -> None:
        with (root / path).open("a", encoding="utf-8") as file:
            file.write(text)

    return change


def same_size_and_time(root: Path) -> None:
    """Another byte in the library, at the same size and the same time of the last change."""
    path = root / "library" / "limb.plica"
    status = path.stat()
    path.write_text(path.read_text("utf-8").replace("100 deg", "101 deg"), "utf-8")
    os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))


def swapped_for_a_link(root: Path) -> None:
    """The library's bytes stay; where it lies does not, and that is in none of the project's folders."""
    path = root / "library" / "limb.plica"
    elsewhere = root / "limb.plica"
    path.rename(elsewhere)
    path.symlink_to(elsewhere)


CHANGES: list[tuple[str, Callable[[Path], object], set[str]]] = [
    ("nothing", lambda root: None, set()),
    ("a spec", append("characters/wren/wren.plica"), {"wren.plica"}),
    ("the library", append("library/limb.plica"), {"wren.plica", "otter.plica", "limb.plica"}),
    ("a byte alone", same_size_and_time, {"wren.plica", "otter.plica", "limb.plica"}),
    ("the library is gone", lambda root: (root / "library/limb.plica").unlink(), {"wren.plica", "otter.plica"}),
    ("a link in its place", swapped_for_a_link, {"wren.plica", "otter.plica", "limb.plica"}),
    ("a model", append("characters/fin/fin.gltf", " "), {"fin.plica"}),
    ("other folders", lambda root: (root / "plica.toml").write_text('folders = ["library", "characters"]'), ALL),
    ("what is accepted", append("plica.toml", "out = 'made'\n"), set()),
]


@pytest.mark.parametrize(("what", "change", "expected"), CHANGES, ids=[one[0] for one in CHANGES])
def test_only_what_a_change_touches_is_done_again(
    what: str, change: Callable[[Path], object], expected: set[str], root: Path
) -> None:
    assert redone(root) == ALL
    change(root)
    assert redone(root) == expected
    assert redone(root) == set()


def test_what_was_missing_and_is_there_now_is_seen(root: Path) -> None:
    append("characters/wren/wren.plica", SCULPT)(root)
    first = run(root)
    assert not first.ok
    assert redone(root) == {"wren.plica"}, "a file that is like it may have come to its folder"
    shutil.copy(ROOT / "tests/diagnostics/files/sculpts/swell.npz", root / "characters/wren/swell.npz")
    assert redone(root) == {"wren.plica"}
    assert run(root).ok


def test_a_library_that_comes_to_be_is_seen(root: Path) -> None:
    (root / "library/limb.plica").rename(root / "library/other.plica")
    assert not run(root).ok
    (root / "library/other.plica").rename(root / "library/limb.plica")
    again = run(root)
    assert again.ok and {Path(one.file).name for one in again.results if not one.recalled} == {
        "wren.plica",
        "otter.plica",
        "limb.plica",
    }


def test_limits_options_folders_and_plica_itself_are_part_of_it(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run(root)
    assert redone(root, axes=True) == ALL
    assert redone(root, allow=[root.parent]) == ALL
    with limits.using(limits.Limits(findings=7)):
        assert redone(root) == ALL
    assert redone(root) == set()
    monkeypatch.setattr(recall, "code_digest", lambda: "another Plica")
    assert redone(root) == ALL


def test_the_code_digest_covers_every_module() -> None:
    listed = {path for folder in ("compiler", "grammar", "targets") for path in (ROOT / folder).rglob("*.py")}
    seen = {
        Path(path).resolve()
        for folder in ("compiler", "grammar", "targets")
        for path in recall._code_below(str(ROOT / folder))
    }
    assert listed <= seen
    assert ROOT / "grammar" / "plica.lark" in seen and ROOT / "compiler/diagnostics/catalogue.toml" in seen


def test_recalled_findings_are_the_same_to_the_last_character(root: Path) -> None:
    append("characters/wren/wren.plica", "region unused both { skin of upperarm }\nregion unused both { }\n")(root)
    append("library/limb.plica", "driver x both { reads bend of {joint} span 0 mm .. 1 mm }\n")(root)
    first, second = run(root), run(root)
    assert all(one.recalled for one in second.results)
    from plica.diagnostics.json_form import render as as_json
    from plica.diagnostics.text import render as as_text

    for form in (as_text, as_json):
        assert form(first.everything) == form(second.everything)
    assert [one.outcome.lines for one in first.results] == [one.outcome.lines for one in second.results]


def test_files_that_another_process_reads_count_too(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Those of an OpenUSD stage: also a layer that is missing. What changed just before a run is not kept at all."""
    pytest.importorskip("pxr", reason="usd-core is not installed")
    fin = root / "characters" / "fin"
    (fin / "fin.plica").write_text(MODEL.replace("fin.gltf", "fin.usda"), "utf-8")
    (fin / "bones.usda").write_text(SMALL_STAGE, "utf-8")
    head = '(\n    defaultPrim = "Root"\n    subLayers = [@bones.usda@]\n)\n'
    (fin / "fin.usda").write_text(f"#usda 1.0\n{head}", "utf-8")
    run(root)
    assert redone(root) == {"fin.plica"}, "the clock may not have ticked since it was written"
    monkeypatch.setattr(recall, "_RACY_NANOSECONDS", 0)
    time.sleep(0.05)
    run(root)
    assert redone(root) == set()
    (fin / "bones.usda").write_text(SMALL_STAGE.replace("arm_lf", "wing_lf"), "utf-8")
    assert redone(root) == {"fin.plica"}


def test_damaged_and_forged_entries_count_as_none(root: Path) -> None:
    run(root)
    for number, path in enumerate(sorted((root.parent / "cache" / "outcomes").glob("??/*"))):
        path.write_bytes([b"", b"x" * 200, path.read_bytes()[:-3], b"0" * 64 + b"\n{}"][number % 4])
    assert redone(root) == ALL


def test_without_a_cache_nothing_is_kept(root: Path) -> None:
    for _ in range(2):
        result = check_project(find_project(root), cache=False, workers=1)
        assert not any(one.recalled for one in result.results)


def sleeping(job: Job) -> Outcome:
    time.sleep(0.05)
    return Outcome(lines=(job.shown,))


def dying(job: Job) -> Outcome:
    if job.shown == "3" and multiprocessing.parent_process() is not None:
        os._exit(9)
    time.sleep(0.05)
    return Outcome(lines=(job.shown,))


def failing(job: Job) -> Outcome:
    raise RuntimeError(f"no {job.shown}")


def jobs(work: Callable[[Job], Outcome], count: int = 8) -> list[Job]:
    return [Job(work, str(number), str(number), "{}") for number in range(count)]


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Other processes are started at once, and this one waits until they are up."""
    monkeypatch.setattr(crew, "PATIENCE", 0.0)
    ready = Workers.ready.fget
    assert ready is not None

    def waiting(workers: Workers[Job, object]) -> bool:
        until = time.monotonic() + 60
        while not ready(workers) and multiprocessing.active_children() and time.monotonic() < until:
            time.sleep(0.01)
        return bool(ready(workers))

    monkeypatch.setattr(Workers, "ready", property(waiting))


@pytest.mark.usefixtures("impatient")
def test_results_are_the_same_with_any_number_of_processes() -> None:
    alone = crew.results(jobs(sleeping), recall.KeptOutcomes(None), 1)
    others = crew.results(jobs(sleeping), recall.KeptOutcomes(None), 3)
    assert [one.outcome for one in alone] == [one.outcome for one in others]
    assert multiprocessing.active_children() == []


@pytest.mark.usefixtures("impatient")
def test_a_process_that_goes_away_leaves_one_unknown_and_the_others_done() -> None:
    told = crew.results(jobs(dying), recall.KeptOutcomes(None), 2)
    assert [one.job.shown for one in told if not one.outcome.is_good] == ["3"]
    (finding,) = told[3].outcome.diagnostics
    assert finding.name == "character-not-finished"
    assert multiprocessing.active_children() == []


def test_a_mistake_of_plicas_own_in_one_hides_no_other() -> None:
    told = crew.results([*jobs(failing, 1), *jobs(sleeping, 2)[1:]], recall.KeptOutcomes(None), 1)
    assert "RuntimeError: no 0" in told[0].outcome.crash and not told[0].outcome.is_good
    assert told[1].outcome.is_good


def whole(folder: Path) -> list[Path]:
    """The entries of a cache that are not being written."""
    return [path for path in folder.glob("??/*") if path.suffix != ".part"]


@pytest.mark.skipif(os.name == "nt", reason="signals as POSIX has them")
def test_ctrl_c_ends_all_processes_and_what_was_done_is_kept(root: Path) -> None:
    put_down(root, {f"extra{number}": USES * (number % 2) for number in range(60)})
    command = [sys.executable, "-m", "plica", "check", "--cache", str(root.parent / "cache"), "--workers", "3"]
    process = subprocess.Popen(
        command, cwd=root, stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True
    )
    kept = root.parent / "cache" / "outcomes"
    until = time.monotonic() + 60
    while len(whole(kept)) < 3 and time.monotonic() < until and process.poll() is None:
        time.sleep(0.005)
    os.killpg(process.pid, 2)
    _, errors = process.communicate(timeout=60)
    if process.returncode == 0:
        pytest.skip("it was done before it could be stopped")
    assert process.returncode == 130 and b"Traceback" not in errors
    until = time.monotonic() + 30
    with pytest.raises(ProcessLookupError):  # once the last of the group has ended
        while time.monotonic() < until:
            os.killpg(process.pid, 0)
            time.sleep(0.05)
    before = len(whole(kept))
    assert before >= 3
    assert len(redone(root)) <= 65 - before
