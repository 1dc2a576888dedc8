"""The form `live` of the target `gltf`: a whole file, and what an engine that knows nothing of Plica makes of it.

Engine: @babylonjs/core and @babylonjs/loaders 9.28.0, without a screen; its answers are compared with the vectors.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import plica
from plica.demo import demo_files
from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.evaluate.poses import plain_pose
from plica.evaluate.vectors import vectors
from plica.kinds.readings import MorphWeight
from plica.mesh.inbetweens import coefficients
from plica.readers.model_outline import UnreadableModel
from plica.rig.rig import Rig
from plica.rig.surfaces import Shape
from plica.skeleton.skeleton import LocalTransform
from plica.targets.gltf.live.driving import MANY_NODES, drive
from plica.targets.gltf.placing import OwnTarget, PlacedShapes, PlacedTarget
from tests.support import node
from tests.support.behaviour import Behaviour
from tests.targets.rigs import driver, whole_rig

FRAMES = 90


def parts_of(data: bytes) -> tuple[dict[str, Any], bytes]:
    """The JSON and the binary chunk of a container."""
    size = int.from_bytes(data[12:16], "little")
    return json.loads(data[20 : 20 + size]), data[28 + size :]


def with_animation(model: bytes, clip: bytes) -> bytes:
    """A model with the first animation of a clip over nodes of the same names, all of whose data is copied."""
    document, binary = parts_of(model)
    moving, data = parts_of(clip)
    start, views = len(binary) + -len(binary) % 4, len(document["bufferViews"])
    binary = binary.ljust(start, b"\0") + data
    document["buffers"][0]["byteLength"] = len(binary)
    for view in moving["bufferViews"]:
        document["bufferViews"].append({**view, "byteOffset": view.get("byteOffset", 0) + start})
    accessors = len(document["accessors"])
    for accessor in moving["accessors"]:
        document["accessors"].append({**accessor, "bufferView": accessor["bufferView"] + views})
    (animation, *_) = moving["animations"]
    for sampler in animation["samplers"]:
        sampler |= {"input": sampler["input"] + accessors, "output": sampler["output"] + accessors}
    names = [each.get("name") for each in document["nodes"]]
    for channel in animation["channels"]:
        channel["target"]["node"] = names.index(moving["nodes"][channel["target"]["node"]]["name"])
    document["animations"] = [{**animation, "name": "rounds"}]
    text = json.dumps(document).encode()
    text += b" " * (-len(text) % 4)
    binary += b"\0" * (-len(binary) % 4)
    chunks = struct.pack("<I4s", len(text), b"JSON") + text + struct.pack("<I4s", len(binary), b"BIN\0") + binary
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks


class Live:
    """The demo's character as a live file that starts its clip."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        files = demo_files()
        files["wren.glb"] = with_animation(files["wren.glb"], files["clips/rounds.glb"])
        for name, content in files.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(content)
        character = plica.compile_file(folder / "wren.plica")
        self.built = plica.build_files(character, ["gltf"], options={"gltf": {"form": "live", "starts": "rounds"}})
        assert self.built.ok, self.built.diagnostics
        self.rig: Rig = character.rig
        self.file = folder / "wren.rigged.glb"
        self.file.write_bytes(self.built.files["wren.rigged.glb"])
        self.document, _ = parts_of(self.file.read_bytes())
        held = self.document["extras"]["plica"]
        self.targets = {(one["shape"], one["at"]): one["weights"][0] for one in held["targets"]}
        self.vectors = vectors(self.rig)

    @cached_property
    def poses(self) -> list[dict[str, Any]]:
        """The vectors' poses by the numbers of nodes."""
        places = {each.get("name"): str(number) for number, each in enumerate(self.document["nodes"])}
        result = []
        for vector in self.vectors:
            plain = plain_pose(vector.pose)
            pose = {places[name]: dict(parts) for name, parts in plain["joints"].items()}
            for name, value in plain["controls"].items():
                pose[places[f"control {name}"]] = {"translation": [value, 0.0, 0.0]}
            result.append(pose)
        return result

    def read(self, pose: dict[str, Any], pointer: str) -> Any:
        """What a pointer of the file has in a pose."""
        usual = {"translation": (0, 0, 0), "rotation": (0, 0, 0, 1), "scale": (1, 1, 1)}
        _, _, number, part = pointer.split("/")
        return pose.get(number, {}).get(part) or self.document["nodes"][int(number)].get(part, usual[part])

    def expected(self, strengths: Mapping[str, float]) -> dict[int, float]:
        """The weight of every target that a shape follows, by its index."""
        result = {}
        for shape in self.rig.shapes:
            at = [entry.at for entry in shape.inbetweens]
            row = coefficients(at, np.array([strengths[shape.follows or ""]]))[0]
            result |= {self.targets[shape.name, knot][1]: float(row[place]) for place, knot in enumerate((1.0, *at))}
        return result


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Live:
    return Live(tmp_path_factory.mktemp("live"))


@pytest.mark.parametrize(("precision", "most"), [(np.float64, 1e-9), (np.float32, 1e-5)])
def test_the_graph_gives_the_vectors_strengths_and_weights(live: Live, precision: type, most: float) -> None:
    behaviour = Behaviour(live.document, precision)
    for vector, pose in zip(live.vectors, live.poses, strict=True):
        set_now = behaviour.tick(lambda pointer, pose=pose: live.read(pose, pointer))
        found = dict(zip(behaviour.names, behaviour.variables, strict=True))
        assert found == pytest.approx(vector.strengths, abs=most)
        (mesh,) = {weights[0] for weights in live.targets.values()}
        expected = {f"/nodes/{mesh}/weights/{k}": value for k, value in live.expected(vector.strengths).items()}
        assert set_now == pytest.approx(expected, abs=3 * most)
        if not pose:
            assert not any(set_now.values()) if precision is np.float64 else max(set_now.values()) <= 1e-6


def test_the_demo_takes_at_most_600_nodes_and_says_how_many(live: Live) -> None:
    nodes = Behaviour(live.document).nodes
    assert len(nodes) <= 600
    (told,) = (one for one in live.built.diagnostics if one.name == "gltf-behaviour-nodes")
    assert str(len(nodes)) in told.message


def test_folds_have_their_strengths_as_variables(live: Live) -> None:
    names = Behaviour(live.document).names
    assert live.rig.folds
    assert {fold.follows for fold in live.rig.folds} <= set(names)
    assert names == [strength.name for strength in live.rig.strengths]


def test_programs_without_the_extension_may_load_the_file(live: Live) -> None:
    assert "KHR_interactivity" in live.document["extensionsUsed"]
    assert "KHR_interactivity" not in live.document.get("extensionsRequired", [])
    found = node.answer("gltf_errors.mjs", live.file)
    assert isinstance(found, dict)
    assert not [each for each in found[str(live.file)] if each[0] == 0]


def test_an_engine_that_knows_nothing_of_plica_agrees(live: Live) -> None:
    poses = live.folder / "poses.json"
    poses.write_text(json.dumps(live.poses))
    (mesh,) = {weights[0] for weights in live.targets.values()}
    said = node.answer("behaviour.mjs", live.file, poses, str(mesh), str(FRAMES))
    assert isinstance(said, dict)
    assert said["valid"] is True, said["diagnostics"]
    assert said["diagnostics"] == []
    for vector, found in zip(live.vectors, said["found"], strict=True):
        expected = live.expected(vector.strengths)
        assert {index: found[index] for index in expected} == pytest.approx(expected, abs=1e-9)
    assert not any(said["found"][0])
    # The clip: each frame's weights are those of where the joints stand in it, or stood in the frame before.
    behaviour, weights, moved = Behaviour(live.document), [], 0.0
    for frame in said["played"]:
        pose = {str(number): parts for number, parts in enumerate(frame["nodes"]) if parts}
        set_now = behaviour.tick(lambda pointer, pose=pose: live.read(pose, pointer))
        weights.append(np.array([float(value) for value in set_now.values()]))
        indexes = [int(pointer.split("/")[-1]) for pointer in set_now]
        shown = np.array(frame["influences"])[indexes]
        moved = max(moved, float(np.abs(weights[-1] - weights[0]).max()))
        assert min(np.abs(shown - one).max() for one in weights[-2:]) <= 1e-9
    assert moved > 0.1, "the clip was not started"


# ---- what a file can have that needs care


def small(animations: list[dict[str, Any]] | None = None) -> dict[str, Any]:
    """A document of the whole rig's joints, a mesh node behind them, and animations."""
    nodes: list[dict[str, Any]] = [
        {"name": joint.name, **{part: list(value) for part, value in joint.rest._asdict().items()}}
        for joint in whole_rig().skeleton
    ]
    nodes.append({"name": "skin", "mesh": 0})
    document: dict[str, Any] = {"nodes": nodes, "scenes": [{"nodes": [0]}], "scene": 0}
    return document | ({"animations": animations} if animations else {})


def driven(document: dict[str, Any], rig: Rig | None = None, starts: str = "", own: int = 5) -> Any:
    """The live document of the whole rig and what was told."""
    rig = rig or whole_rig()
    skin = len(rig.skeleton)
    placed = PlacedShapes((PlacedTarget("swell", 1.0, skin, 0),), (OwnTarget("grin", skin, own, False),), {})
    found = Diagnostics()
    joints = {joint.name: number for number, joint in enumerate(rig.skeleton)}
    result = drive(document, Build(rig), placed, joints, 1.0, starts, found)
    return result, [one.name for one in found.all]


def test_controls_are_empty_nodes_whose_x_is_the_value() -> None:
    result, told = driven(small())
    added = {each["name"]: each["translation"] for each in result["nodes"][len(small()["nodes"]) :]}
    assert added == {"control mood": [0.25, 0.0, 0.0], "control share": [0.0, 0.0, 0.0]}
    assert result["scenes"][0]["nodes"] == [0, 7, 8]
    assert told == ["gltf-behaviour-nodes"]


def test_weights_leave_animations_and_nothing_is_left_empty() -> None:
    turned = {"sampler": 0, "target": {"node": 2, "path": "rotation"}}
    weights = {"sampler": 1, "target": {"node": 6, "path": "weights"}}
    pointed = {"path": "pointer", "extensions": {"KHR_animation_pointer": {"pointer": "/meshes/0/weights"}}}
    other = {"sampler": 1, "target": {"node": 3, "path": "weights"}}
    document = small(
        [
            {"name": "walk", "channels": [turned, weights], "samplers": []},
            {"name": "talk", "channels": [weights, {"sampler": 1, "target": pointed}], "samplers": []},
            {"name": "other", "channels": [other], "samplers": []},
        ]
    )
    result, told = driven(document, starts="other")
    assert [(one["name"], one["channels"]) for one in result["animations"]] == [("walk", [turned]), ("other", [other])]
    assert told.count("gltf-weights-taken-out") == 2
    started = [
        one
        for one in result["extensions"]["KHR_interactivity"]["graphs"][0]["nodes"]
        if "animation" in one.get("values", {})
    ]
    assert [one["values"]["animation"]["value"] for one in started] == [["/animations/1"]]
    assert Behaviour(result).events("event/onStart")


def test_a_node_with_a_matrix_gets_parts() -> None:
    document = small()
    kept = {key: value for key, value in document["nodes"][2].items() if key == "name"}
    document["nodes"][2] = {**kept, "matrix": [float(number) for number in np.eye(4).ravel()]}
    result, _ = driven(document)
    rest = LocalTransform(*whole_rig().skeleton[2].rest)
    assert result["nodes"][2] == {"name": "left_upperarm", **{k: list(v) for k, v in rest._asdict().items()}}


def test_what_cannot_be_is_told() -> None:
    behaving = small() | {"extensions": {"KHR_interactivity": {}}}
    assert driven(behaving) == (None, ["gltf-has-behaviour"])
    assert driven(small(), starts="walk")[1] == ["bad-target-option"]
    result, told = driven(small(), own=0)
    assert result is None
    assert told == ["gltf-weight-read-and-set"]


def test_many_nodes_are_warned_of() -> None:
    readings = [driver(f"d{number}", MorphWeight("grin"), (0.0, 1.0 + number)) for number in range(MANY_NODES // 2)]
    swell = next(shape for shape in whole_rig().shapes if shape.name == "swell")
    shapes: tuple[Shape, ...] = (swell._replace(follows="d0"),)
    rig = whole_rig()._replace(strengths=tuple(readings), fields=(), shapes=shapes, folds=())
    assert driven(small(), rig)[1] == ["gltf-many-nodes"]


@pytest.mark.parametrize(
    "wrong",
    [
        {"animations": 3},
        {"animations": [{"channels": [4]}]},
        {"animations": [{"channels": [{"sampler": 0}]}]},
        {"animations": [{"channels": [{"target": {"extensions": {"KHR_animation_pointer": 1}}}]}]},
        {"animations": [{"name": 7, "channels": []}]},
        {"scenes": {}},
        {"scenes": [{"nodes": 1}]},
        {"extensions": []},
        {"extensionsUsed": "all"},
    ],
)
def test_a_file_that_breaks_the_rules_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(UnreadableModel):
        driven(small() | wrong, starts="walk" if "name" in str(wrong) else "")
