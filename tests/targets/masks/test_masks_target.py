"""The target `masks`: its manifest follows the published schema and says what the files hold."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from plica.demo import SPEC, demo_files
from plica.diagnostics import Diagnostics
from plica.emit.artifacts import Request, build_targets
from plica.emit.build import Build
from plica.emit.prepare import prepare
from plica.emit.writer import write
from plica.evaluate.evaluator import Evaluator
from plica.evaluate.poses import rest_poses
from plica.pipeline import compile_file
from plica.rig.rig_json import read_rig, write_rig
from plica.rig.rig_schema import rig_schema, schema_text
from plica.targets.masks import MasksTarget
from plica.targets.masks.manifest import manifest_schema
from plica.texture.co_activation import independent_alternatives
from plica.texture.normal_maps import sampled
from tests.support.data import ROOT
from tests.support.masks import folded

PAGE = ROOT / "targets" / "masks"


@pytest.fixture(scope="module")
def build(tmp_path_factory: pytest.TempPathFactory) -> Build:
    return folded(tmp_path_factory.mktemp("wren"))


def test_the_published_schema_is_current() -> None:
    assert (PAGE / "masks.schema.json").read_text("utf-8") == schema_text(manifest_schema())


def test_every_key_is_documented() -> None:
    page, rules = (PAGE / "README.md").read_text("utf-8"), manifest_schema()["properties"]
    keys = {key for part in ("folds", "textures", "details") for key in rules[part]["items"]["properties"]}
    assert [key for key in sorted(keys | set(rules)) if f"`{key}`" not in page] == []


@pytest.mark.parametrize("channels", [1, 4])
def test_the_manifest_says_what_the_files_hold(build: Build, channels: int) -> None:
    """Validated by the library jsonschema, an implementation of JSON Schema draft 2020-12."""
    diagnostics = Diagnostics()
    files = MasksTarget(size=256, channels=channels).emit(build, diagnostics)
    assert diagnostics.all == ()
    manifest = json.loads(files.pop("wren.masks.json"))
    jsonschema.Draft202012Validator(manifest_schema()).validate(manifest)
    assert sorted(files) == sorted(texture["file"] for texture in manifest["textures"])
    for texture in manifest["textures"]:
        content = files[texture["file"]]
        image = Image.open(io.BytesIO(content))
        assert image.size == (texture["size"], texture["size"])
        assert len(image.getbands()) == texture["channels"]
        assert len(content) == texture["bytes_on_disk"]
        assert len(texture["folds"]) <= channels
    assert sum(map(len, files.values())) == manifest["total"]["bytes_on_disk"]
    assert [fold["fold"] for fold in manifest["folds"]] == [fold.name for fold in build.rig.folds]


# ---- what other targets say of masks


def built(build: Build, *targets: str, size: int = 128, **of_masks: str) -> tuple[dict[str, bytes], list[str]]:
    """The files of targets built together, with options of masks, and the steps that were told."""
    result, steps = Diagnostics(), list[str]()
    options = {name: {"size": [str(size)]} for name in ("masks", "materialx")}
    options["masks"] |= {name: [value] for name, value in of_masks.items()}
    requests = [Request(name, options.get(name, {})) for name in targets]
    files = dict(build_targets(build, requests, result, step=steps.append).files)
    assert [item.message for item in result.all if item.severity == "error"] == []
    return files, steps


@pytest.mark.parametrize("targets", [("json", "python", "masks"), ("masks", "python", "json")])
def test_json_and_python_name_the_textures_that_are_written_with_them(build: Build, targets: tuple[str, ...]) -> None:
    """Every fold's texture, channel and uv set, whatever the order; checked against the manifest and the files."""
    files, _ = built(build, *targets)
    manifest = {fold["fold"]: fold for fold in json.loads(files["wren.masks.json"])["folds"]}
    expected = {
        name: {"file": fold["texture"], "channel": fold["channel"], "uv": fold["uv"]} for name, fold in manifest.items()
    }
    rig = json.loads(files["wren.rig.json"])
    assert {fold["name"]: fold["mask"] for fold in rig["folds"]} == expected
    assert len(expected) == 5 and {place["file"] for place in expected.values()} <= set(files)
    jsonschema.Draft202012Validator(rig_schema()).validate(rig)
    assert write_rig(read_rig(files["wren.rig.json"].decode())) == files["wren.rig.json"].decode()
    module: dict[str, object] = {}
    exec(files["wren_rig.py"], module)
    folds = module["FOLDS"]
    assert isinstance(folds, dict)
    assert {name: fold["mask"] for name, fold in folds.items()} == expected


@pytest.mark.parametrize("targets", [("json", "python"), ("json",), ("python",)])
def test_without_masks_none_are_named_and_none_are_made(
    build: Build, targets: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    def never(*_: object) -> None:
        raise AssertionError("masks were made for their names alone")

    monkeypatch.setattr("plica.texture.masks.masks_of", never)
    files, _ = built(replace(build), *targets)
    if "json" in targets:
        assert {str(fold["mask"]) for fold in json.loads(files["wren.rig.json"])["folds"]} == {"None"}


def test_a_rig_without_a_mesh_names_none(build: Build) -> None:
    diagnostics = Diagnostics()
    files = build_targets(replace(build, attached=None), [Request("json"), Request("python")], diagnostics).files
    assert diagnostics.all == ()
    assert [fold["mask"] for fold in json.loads(files["wren.rig.json"])["folds"]] == [None] * 5


def test_masks_tell_how_far_they_are(build: Build) -> None:
    """Every mask is told before it is made, and where nobody asks nothing is."""
    _, steps = built(build, "json", "masks", size=64)
    first = steps.index("masks")
    assert steps.index("json") < first
    numbered = [step for step in steps if step.startswith(("json: mask ", "masks: mask "))]
    assert len(numbered) == 5
    for number, (step, fold) in enumerate(zip(numbered, build.rig.folds, strict=True), 1):
        assert f"mask {number} of 5" in step and fold.name in step


@pytest.mark.parametrize("options", [{"size": 100}, {"size": 2}, {"channels": 0}, {"channels": 5}])
def test_options_that_cannot_be_are_told(build: Build, options: dict[str, int]) -> None:
    diagnostics = Diagnostics()
    assert MasksTarget(**options).emit(build, diagnostics) == {}
    assert [item.name for item in diagnostics.all] == ["bad-target-option"]


# ---- the demo character, as users build her


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    assert write(demo_files(), folder, Diagnostics()) is not None
    return folder


@pytest.fixture(scope="module")
def demo_build(demo: Path) -> Build:
    made = prepare(compile_file(demo / SPEC), demo, (), Diagnostics())
    assert made is not None
    return made


def pixels(content: bytes) -> NDArray[np.uint8]:
    """A texture's texels, with its channels last."""
    result = np.asarray(Image.open(io.BytesIO(content)))
    return result if result.ndim == 3 else result[..., None]


def test_a_driver_at_its_extreme_gives_pure_white_and_at_rest_pure_black(demo_build: Build) -> None:
    """Common practice, no source. From the emitted files: where an area is whole, mask times strength is exactly 1."""
    diagnostics = Diagnostics()
    files = MasksTarget().emit(demo_build, diagnostics)
    manifest = json.loads(files["wren.masks.json"])
    evaluator = Evaluator(demo_build.rig)
    names = [strength.name for strength in demo_build.rig.strengths]
    at_rest = dict(zip(names, evaluator.strengths(rest_poses(demo_build.rig))[0], strict=True))
    greatest = {
        name: max(one.get(name, 0.0) for one in group)
        for group in independent_alternatives(demo_build.rig)
        for name in group[0]
    }
    attached = demo_build.attached
    assert attached is not None
    white = 0
    for fold in manifest["folds"]:
        mask = pixels(files[fold["texture"]])[..., ("red", "green", "blue", "alpha").index(fold["channel"])] / 255.0
        assert (mask * at_rest[fold["follows"]] == 0.0).all(), "pure black"
        assert greatest[fold["follows"]] == 1.0
        weights = attached.regions[fold["area"]]
        if (weights[attached.mesh.triangles] == 1.0).all(axis=1).any():
            white += 1
            assert (mask * greatest[fold["follows"]]).max() == 1.0, "pure white"
            inside = attached.mesh.triangles[(weights[attached.mesh.triangles] == 1.0).all(axis=1)]
            middles = attached.mesh.uvs[fold["uv"]][inside].mean(axis=1)
            assert np.median(sampled(mask, middles)) == 1.0
        assert mask.min() == 0.0
    assert white >= 6, "the demo has areas that are whole somewhere"


def test_the_demos_masks_take_little(demo_build: Build) -> None:
    """What was asked for: all folds together under 256 KiB on disk, and within the demo's budget of memory."""
    diagnostics = Diagnostics()
    files = MasksTarget().emit(demo_build, diagnostics)
    assert [item.name for item in diagnostics.all if item.severity != "note"] == []
    manifest = json.loads(files["wren.masks.json"])
    assert manifest["total"]["bytes_on_disk"] < 256 * 1024
    (detail,) = manifest["details"]
    assert detail["bytes_in_memory"] <= detail["budget"] == 2 * 2**20


def test_the_same_bytes_under_any_hash_seed(demo: Path, demo_build: Build, tmp_path: Path) -> None:
    """Masks, stills, the network, and the JSON and Python that name the textures: a process of another seed as here."""
    targets = ("masks", "materialx", "json", "python")
    wanted = [part for name in targets for part in ("--target", name)]
    still = ["--option", "masks.still=nose=1", "--option", "masks.size=128", "--option", "materialx.size=128"]
    seed = "1" if os.environ.get("PYTHONHASHSEED") == "4242" else "4242"
    command = [sys.executable, "-m", "plica", "build", str(demo / SPEC), "--out", str(tmp_path), *wanted, *still]
    # At 128 texels the masks keep the budget as at any size; what matters here are the bytes.
    done = subprocess.run(command, env={**os.environ, "PYTHONHASHSEED": seed}, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stderr == "", "silent where nobody watches"
    here, _ = built(demo_build, *targets, size=128, still="nose=1")
    there = {path.relative_to(tmp_path).as_posix(): path for path in tmp_path.rglob("*") if path.is_file()}
    assert set(there) - set(here) == {"wren.manifest.json"} and len(here) >= 8
    assert [name for name, content in here.items() if there[name].read_bytes() != content] == []
