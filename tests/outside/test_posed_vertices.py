"""A second studio's reader, written from the pages alone, deforms real characters as the test vectors say.

`tests/targets/json/interpreter.py` computes strengths and `skin_reader.py` the skin, neither with Plica's code. The
models are Wren (ours), a horse below an armature that is scaled by 100, a full body that skins by dual quaternions, and
a robot of rigid parts with morph targets (sources: tests/data/LICENCES.md and the shared data's own notes).
"""

from __future__ import annotations

import json
import re
from functools import cache
from pathlib import Path
from shutil import copy
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

import numpy as np
import pytest

import plica
from plica.demo import demo_files
from plica.diagnostics import Diagnostics
from plica.emit.writer import write
from tests.support.data import ROOT, shared_data
from tests.targets.json.interpreter import strengths
from tests.targets.json.skin_reader import SkinReader
from tests.variants.model_file import read_model

PAGE = ROOT / "targets" / "json" / "skin.md"
CLOSE = 1e-6  # of the body's size

SPEC = """plica 1

character c {{
    geometry "{model}"
    left "*{left}"   right "*{right}"
    skinning {skinning}
}}

driver leg both {{ reads bend of {leg}   span 0 deg .. 60 deg }}
driver nod      {{ reads rotation about x of {head}   span 0 deg .. 30 deg }}
driver far both {{ reads gap of {leg} from {head}   span 0 mm .. 100 mm }}

shape swell left {{ sculpt "swell.npz"   follows leg   inbetween 0.5 "half.npz" }}
shape raise      {{ sculpt "raise.npz"   follows nod }}
"""


class Case(NamedTuple):
    """A shared character with the names that its spec needs."""

    model: tuple[str, ...]
    left: str
    right: str
    leg: str
    head: str
    skinning: str
    more: str = ""


CASES = {
    "horse": Case(("horse", "horse.glb"), ".L", ".R", "FrontLowerLeg", "Head", "linear"),
    "full_body": Case(("full_body", "full_body.gltf"), "_l", "_r", "calf", "Head", "dual quaternion"),
    "robot": Case(
        ("expressive_robot", "robot.glb"),
        ".L",
        ".R",
        "LowerArm",
        "Neck",
        "linear",
        'driver worry { reads weight of "Sad"   span 0 .. 1 }',
    ),
}


class Built(NamedTuple):
    """What a reader has: the rig, the vectors and the offsets, and the model's file read without Plica."""

    reader: SkinReader
    rig: dict[str, Any]
    vectors: dict[str, Any]


@cache
def built(name: str) -> Built:
    """A character's files, built once."""
    with TemporaryDirectory() as place:
        folder = Path(place)
        spec, model = _demo(folder) if name == "wren" else _case(CASES[name], folder)
        character = plica.compile_file(spec)
        assert character.ok, character.diagnostics
        files = plica.build_files(character, ["json"]).files
        stem = character.name
        rig, vectors = (json.loads(files[f"{stem}.{kind}.json"]) for kind in ("rig", "vectors"))
        (folder / "offsets.npz").write_bytes(files[f"{stem}.offsets.npz"])
        with np.load(folder / "offsets.npz", allow_pickle=False) as file:
            offsets = {member: file[member] for member in file.files}
        return Built(SkinReader(rig, read_model(model), offsets), rig, vectors)


def _demo(folder: Path) -> tuple[Path, Path]:
    write(demo_files(), folder, Diagnostics())
    return folder / "wren.plica", folder / "wren.glb"


def _case(case: Case, folder: Path) -> tuple[Path, Path]:
    model = shared_data("characters", *case.model)
    for file in model.parent.iterdir():
        copy(file, folder)
    count = sum(len(primitive.positions) for primitive in read_model(model).primitives)
    random = np.random.default_rng(5)
    for sculpt in ("swell", "half", "raise"):
        moving = np.sort(random.choice(count, 40, replace=False))
        moves = random.uniform(-0.02, 0.02, (40, 3))
        np.savez(folder / f"{sculpt}.npz", indices=moving, offsets=moves, vertex_count=np.int64(count))
    text = SPEC.format(**case._replace(model=(model.name,))._asdict() | {"model": model.name}) + case.more
    (folder / "c.plica").write_text(text, "utf-8")
    return folder / "c.plica", model


CHARACTERS = pytest.mark.parametrize("name", ["wren", *CASES])


@CHARACTERS
def test_a_reader_of_the_pages_deforms_as_the_vectors_say(name: str) -> None:
    reader, rig, vectors = built(name)
    skin, posed = vectors["skin"], vectors["posed_vertices"]
    size = float(np.ptp(reader.neutral, axis=0).max())
    assert skin["tolerance"] == pytest.approx(CLOSE * size, rel=1e-2)
    assert skin["fingerprint"] == rig["offsets"]["fingerprint"]
    assert skin["vertex_count"] == len(reader.neutral)
    assert len(skin["vertices"]) >= 256
    assert len(posed) >= 16
    assert posed[0]["vector"] == 0
    for one in posed:
        vector = vectors["vectors"][one["vector"]]
        there = reader.positions(vector["pose"], strengths(rig, vector["pose"]))
        np.testing.assert_allclose(there[skin["vertices"]], one["positions"], rtol=0, atol=skin["tolerance"])


@CHARACTERS
def test_every_shape_shows_in_the_posed_vertices(name: str) -> None:
    """Each moves one of them, in one of the poses, by at least half of the most that it moves any vertex."""
    reader, _, vectors = built(name)
    chosen = vectors["skin"]["vertices"]
    followed = [shape for shape in reader.rig["shapes"] if shape["follows"] is not None]
    assert len(followed) >= 2
    for shape in followed:
        offsets = np.zeros((vectors["skin"]["vertex_count"], 3))
        offsets[reader.offsets[f"{shape['name']}/indices"]] = reader.offsets[f"{shape['name']}/offsets"]
        distances = np.linalg.norm(offsets, axis=1)
        strength = max(vectors["vectors"][one["vector"]]["strengths"][shape["follows"]]
                       for one in vectors["posed_vertices"])  # fmt: skip
        assert strength * distances[chosen].max() > 0.5 * distances.max(), shape["name"]


def test_posed_vertices_notice_a_shape_that_is_left_out() -> None:
    reader, _, vectors = built("horse")
    skin, off = vectors["skin"], 0.0
    for one in vectors["posed_vertices"]:
        vector = vectors["vectors"][one["vector"]]
        bare = reader.positions(vector["pose"], vector["strengths"] | {"nod": 0.0})
        off = max(off, float(np.abs(bare[skin["vertices"]] - one["positions"]).max()))
    assert off > 1000 * skin["tolerance"]


@CHARACTERS
def test_the_pages_ten_lines_verify_the_mesh(name: str) -> None:
    """The lines are run out of the page on what the file holds."""
    reader, rig, _ = built(name)
    (lines,) = re.findall(r"```python\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)
    names: dict[str, Any] = {}
    exec(lines, names)
    stated = rig["offsets"]["fingerprint"]
    assert names["fingerprint"](reader.neutral, reader.triangles) == stated
    moved = reader.neutral.copy()
    moved[-1, 0] += 1e-4
    changed = names["fingerprint"](moved, reader.triangles).split(":")
    assert [one == other for one, other in zip(changed, stated.split(":"), strict=True)] == [True] * 3 + [False] * 2
