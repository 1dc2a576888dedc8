"""A build's files as a set: one id, one manifest, and a word about what does not belong to it."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from PIL import Image

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.identity import build_id
from plica.emit.output_set import (
    ManifestError,
    OutputSet,
    manifest_bytes,
    manifest_of,
    manifest_schema,
    read_manifest,
)
from plica.emit.prepare import prepare
from plica.emit.publish import publish, tell_outdated
from plica.emit.writer import Written
from plica.pipeline import compile_file
from plica.rig.rig_schema import schema_text
from plica.texture.mask_set import MaskOptions
from tests.support.cloth import SPEC, bump
from tests.support.data import ROOT
from tests.support.output_sets import (
    NEW_SPEC,
    States,
    accepted,
    build_of_module,
    built,
    everything_in,
    mixed_sets_accepted,
    spec_of,
    states,
)

PAGE = ROOT / "targets"


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> States:
    return states(tmp_path_factory.mktemp("states"))


def published(made: OutputSet, folder: Path) -> tuple[Written | None, list[tuple[str, str]]]:
    diagnostics = Diagnostics()
    done = publish(made, folder, diagnostics)
    return done, [(item.name, item.message) for item in diagnostics.all]


def of_targets(made: OutputSet, *targets: str) -> OutputSet:
    """What the same build gives with some of its targets only."""
    wanted = {path: [name for name in names if name in targets] for path, names in made.targets.items()}
    files = {path: content for path, content in made.files.items() if wanted[path]}
    return replace(made, files=files, targets=wanted, built=targets)


def manifest_in(folder: Path) -> dict[str, str]:
    """The build of each file that the manifest of a folder lists."""
    return {
        entry["file"]: entry["build"] for entry in json.loads((folder / "cloth.manifest.json").read_text())["files"]
    }


# ---- the manifest


def test_the_published_schema_is_current_and_the_manifest_follows_it(both: States, tmp_path: Path) -> None:
    """Validated by the library jsonschema, an implementation of JSON Schema draft 2020-12."""
    assert (PAGE / "manifest.schema.json").read_text("utf-8") == schema_text(manifest_schema())
    assert published(both.old, tmp_path)[1] == []
    manifest = json.loads((tmp_path / "cloth.manifest.json").read_text("utf-8"))
    jsonschema.Draft202012Validator(manifest_schema()).validate(manifest)
    assert {entry["file"] for entry in manifest["files"]} | {"cloth.manifest.json"} == set(everything_in(tmp_path))


def test_every_key_is_documented() -> None:
    page, rules = (PAGE / "README.md").read_text("utf-8"), manifest_schema()["properties"]
    keys = set(rules) | set(rules["files"]["items"]["properties"])
    assert [key for key in sorted(keys) if f"`{key}`" not in page] == []


def test_the_same_build_has_the_same_bytes_whatever_the_order_of_targets(both: States, tmp_path: Path) -> None:
    whole, parts = tmp_path / "whole", tmp_path / "parts"
    assert published(both.old, whole)[1] == []
    for targets in (("masks",), ("template", "python"), ("json",)):
        assert published(of_targets(both.old, *targets), parts)[1] == []
    assert everything_in(parts) == everything_in(whole)


@pytest.mark.parametrize(
    ("change", "problem"),
    [
        (lambda data: [], "its `format` is not"),
        (lambda data: {**data, "format": "other"}, "its `format` is not"),
        (lambda data: {**data, "version": 2}, "its `version` is not 1"),
        (lambda data: {**data, "version": True}, "its `version` is not 1"),
        (lambda data: {**data, "build": None}, "it lacks `character`, `build` or `files`"),
        (lambda data: {**data, "files": [1]}, "an entry of `files` is not an object"),
        (lambda data: {**data, "files": [{**data["files"][0], "bytes": "1"}]}, "an entry of `files` lacks a key"),
        (lambda data: {**data, "files": [{**data["files"][0], "targets": [1]}]}, "the `targets` of an entry"),
    ],
)
def test_what_is_no_manifest_is_refused(both: States, change: object, problem: str) -> None:
    assert callable(change)
    data = change(json.loads(manifest_bytes(manifest_of(both.old))))
    with pytest.raises(ManifestError, match=problem):
        read_manifest(json.dumps(data).encode())


@pytest.mark.parametrize("content", [b"", b"\xff", b"[" * 100_000, b"1" * 5000], ids=["empty", "bytes", "deep", "long"])
def test_a_file_in_the_manifests_place_is_left_alone(both: States, tmp_path: Path, content: bytes) -> None:
    (tmp_path / "cloth.manifest.json").write_bytes(content)
    done, told = published(both.old, tmp_path)
    assert done is None
    assert [name for name, _ in told] == ["unreadable-manifest"]
    assert everything_in(tmp_path) == {"cloth.manifest.json": content}


@pytest.mark.parametrize("path", ["../outside", "/etc/hostname", "a/../../b", "C:/x"])
def test_a_manifest_that_names_files_elsewhere_is_refused(both: States, tmp_path: Path, path: str) -> None:
    assert published(both.old, tmp_path)[1] == []
    place = tmp_path / "cloth.manifest.json"
    place.write_text(place.read_text("utf-8").replace("cloth.rig.json", path), "utf-8")
    assert [name for name, _ in published(both.new, tmp_path)[1]] == ["unreadable-manifest"]
    assert build_of_module(tmp_path / "cloth_rig.py") is None


def test_no_target_may_write_the_manifest(both: States, tmp_path: Path) -> None:
    made = replace(both.old, files={**both.old.files, "Cloth.manifest.JSON": b"mine"})
    assert [name for name, _ in published(made, tmp_path)[1]] == ["paths-collide"]
    assert everything_in(tmp_path) == {}


# ---- the id


def test_the_id_is_in_every_file(both: States) -> None:
    """Read by general libraries, where the file is not a text."""
    texts = {path for path in both.new.files if not path.endswith((".npz", ".png"))}
    assert len(texts) == 6
    for path, content in both.new.files.items():
        if path in texts:
            assert both.new.build.encode() in content, path
        elif path.endswith(".npz"):
            with np.load(io.BytesIO(content), allow_pickle=False) as file:
                assert str(file["build"]) == both.new.build
        else:
            image = Image.open(io.BytesIO(content))
            image.verify()  # the digests of all chunks
            assert image.info["Plica build"] == both.new.build


def prepared(folder: Path) -> Build:
    made = prepare(compile_file(folder / "cloth.plica"), folder, (), Diagnostics())
    assert made is not None
    return made


def identity(build: Build, masks: MaskOptions | None = None, normals: bool = False) -> str:
    return build_id(build.rig, build.sources, normals, masks)


def test_the_id_tells_what_the_files_are_made_of_and_nothing_else(tmp_path: Path) -> None:
    spec_of(tmp_path, SPEC)
    same = identity(prepared(tmp_path))
    elsewhere = tmp_path / "elsewhere"
    spec_of(elsewhere, SPEC)
    assert identity(prepared(elsewhere)) == same
    assert identity(prepared(tmp_path), MaskOptions()) == same
    others = {
        "masks": identity(prepared(tmp_path), MaskOptions(size=64)),
        "normals": identity(prepared(tmp_path), normals=True),
    }
    for name, file in (("map", "relaxed.png"), ("model", "cloth.gltf"), ("sculpt", "bump.npz")):
        place = tmp_path / file
        before = place.read_bytes()
        if name == "sculpt":
            bump(place, 30, 0.003)
        elif name == "model":
            place.write_bytes(before + b"\n")
        else:
            place.write_bytes(b"x")
        others[name] = identity(prepared(tmp_path))
        place.write_bytes(before)
    spec_of(tmp_path, NEW_SPEC)
    others["spec"] = identity(prepared(tmp_path))
    assert len({same, *others.values()}) == len(others) + 1, others


def test_clips_are_in_no_output_and_in_no_id(tmp_path: Path) -> None:
    spec_of(tmp_path, SPEC + 'expect { stretch of far at most 1 % over clip "walk.bvh" }\n')
    (tmp_path / "walk.bvh").write_text("one", "utf-8")
    before = prepared(tmp_path)
    assert any(one.over_clips for one in before.rig.expectations)
    (tmp_path / "walk.bvh").write_text("two", "utf-8")
    assert identity(prepared(tmp_path)) == identity(before)


def test_a_file_that_is_saved_while_it_is_built_from_stops_the_build(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from plica.emit import artifacts as emit

    real = emit._emitted

    def emitted(*given: object) -> object:
        bump(tmp_path / "bump.npz", 30, 0.005)
        return real(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(emit, "_emitted", emitted)
    diagnostics = Diagnostics()
    made = built(tmp_path, SPEC, ("json",), diagnostics)
    assert made.files == {}
    assert [(item.name, "`bump.npz`" in item.message) for item in diagnostics.all] == [("source-changed", True)]


# ---- several builds in one folder


def test_a_build_of_some_targets_says_what_is_of_another_build(both: States, tmp_path: Path) -> None:
    assert published(both.old, tmp_path)[1] == []
    done, told = published(of_targets(both.new, "json", "python"), tmp_path)
    assert done is not None
    ((name, message),) = told
    assert name == "outputs-of-another-build"
    assert message.endswith("`cloth.masks.1.png`, `cloth.masks.json`, `more/spans.txt`")
    builds = manifest_in(tmp_path)
    assert {path for path, build in builds.items() if build == both.old.build} == {
        "cloth.masks.1.png",
        "cloth.masks.json",
        "more/spans.txt",
    }
    assert len(builds) == 8
    diagnostics = Diagnostics()
    tell_outdated(of_targets(both.new, "json", "python"), tmp_path, "cloth.plica", diagnostics)
    assert [item.name for item in diagnostics.all] == ["output-of-another-build"] * 3
    diagnostics = Diagnostics()
    publish(of_targets(both.new, "json", "python"), tmp_path, diagnostics)
    (item,) = diagnostics.all
    assert item.hint == ("build all of them together: --target json --target masks --target python --target template")
    assert published(both.new, tmp_path)[1] == []
    assert set(manifest_in(tmp_path).values()) == {both.new.build}
    assert mixed_sets_accepted(tmp_path, both) == []


def test_what_is_no_longer_written_is_named_and_left(both: States, tmp_path: Path) -> None:
    assert published(both.new, tmp_path)[1] == []
    ((name, message),) = published(both.old, tmp_path)[1]
    assert (name, message.endswith(": `cloth.masks.2.png`")) == ("outputs-no-longer-written", True)
    assert (tmp_path / "cloth.masks.2.png").read_bytes() == both.new.files["cloth.masks.2.png"]
    (tmp_path / "cloth.masks.2.png").unlink()
    assert published(both.old, tmp_path)[1] == []
    assert "cloth.masks.2.png" not in manifest_in(tmp_path)


def test_a_file_that_somebody_changed_is_not_taken_for_the_builds(both: States, tmp_path: Path) -> None:
    assert published(both.old, tmp_path)[1] == []
    (tmp_path / "cloth.masks.1.png").write_bytes(b"retouched")
    assert build_of_module(tmp_path / "cloth_rig.py") is None
    ((name, message),) = published(of_targets(both.old, "json"), tmp_path)[1]
    assert (name, "`cloth.masks.1.png`" in message) == ("outputs-of-another-build", True)


def test_two_characters_lie_in_one_folder_and_keep_their_files(both: States, tmp_path: Path) -> None:
    other = replace(both.new, character="otter", files={"otter.txt": b"1", "shared.csv": b"2"}, targets={})
    assert published(both.old, tmp_path)[1] == []
    assert published(other, tmp_path)[1] == []
    before = everything_in(tmp_path)
    clash = replace(both.old, files={**both.old.files, "Shared.csv": b"3"})
    done, told = published(clash, tmp_path)
    assert (done, [name for name, _ in told]) == (None, ["output-of-another-character"])
    assert "`otter`" in told[0][1]
    same_name = replace(both.old, character="cloth", files={"x.txt": b""})
    assert published(same_name, tmp_path)[0] is not None
    twin = replace(both.old, character="clóth", files={"y.txt": b""})
    assert [name for name, _ in published(twin, tmp_path)[1]] == ["output-of-another-character"]
    assert {path: before[path] for path in both.old.files} == dict(both.old.files)


# ---- readers refuse what does not belong together


@pytest.mark.parametrize("manifest", ["old", "new", "none"])
def test_every_mixture_of_two_builds_is_refused_by_readers_that_load_both(
    both: States, tmp_path: Path, manifest: str
) -> None:
    loaded = ["cloth_rig.py", "cloth.vectors.json", "cloth.rig.json", "cloth.offsets.npz"]
    for number in range(2 ** len(loaded)):
        folder = tmp_path / str(number)
        folder.mkdir()
        choice = {path: both[number >> place & 1] for place, path in enumerate(loaded)}
        for path, made in choice.items():
            (folder / path).write_bytes(made.files[path])
        if manifest != "none":
            made = both.old if manifest == "old" else both.new
            (folder / made.manifest_file).write_bytes(manifest_bytes(manifest_of(made)))
        readers = accepted(folder, both)
        assert mixed_sets_accepted(folder, both) == []
        assert ("diff" in readers) == (choice["cloth.rig.json"] is choice["cloth.offsets.npz"])
        if manifest == "none":
            assert ("self-test" in readers) == (choice["cloth_rig.py"] is choice["cloth.vectors.json"])
        else:
            assert "self-test" not in readers  # the masks that it names are missing


def test_the_self_test_says_what_does_not_belong_to_its_build(both: States, tmp_path: Path) -> None:
    def said() -> str:
        command = [sys.executable, "-I", "-S", "cloth_rig.py", "--self-test"]
        return subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=600, check=False).stdout

    assert published(both.old, tmp_path)[1] == []
    assert said() == "ok\n"
    (tmp_path / "cloth.vectors.json").write_bytes(both.new.files["cloth.vectors.json"])
    assert said() == f"mismatch: 'cloth.vectors.json' is not the file that the build {both.old.build} wrote\n"
    assert published(both.old, tmp_path)[1] == []
    (tmp_path / "cloth_rig.py").write_bytes(both.new.files["cloth_rig.py"])
    assert f"is of the build {both.old.build}, but this module of {both.new.build}\n" in said()
    (tmp_path / "cloth.manifest.json").unlink()
    assert said() == (
        f"mismatch: the test vectors belong to the build {both.old.build}, this module to {both.new.build}\n"
    )
    (tmp_path / "cloth.manifest.json").write_text("{}", "utf-8")
    assert said() == "mismatch: cloth.manifest.json is no manifest that can be read\n"


def test_old_masks_beside_a_module_that_names_new_ones_are_refused(both: States, tmp_path: Path) -> None:
    assert published(both.new, tmp_path)[1] == []
    masks = of_targets(both.old, "masks")
    assert [name for name, _ in published(masks, tmp_path)[1]] == [
        "outputs-of-another-build",
        "outputs-no-longer-written",
    ]
    assert build_of_module(tmp_path / "cloth_rig.py") is None


def test_a_module_and_its_vectors_alone_are_enough(both: States, tmp_path: Path) -> None:
    for path in ("cloth_rig.py", "cloth.vectors.json"):
        (tmp_path / path).write_bytes(both.old.files[path])
    assert build_of_module(tmp_path / "cloth_rig.py") == both.old.build


def test_diff_of_built_json_refuses_offsets_of_another_build(
    both: States, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from plica.commands.main import run

    for name, rig, offsets in (("old", both.old, both.old), ("mixed", both.new, both.old)):
        folder = tmp_path / name
        folder.mkdir()
        (folder / "cloth.rig.json").write_bytes(rig.files["cloth.rig.json"])
        (folder / "cloth.offsets.npz").write_bytes(offsets.files["cloth.offsets.npz"])
    given = [str(tmp_path / name / "cloth.rig.json") for name in ("old", "mixed")]
    assert run(["diff", *given]) == 2
    shown = capsys.readouterr().err
    assert "PL919 unreadable-offsets" in shown and f"not to {both.new.build}" in shown
    (tmp_path / "mixed" / "cloth.offsets.npz").write_bytes(b"PK\x03\x04 damaged")
    assert run(["diff", *given]) == 2
    assert "PL919 unreadable-offsets" in capsys.readouterr().err
    for path in ("cloth.rig.json", "cloth.offsets.npz"):
        (tmp_path / "mixed" / path).write_bytes(both.old.files[path])
    assert run(["diff", *given]) == 0


def test_a_dry_run_tells_and_touches_nothing(both: States, tmp_path: Path) -> None:
    assert published(both.new, tmp_path)[1] == []
    before = everything_in(tmp_path)
    diagnostics = Diagnostics()
    done = publish(both.old, tmp_path, diagnostics, dry_run=True)
    assert done is not None and "cloth.manifest.json" in done.written
    assert [item.name for item in diagnostics.all] == ["outputs-no-longer-written"]
    assert everything_in(tmp_path) == before


def test_nothing_is_written_again_and_leftovers_go_all_the_same(both: States, tmp_path: Path) -> None:
    assert published(both.old, tmp_path)[1] == []
    before = {path: (tmp_path / path).stat().st_mtime_ns for path in everything_in(tmp_path)}
    for name in (".plica-0123456789abcdef.part", "more/.plica-0123456789abcdef.part", ".plica.lock"):
        (tmp_path / name).write_bytes(b"left")
    for name in (".plica-mine.part", ".plica-0123456789ABCDEF.part"):
        (tmp_path / name).write_bytes(b"another's")
    done, told = published(both.old, tmp_path)
    assert (done, told) == (Written((), tuple(sorted((*both.old.files, "cloth.manifest.json")))), [])
    after = {path: (tmp_path / path).stat().st_mtime_ns for path in everything_in(tmp_path)}
    others = {".plica-mine.part", ".plica-0123456789ABCDEF.part"}
    assert {path: time for path, time in after.items() if path not in others} == before
    assert others <= set(after)
