"""A proof of one spec is taken from an earlier run where everything is as it was, and never otherwise."""

from __future__ import annotations

import json
import os
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

import plica
from plica import limits
from plica.api import proving, proving_files
from plica.api.proving_files import FileProof
from plica.commands.main import run
from plica.diagnostics.text import render
from plica.project import recall
from tests.fuzz.character import files, model

SPEC = "wren/wren.plica"


def _put_down(root: Path) -> None:
    """A character with a model in two files, sculpts, a library, a clip and an image, and a project around it."""
    folder = root / "wren"
    folder.mkdir(parents=True)
    document, data = model()
    document["buffers"][0]["uri"] = "wren.bin"
    text = files()["wren.plica"].decode().replace("wren.glb", "wren.gltf")
    more = {"wren.gltf": json.dumps(document).encode(), "wren.bin": data}
    more["wren.plica"] = (text + "expect { reach cheer   partition }\n").encode()
    for name, content in {**files(), **more}.items():
        if name != "wren.glb":
            (folder / name).write_bytes(content)
    (root / "plica.toml").write_text('characters = ["wren/wren.plica"]\n', "utf-8")


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder with the character; whoever changes something in it undoes that."""
    root = tmp_path_factory.mktemp("kept")
    _put_down(root)
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(root)
        yield root


@pytest.fixture(autouse=True)
def _there(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(kept)


def prove(**more: object) -> FileProof:
    return plica.prove_file(SPEC, cache="cache", workers=1, **more)  # type: ignore[arg-type]


def told(proof: FileProof) -> tuple[object, ...]:
    """All that is told of a proof but for the seconds."""
    junit = re.sub(r' time="[^"]*"', "", proof.junit())
    texts = proof.text(100, True, True), proof.text(), proof.json(), junit
    return (*texts, render(proof.diagnostics), render(proof.verdicts), proof.failed, proof.incomplete)


def test_what_is_recalled_is_what_measuring_says() -> None:
    first, recalled, anew = prove(), prove(), plica.prove_file(SPEC, cache=False, workers=1)
    assert recalled.recalled and not (first.recalled or anew.recalled)
    assert told(first) == told(recalled) == told(anew)
    report = plica.prove_expectations(plica.compile_file(SPEC), cache=False, workers=1)
    assert told(anew)[:3] == (report.text(100, True, True), report.text(), report.json())
    assert told(anew)[4:6] == (render(report.diagnostics), render(report.verdicts))
    assert {one.status for one in report.results} == {"holds", "fails"}


@pytest.mark.parametrize("form", ["text", "json", "sarif", "github", "junit"])
def test_every_form_is_the_same_to_the_byte(form: str, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["prove", SPEC, "--format", form, "--poses", "--workers", "1", "--cache", "cache"]
    code = run(words)
    first = capsys.readouterr()
    assert run([*words[:-2], "--no-cache"]) == code
    anew = capsys.readouterr()
    if form == "junit":
        first, anew = (type(one)(re.sub(r' time="[^"]*"', "", one.out), one.err) for one in (first, anew))
    assert first == anew and first.out


READ = ("hold.npz", "lift.obj", "limb.plica", "patch.png", "rounds.bvh", "wren.bin", "wren.gltf", "wren.plica")


@pytest.mark.parametrize("name", READ)
def test_a_changed_or_missing_file_measures_anew(name: str) -> None:
    prove()
    path = Path("wren", name)
    content, status = path.read_bytes(), path.stat()
    other = bytearray(content)
    other[len(other) // 2] ^= 1
    try:
        assert prove().recalled
        path.write_bytes(other)  # of the same size, at the same time
        os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))
        assert not prove().recalled
        path.write_bytes(content)
        prove()
        path.unlink()
        assert not prove().recalled
    finally:
        path.write_bytes(content)


def test_a_file_that_was_not_read_does_not_count() -> None:
    prove()
    path = Path("wren", "relaxed.png")
    path.write_bytes(path.read_bytes()[::-1])
    assert prove().recalled
    path.write_bytes(path.read_bytes()[::-1])


def test_a_file_behind_a_link_and_one_that_comes_to_be_measure_anew(tmp_path: Path) -> None:
    path = Path("wren", "patch.png")
    whole = prove()
    path.rename(tmp_path / "patch.png")
    missing = prove()
    assert missing.table is None and not missing.recalled
    path.symlink_to(tmp_path / "patch.png")
    linked = prove()
    assert linked.table is None and not linked.recalled, "it leads out of the folder"
    path.unlink()
    shutil.copy(tmp_path / "patch.png", path)
    assert told(prove()) == told(whole)


OTHERWISE: list[dict[str, object]] = [
    {"allow": ["."]},
    {"clips": ["wren/rounds.bvh"]},
    {"start": 0.0},
    {"stop": 0.01},
    {"stance_at": 0.0},
    {"baseline": "accepted.json"},
    {"allow_unmeasured": True},
]


@pytest.mark.parametrize("options", OTHERWISE, ids=lambda one: " ".join(one))
def test_other_options_measure_anew(options: dict[str, object]) -> None:
    Path("accepted.json").write_text('{"format": "plica-baseline", "version": 1, "accepted": {"rest": 0}}', "utf-8")
    prove()
    assert not prove(**options).recalled
    assert prove(**options).recalled
    Path("accepted.json").write_text('{"format": "plica-baseline", "version": 1, "accepted": {"rest": 1}}', "utf-8")
    assert prove(**options).recalled == ("baseline" not in options)


def test_limits_versions_and_the_code_are_part_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    prove()
    with limits.using(limits.in_force()._replace(findings=7)):
        assert not prove().recalled
    with monkeypatch.context() as patch:
        patch.setattr(recall, "code_digest", lambda: "another Plica")
        assert not prove().recalled
    with monkeypatch.context() as patch:
        patch.setattr(recall, "installed_version", lambda name: "99")
        assert not prove().recalled
    assert prove().recalled


def test_what_writes_or_asks_others_is_done_each_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    drawn: list[Path] = []
    monkeypatch.setattr(proving, "drawn", lambda subject, results, folder, *more: drawn.append(folder) or results)
    for options in ({"pictures": tmp_path}, {"baseline": "made.json", "write_baseline": True}):
        assert not prove(**options).recalled and not prove(**options).recalled
    assert drawn == [tmp_path, tmp_path] and Path("made.json").exists()


def _torn(content: bytes) -> bytes:
    return content[: len(content) // 2]


def _sealed(change: Callable[[dict[str, object]], object]) -> Callable[[bytes], bytes]:
    """Another content under a seal that fits."""

    def changed(content: bytes) -> bytes:
        held = json.loads(content[65:])
        change(held["outcome"])
        body = json.dumps(held).encode()
        return recall.sha256(body).hexdigest().encode() + b"\n" + body

    return changed


DAMAGES = {
    "torn": _torn,
    "a byte": lambda content: content[:-9] + bytes([content[-9] ^ 1]) + content[-8:],
    "no table": _sealed(lambda held: held.update(documents=[["table", "[[1]]"], *held["documents"][1:]])),  # type: ignore[index, misc]
    "no verdicts": _sealed(lambda held: held.update(documents=held["documents"][:1])),  # type: ignore[index]
}


@pytest.mark.parametrize("damage", DAMAGES.values(), ids=DAMAGES)
def test_a_damaged_entry_is_measured_anew(damage: Callable[[bytes], bytes]) -> None:
    sound = prove()
    newest = max(Path("cache/outcomes").glob("??/*"), key=lambda path: path.stat().st_mtime_ns)
    newest.write_bytes(damage(newest.read_bytes()))
    anew = prove()
    assert not anew.recalled and told(anew) == told(sound)
    assert prove().recalled


def test_what_was_stopped_is_not_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(step: str) -> None:
        if "poses" in step:
            raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(recall, "code_digest", lambda: "stopped")
        stopped = prove(progress=stop)
        assert stopped.stopped and stopped.incomplete
        assert not prove().recalled


def test_the_projects_file_is_read_every_time(capsys: pytest.CaptureFixture[str], kept: Path) -> None:
    """Its folders and clips are asked for anew, and what it accepts is taken out of what was kept."""
    words = ["prove", SPEC, "--workers", "1", "--cache", "cache"]
    run(words)
    before = capsys.readouterr().out
    code = re.findall(r"(?:warning|note) PL\d+ ([a-z-]+)", before)
    text = (kept / "plica.toml").read_text("utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(proving_files, "proven", lambda *more: pytest.fail("it was measured"))
        run(words)
        assert capsys.readouterr().out == before
        accepts = "".join(f'[[accept]]\nfinding = "{one}"\nbecause = "a test"\n' for one in dict.fromkeys(code))
        (kept / "plica.toml").write_text(text + accepts, "utf-8")
        run(words)
        assert code and not any(one in capsys.readouterr().out for one in set(code) - {"expectation-not-measured"})
    measured: list[object] = []
    with pytest.MonkeyPatch.context() as patch:
        proven = proving_files.proven
        patch.setattr(proving_files, "proven", lambda *more: measured.append(0) or proven(*more))
        (kept / "plica.toml").write_text(text + 'clips = ["wren/*.bvh"]\n', "utf-8")
        run(words)
    (kept / "plica.toml").write_text(text, "utf-8")
    assert measured, "clips of the project are gone over too"
