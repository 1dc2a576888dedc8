"""How long it takes to write a character as glTF with its shapes, and how large the file is.

Run `python -m tests.bench.gltf` from the repository. A mesh of 50,000 vertices with 200 shapes of 500 vertices each,
against numpy writing the same indices and offsets to bytes, with their least and greatest, plus the same JSON written
by `json`; and the demo character, whose shapes are computed before the clock runs. Prints seconds, ratios and bytes.
"""

from __future__ import annotations

import json
import struct
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from plica.demo import demo_files
from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.prepare import prepare
from plica.emit.writer import write
from plica.mesh.arrays import Offsets
from plica.mesh.attach import Attached
from plica.mesh.inbetweens import Inbetweens
from plica.mesh.mesh_reader import mesh_of_rig
from plica.pipeline import compile_file
from plica.rig.rig import Rig
from plica.targets.gltf import TARGET
from tests.bench.goals import judge
from tests.support.meshes import Buffers

SIDE, SHAPES, MOVED, ROUNDS = 224, 200, 500, 5
JSON_CHUNK = 20  # where the text of a container's first chunk begins


def sheet(folder: Path) -> Build:
    """A skinned sheet of 224 by 224 vertices, and shapes that each move a stretch of them."""
    buffers = Buffers()
    along = np.linspace(0.0, 1.0, SIDE)
    places = np.stack([*np.meshgrid(along, along), np.zeros((SIDE, SIDE))], axis=-1).reshape(-1, 3)
    corner = (np.arange(SIDE - 1)[:, None] * SIDE + np.arange(SIDE - 1)).ravel()
    faces = np.stack([corner, corner + 1, corner + SIDE, corner + 1, corner + SIDE + 1, corner + SIDE], axis=1)
    weights = np.zeros((len(places), 4))
    weights[:, 0] = 1.0
    attributes = {
        "POSITION": buffers.add(places, min=[0.0] * 3, max=[1.0, 1.0, 0.0]),
        "JOINTS_0": buffers.add(np.zeros((len(places), 4)), np.uint8),
        "WEIGHTS_0": buffers.add(weights),
    }
    primitive = {"attributes": attributes, "indices": buffers.add(faces.ravel(), np.uint32)}
    skin = {"joints": [0], "inverseBindMatrices": buffers.add(np.eye(4)[None])}
    document = {
        "asset": {"version": "2.0"},
        "nodes": [{"name": "root"}, {"name": "skin", "mesh": 0, "skin": 0}],
        "meshes": [{"name": "skin", "primitives": [primitive]}],
        "skins": [skin],
        "scenes": [{"nodes": [0, 1]}],
        "buffers": [{"byteLength": len(buffers.data)}],
        "bufferViews": buffers.views,
        "accessors": buffers.accessors,
    }
    (folder / "sheet.glb").write_bytes(container(json.dumps(document).encode(), buffers.data))
    shapes = "".join(f"shape s{number} {{ follows d }}\n" for number in range(SHAPES))
    text = 'plica 1\ncharacter sheet { geometry "sheet.glb" }\ncontrol k { }\n'
    (folder / "sheet.plica").write_text(text + "driver d { reads control k   span 0 .. 1 }\n" + shapes, "utf-8")
    rig = compile_file(folder / "sheet.plica").rig
    assert rig is not None
    return Build(rig, folder=folder, attached=attached_to(rig, folder))


def container(text: bytes, data: bytes) -> bytes:
    """A `.glb` file (glTF 2.0, section 4.4)."""
    text, data = text + b" " * (-len(text) % 4), data + bytes(-len(data) % 4)
    head = struct.pack("<4sIIII", b"glTF", 2, 28 + len(text) + len(data), len(text), 0x4E4F534A)
    return head + text + struct.pack("<II", len(data), 0x004E4942) + data


def attached_to(rig: Rig, folder: Path) -> Attached:
    """Shapes with random offsets."""
    mesh, random = mesh_of_rig(rig, folder / "sheet.glb"), np.random.default_rng(1)
    starts = random.integers(0, mesh.vertex_count - MOVED, SHAPES)
    made = {
        shape.name: Inbetweens(Offsets(np.arange(start, start + MOVED), random.normal(size=(MOVED, 3)) * 0.01))
        for shape, start in zip(rig.shapes, starts, strict=True)
    }
    return Attached(mesh, "", None, None, {}, made, {})


def with_numpy(attached: Attached, document: dict[str, Any], before: bytes) -> bytes:
    """The same indices and offsets as bytes behind what was there, and the same JSON."""
    parts = [before]
    for shape in attached.shapes.values():
        values = shape.primary.offsets.astype("<f4")
        parts += [shape.primary.indices.astype("<u2").tobytes(), values.tobytes()]
        values.min(axis=0), values.max(axis=0)
    return json.dumps(document, separators=(",", ":")).encode() + b"".join(parts)


def best(run: Callable[[], object]) -> float:
    """The shortest of several runs, in seconds of this process."""
    times = []
    for _ in range(ROUNDS):
        start = time.process_time()
        run()
        times.append(time.process_time() - start)
    return min(times)


def main() -> None:
    """Both measurements."""
    with tempfile.TemporaryDirectory() as name:
        build = sheet(Path(name))
        attached = build.attached
        assert attached is not None
        before = (Path(name) / "sheet.glb").read_bytes()
        (content,) = TARGET.emit(build, Diagnostics()).values()
        size = int.from_bytes(content[12:16], "little")
        document = json.loads(content[JSON_CHUNK : JSON_CHUNK + size])
        ours = best(lambda: TARGET.emit(build, Diagnostics()))
        theirs = best(lambda: with_numpy(attached, document, (Path(name) / "sheet.glb").read_bytes()))
        needed = SHAPES * MOVED * 14
        print(f"{SHAPES} shapes of {MOVED} of {attached.mesh.vertex_count} vertices")
        print(f"  gltf {ours:.4f} s, numpy and json {theirs:.4f} s")
        judge("glTF with 200 shapes, time", ours / theirs, 2.0, reference="numpy and json")
        added = len(content) - len(before)
        print(f"  {added} bytes added, offsets need {needed}")
        judge("glTF with 200 shapes, bytes added", added / needed, 1.1, reference="the offsets' bytes")
    with tempfile.TemporaryDirectory() as name:
        write(demo_files(), Path(name), Diagnostics())
        demo = prepare(compile_file(Path(name) / "wren.plica"), Path(name), (), Diagnostics())
        assert demo is not None
        print(f"the demo, its shapes computed: {best(lambda: TARGET.emit(demo, Diagnostics())):.3f} s")


if __name__ == "__main__":
    sys.exit(main())
