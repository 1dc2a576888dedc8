"""The target `gltf` on the same character as other exporters write it, read again by other programs."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import plica
from plica.rig.carried import carried_in, rig_of_extras
from tests.support import node
from tests.variants.characters import CHARACTERS
from tests.variants.law import MODEL, spec_of, write_variation
from tests.variants.model_file import Floats
from tests.variants.table import VARIANTS

WREN = next(character for character in CHARACTERS if character.name == "wren")
NAMES = ("written_again", "mesh_in_centimetres", "file_in_centimetres", "rest_posed_rigid_parts", "cut")


class Written:
    """One variation, built into `out` in its folder."""

    def __init__(self, name: str, folder: Path) -> None:
        self.folder = folder
        variation = next(variant for variant in VARIANTS if variant.name == name).make(WREN)
        write_variation(variation, folder)
        (folder / "spec.plica").write_text(spec_of(variation), "utf-8")
        self.character = plica.compile_file(folder / "spec.plica")
        self.built = plica.build_files(self.character, ["gltf"])
        assert self.built.ok, self.built.diagnostics
        plica.write_files(self.built, folder / "out")
        self.file = folder / "out" / "c.rigged.glb"
        self.document, self.binary = parts_of(self.file)
        self.before, self.binary_before = parts_of(folder / MODEL)


def parts_of(file: Path) -> tuple[dict[str, Any], bytes]:
    """The JSON and the binary chunk of a container."""
    data = file.read_bytes()
    size = int.from_bytes(data[12:16], "little")
    return json.loads(data[20 : 20 + size]), data[28 + size :]


@pytest.fixture(scope="session")
def written(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Written]:
    """Variations by name, each built once."""
    made: dict[str, Written] = {}

    def get(name: str) -> Written:
        if name not in made:
            made[name] = Written(name, tmp_path_factory.mktemp(name))
        return made[name]

    return get


def accessor(document: dict[str, Any], binary: bytes, number: int) -> Floats:
    """A float accessor with its sparse part put in (glTF 2.0, sections 3.6.2.2 and 3.6.2.3)."""
    held = document["accessors"][number]
    widths = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}

    def view(place: dict[str, Any], kind: str, count: int) -> np.ndarray[Any, np.dtype[Any]]:
        start = document["bufferViews"][place["bufferView"]].get("byteOffset", 0) + place.get("byteOffset", 0)
        return np.frombuffer(binary, kind, count, start)

    width = widths[held["type"]]
    result = np.zeros((held["count"], width))
    if "bufferView" in held:
        result[:] = view(held, "<f4", held["count"] * width).reshape(-1, width)
    if "sparse" in held:
        count, kinds = held["sparse"]["count"], {5123: "<u2", 5125: "<u4"}
        rows = view(held["sparse"]["indices"], kinds[held["sparse"]["indices"]["componentType"]], count)
        result[rows] = view(held["sparse"]["values"], "<f4", count * width).reshape(-1, width)
    return result


def test_the_file_is_kept_and_only_added_to(written: Callable[[str], Written]) -> None:
    one = written("written_again")
    assert one.binary.startswith(one.binary_before[: one.before["buffers"][0]["byteLength"]])
    for key in ("accessors", "bufferViews"):
        assert one.document[key][: len(one.before[key])] == one.before[key]
    for key in ("nodes", "skins", "scenes", "asset"):
        assert one.document[key] == one.before[key]
    (mesh,), (before,) = one.document["meshes"], one.before["meshes"]
    for primitive, own in zip(mesh["primitives"], before["primitives"], strict=True):
        assert {**primitive, "targets": own["targets"]} == own
        assert primitive["targets"][0] == own["targets"][0]


def test_every_shape_is_a_named_target_with_its_offsets(written: Callable[[str], Written]) -> None:
    one = written("written_again")
    (mesh,) = one.document["meshes"]
    names = mesh["extras"]["targetNames"]
    assert names[0] == "bulge"
    assert len(names) == len(set(names)) == len(mesh["weights"])
    assert set(mesh["weights"]) == {0.0}
    attached = one.built.attached
    assert attached is not None
    (part,) = attached.mesh.parts
    held = carried_in(one.document)
    assert held is not None
    places = {entry["shape"]: entry["weights"] for entry in held["targets"]}
    assert names[places["left_bulge"][0][1]] == "bulge", "a shape that is a target of the file is not written twice"
    assert names[places["right_bulge"][0][1]] == "right_bulge"
    for name, shape in attached.shapes.items():
        ((node_number, index),) = places[name]
        assert one.document["nodes"][node_number]["mesh"] == 0
        target = mesh["primitives"][0]["targets"][index]
        expected = np.zeros((part.count, 3))
        expected[shape.primary.indices] = shape.primary.offsets.astype(np.float32)
        np.testing.assert_array_equal(accessor(one.document, one.binary, target["POSITION"]), expected)


def test_the_rig_travels_in_the_extras(written: Callable[[str], Written]) -> None:
    one = written("written_again")
    held = carried_in(one.document)
    assert held is not None
    assert held["build"] == one.built.build
    rig = rig_of_extras(held)
    assert rig.strengths == one.character.rig.strengths
    assert {entry["shape"] for entry in held["targets"]} == {shape.name for shape in rig.shapes}


@pytest.mark.parametrize("name", NAMES)
def test_the_khronos_validator_finds_nothing_new(name: str, written: Callable[[str], Written]) -> None:
    """gltf-validator 2.0.0-dev.3.10 of the Khronos Group, on the model and on what was written."""
    one = written(name)
    found = node.answer("gltf_errors.mjs", one.folder / MODEL, one.file)
    assert isinstance(found, dict)
    before, after = ({tuple(each[:2]) for each in held} for held in found.values())
    assert after <= before
