"""The target `masks`: its manifest follows the published schema and says what the files hold."""

from __future__ import annotations

import io
import json

import jsonschema
import pytest
from PIL import Image

from plica.build.model import Build
from plica.diagnostics import Diagnostics
from plica.rig.json import schema_text
from plica.targets.masks import MasksTarget
from plica.targets.masks.manifest import manifest_schema
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
    found = Diagnostics()
    files = MasksTarget(size=256, channels=channels).emit(build, found)
    assert found.all == ()
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


@pytest.mark.parametrize("options", [{"size": 100}, {"size": 2}, {"channels": 0}, {"channels": 5}])
def test_options_that_cannot_be_are_told(build: Build, options: dict[str, int]) -> None:
    found = Diagnostics()
    assert MasksTarget(**options).emit(build, found) == {}
    assert [item.name for item in found.all] == ["bad-target-option"]
