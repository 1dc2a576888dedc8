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
from tests.support.data import ROOT
from tests.variants.characters import CHARACTERS, Character
from tests.variants.law import MODEL, poses_of, spec_of, write_variation
from tests.variants.model_file import Floats
from tests.variants.table import VARIANTS

WREN = next(character for character in CHARACTERS if character.name == "wren")
ROUNDS = ROOT / "specs" / "wren" / "data" / "clips" / "rounds.glb"
NAMES = ("written_again", "mesh_in_centimetres", "file_in_centimetres", "rest_posed_rigid_parts", "cut")


class Written:
    """One variation, built into `out` in its folder."""

    def __init__(
        self, name: str, folder: Path, model: bytes | None = None, of: Character = WREN, **options: str
    ) -> None:
        """`model`: another file in the place of the variation's."""
        self.folder = folder
        self.variation = next(variant for variant in VARIANTS if variant.name == name).make(of)
        write_variation(self.variation, folder)
        (folder / "spec.plica").write_text(spec_of(self.variation), "utf-8")
        if model is not None:
            (folder / MODEL).write_bytes(model)
        self.character = plica.compile_file(folder / "spec.plica")
        self.built = plica.build_files(self.character, ["gltf"], options={"gltf": options})
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
            folder = tmp_path_factory.mktemp(name)
            if name == "baked":
                made[name] = Written("written_again", folder, form="baked", clip=str(ROUNDS))
            elif name == "baked_again":
                model = get("baked").file.read_bytes()
                made[name] = Written("written_again", folder, model, form="baked", error="0.0005")
            else:
                made[name] = Written(name, folder)
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


def test_the_khronos_validator_finds_nothing_new(written: Callable[[str], Written]) -> None:
    """gltf-validator 2.0.0-dev.3.10 of the Khronos Group, on the models and on what was written."""
    names = (*NAMES, "baked", "baked_again")
    pairs = {name: (written(name).folder / MODEL, written(name).file) for name in names}
    found = node.answer("gltf_errors.mjs", *(file for pair in pairs.values() for file in pair))
    assert isinstance(found, dict)
    for name, files in pairs.items():
        before, after = ({tuple(each[:2]) for each in found[str(file)]} for file in files)
        assert after <= before, name


def places_of(one: Written, jobs: list[dict[str, Any]]) -> list[Floats]:
    """Where three 0.187 puts the vertices: a list of positions (poses, v, 3) for each job."""
    parts = [[part.in_gltf.node, part.primitives[0]] for part in one.built.attached.mesh.parts]
    for number, job in enumerate(jobs):
        job |= {"file": str(one.file), "parts": parts, "out": str(one.folder / f"{number}.positions")}
    (one.folder / "jobs.json").write_text(json.dumps(jobs), "utf-8")
    node.answer("gltf_positions.mjs", one.folder / "jobs.json")
    return [np.fromfile(job["out"]).reshape(len(job.get("poses", job.get("times"))), -1, 3) for job in jobs]


def weights_of(one: Written, strengths: plica.Strengths, frame: int) -> dict[str, list[float]]:
    """The weights of every node's targets, from the file's extras and the rig's strengths."""
    held = carried_in(one.document)
    assert held is not None
    follows = {shape.name: shape.follows for shape in one.character.rig.shapes}
    weights = {
        str(number): [0.0] * len(one.document["meshes"][holder["mesh"]].get("weights", []))
        for number, holder in enumerate(one.document["nodes"])
        if "mesh" in holder
    }
    for entry in held["targets"]:
        for number, target in entry["weights"]:
            weights[str(number)][target] = float(strengths[follows[entry["shape"]]][frame])
    return weights


@pytest.mark.parametrize("name", NAMES)
def test_three_shows_the_skin_that_plica_computes(name: str, written: Callable[[str], Written]) -> None:
    """three 0.187.0 adds the targets and skins the vertices by the file's own matrices."""
    one = written(name)
    pose = poses_of(one.variation, one.character)
    strengths = plica.compute_strengths(one.character, pose)
    worlds = one.variation.worlds()
    poses = [
        {
            "worlds": {number: world[frame].T.ravel().tolist() for number, world in enumerate(worlds)},
            "weights": weights_of(one, strengths, frame),
        }
        for frame in range(worlds.shape[1])
    ]
    (places,) = places_of(one, [{"poses": poses}])
    mesh = plica.attach_mesh(one.character)
    expected = plica.deform_mesh(mesh, pose).positions
    bare = plica.deform_mesh(mesh, pose, shapes=False).positions
    geometry = one.character.rig.character.geometry
    unit = 1.0 if geometry.unit is None else geometry.unit
    size = float(np.ptp(expected, axis=1).max())
    np.testing.assert_allclose(unit * places, expected, atol=2e-6 * size)
    assert np.abs(expected - bare).max() > 1e-3 * size, "the shapes do something in these poses"


def off_at_most(one: Written, error: float, places: Floats) -> float:
    """How far a vertex may be away where every weight may be off by `error`, and all else by single precision."""
    attached = one.built.attached
    assert attached is not None
    return error * sum(size.largest for size in attached.sizes.values()) + 2e-6 * float(np.ptp(places, axis=1).max())


def test_three_plays_clips_with_the_shapes_on(written: Callable[[str], Written]) -> None:
    """A clip of another file, carried over; three 0.187.0 plays its channels."""
    one = written("baked")
    (motion,) = plica.read_clips(one.character, ROUNDS).clips
    frames = np.arange(0, len(motion.times), 17)
    (places,) = places_of(one, [{"animation": 0, "times": motion.times[frames].tolist()}])
    mesh = plica.attach_mesh(one.character)
    expected, bare = (plica.deform_mesh(mesh, motion.poses, shapes=on).positions[frames] for on in (True, False))
    np.testing.assert_allclose(places, expected, atol=off_at_most(one, 0.001, expected))
    assert np.abs(expected - bare).max() > 1e-3, "the shapes do something in this clip"


def test_animations_of_the_file_keep_its_targets_and_move_the_shapes(written: Callable[[str], Written]) -> None:
    """The file that came out is a model with targets and a clip that moves them, and gets the same shapes once more."""
    one, before = written("baked_again"), written("baked")
    names = one.document["meshes"][0]["extras"]["targetNames"]
    own = before.document["meshes"][0]["extras"]["targetNames"]
    assert names[: len(own)] == own
    assert "left_swell 2" in names
    (motion,) = plica.read_clips(one.character, one.folder / MODEL).clips
    frames = np.arange(0, len(motion.times), 23)
    (places,) = places_of(one, [{"animation": 0, "times": motion.times[frames].tolist()}])
    mesh = plica.attach_mesh(one.character)
    expected = plica.deform_mesh(mesh, motion.poses).positions[frames]
    np.testing.assert_allclose(places, expected, atol=off_at_most(one, 2 * 0.0005, expected))
    held = carried_in(one.document)
    assert held is not None
    (clip,) = held["clips"]
    assert clip["error"] == 0.0005
    assert all(0.0 < channel["largest_error"] <= 0.0005 and channel["checked"] > 1000 for channel in clip["channels"])


def test_weight_channels_of_the_file_get_zeros_for_new_targets(
    written: Callable[[str], Written], tmp_path: Path
) -> None:
    """In the form `plain` a clip that moves the file's own targets moves them as it did."""
    before = written("baked")
    one = Written("written_again", tmp_path, before.file.read_bytes())
    times = np.linspace(0.0, 5.9, 12)
    (places,) = places_of(one, [{"animation": 0, "times": times.tolist()}])
    (expected,) = places_of(before, [{"animation": 0, "times": times.tolist()}])
    np.testing.assert_array_equal(places, expected)
