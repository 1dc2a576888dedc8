"""How long the measures of `plica prove` take beside deforming the mesh; `tests.bench.crossing` is about crossings.

Run `python -m tests.bench.prove` from the repository; one process, one thread. The character: Wren with her spec and
shapes, her mesh of 44,416 triangles decimated to 20,000 by libigl (`decimate`: edge collapse by length), weights,
regions and offsets taken from the vertices that were kept. 1,000 frames: 750 of a smooth motion of every joint, elbows
and knees bending to their extremes, and 250 of a spread, unrelated poses over the same range.

Prints milliseconds of processor time for a frame and ratios to the bare deformation of the same frames, measured in
the same run (medians and ranges of the rounds), every kind of expectation alone and all together; and the peak memory
of processes over 250 and 1,000 frames.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import igl
import numpy as np
from scipy.spatial.transform import Rotation

from plica.demo import demo_files
from plica.diagnostics import Diagnostics
from plica.emit.writer import write
from plica.evaluate.poses import Poses, rest_poses
from plica.measure.crossing import Crossing
from plica.measure.region_faces import faces_of
from plica.mesh.arrays import Floats, Integers, Offsets
from plica.mesh.attach import Attached, attach
from plica.mesh.deform import Deformer, Motion
from plica.mesh.inbetweens import Inbetweens
from plica.pipeline import compile_file
from plica.prove.skin import Skin, SkinGauge, together
from plica.rig.rig import Expectation, Rig
from plica.workspace import Workspace
from tests.bench.goals import judge

TRIANGLES, SMOOTH, SPREAD = 20_000, 750, 250
BLOCK_BYTES = 64 << 20
ROUNDS = 3
EXTREMES = {"lowerarm": 2.2, "lowerleg": 2.3}

Measure = Callable[[Floats, Integers], object]


class Subject(NamedTuple):
    """The decimated character and what it does."""

    rig: Rig
    skin: Skin
    deformer: Deformer
    motion: Motion


def main() -> None:
    """Prints everything."""
    subject = made()
    vertices, triangles = subject.skin.mesh.vertex_count, len(subject.skin.mesh.triangles)
    print(f"{triangles} triangles, {vertices} vertices, {len(subject.motion.skins)} frames,"
          f" load {os.getloadavg()[0]:.1f}, milliseconds of processor time for a frame")  # fmt: skip
    kinds = gauges(subject.skin)
    everything = [gauge for result in kinds.values() for gauge in result]
    measures: dict[str, Measure] = {kind: together(result) for kind, result in kinds.items()}
    measures["all together"] = together(everything)
    deformations: list[float] = []
    spent: dict[str, list[float]] = {name: [] for name in measures}
    for _ in range(ROUNDS):
        for name, measure in measures.items():
            deformation, measuring = timed(subject, measure)
            deformations.append(deformation)
            spent[name].append(measuring)
    bare = float(np.median(deformations))
    for name, result in {"deformation": deformations, **spent}.items():
        count = f"({len(kinds[name])} of them)" if name in kinds else ""
        middle = float(np.median(result))
        print(f"{name:14}{middle:7.3f} ms ({min(result):.3f} .. {max(result):.3f}) {middle / bare:6.2f} x {count}")
    together_spent = float(np.median(spent["all together"]))
    judge("all measures but crossing", together_spent / bare, 2.0, reference="the bare deformation")
    for frames in (250, 1000):
        subprocess.run([sys.executable, "-m", "tests.bench.prove", str(frames)], check=True)


def made() -> Subject:
    """The character with its motion."""
    folder = Path(tempfile.mkdtemp())
    write(demo_files(), folder, Diagnostics())
    compiled = compile_file(folder / "wren.plica")
    assert compiled.rig is not None
    whole = attach(compiled.rig, Workspace(folder).locate, Diagnostics())
    assert whole is not None
    attached = decimated(whole)
    deformer = Deformer(attached.mesh, compiled.rig, attached.shapes)
    rest = next(Deformer(attached.mesh, compiled.rig, {}).positions(rest_poses(compiled.rig))).positions[0]
    regions = {**attached.regions, "everything": np.ones(attached.mesh.vertex_count)}
    skin = Skin(compiled.rig, attached.mesh, regions, rest)
    return Subject(compiled.rig, skin, deformer, deformer.motion(poses(compiled.rig)))


def decimated(whole: Attached) -> Attached:
    """About half as many triangles; each vertex keeps what the vertex that it was had."""
    mesh = whole.mesh
    faces = faces_of(mesh)
    places, triangles, _, kept = igl.decimate(
        np.ascontiguousarray(mesh.positions[faces.vertices]), faces.corners.astype(np.int32), TRIANGLES
    )
    birth = faces.vertices[kept]
    reduced = replace(
        mesh,
        positions=places,
        triangles=triangles.astype(np.int64),
        normals=None,
        uvs={},
        points=np.arange(len(places)),
        joints=mesh.joints[birth],
        weights=mesh.weights[birth],
        morphs={},
        parts=(),
    )
    regions = {name: weights[birth] for name, weights in whole.regions.items()}
    shapes = {
        name: Inbetweens(
            thinned(shape.primary, birth), shape.at, tuple(thinned(offsets, birth) for offsets in shape.offsets)
        )
        for name, shape in whole.shapes.items()
    }
    return replace(whole, mesh=reduced, regions=regions, shapes=shapes)


def thinned(offsets: Offsets, birth: Integers) -> Offsets:
    """Offsets of the vertices that were kept."""
    held = np.flatnonzero(np.isin(birth, offsets.indices))
    return Offsets(held, offsets.offsets[np.searchsorted(offsets.indices, birth[held])])


def poses(rig: Rig) -> Poses:
    """The smooth motion, then the spread."""
    random = np.random.default_rng(9)
    result = rest_poses(rig, SMOOTH + SPREAD)
    time_of = np.linspace(0.0, 2.0 * np.pi, SMOOTH)
    for column, joint in enumerate(result.joints):
        most = EXTREMES.get(joint.rsplit("_", 1)[0])
        axis = np.array([1.0, 0.0, 0.0]) if most else random.normal(size=3)
        share = 0.5 - 0.5 * np.cos(time_of * random.integers(2, 6)) if most else np.sin(time_of * random.uniform(1, 6))
        shares = np.concatenate([share, random.uniform(0.0 if most else -1.0, 1.0, SPREAD)])
        turn = Rotation.from_rotvec((most or 0.25) * shares[:, None] * axis / np.linalg.norm(axis))
        result.rotations[:, column] = (Rotation.from_quat(result.rotations[:, column]) * turn).as_quat()
    return result


def gauges(skin: Skin) -> Mapping[str, Sequence[SkinGauge]]:
    """Every kind of expectation about the moving skin but crossings."""
    sides = ("left", "right")
    asked = {
        "volume": [(f"{side}_{part}",) for part in ("forearm", "calf") for side in sides],
        "girth": [(f"{side}_{part}",) for part in ("forearm", "calf") for side in sides],
        "stretch": [("everything",)],
        "squeeze": [("everything",)],
        "shear": [("everything",)],
        "clearance": [(f"{side}_paw", f"{side}_upperarm") for side in sides],
    }
    return {
        kind: [
            skin.gauge(Expectation(kind, "none", names[:1], *names[1:], limit=0.002 if len(names) > 1 else None))
            for names in result
        ]
        for kind, result in asked.items()
    }


def timed(subject: Subject, measure: Measure) -> tuple[float, float]:
    """Milliseconds of processor time for a frame: deforming, and measuring."""
    first = np.zeros(1, np.int64)
    measuring, started = 0.0, time.process_time()
    for block in subject.deformer.positions(subject.motion, block_bytes=BLOCK_BYTES):
        before = time.process_time()
        measure(block.positions, first)
        measuring += time.process_time() - before
    frames = len(subject.motion.skins)
    return (time.process_time() - started - measuring) / frames * 1e3, measuring / frames * 1e3


def memory(frames: int) -> None:
    """Prints the peak of this process when it measures so many frames."""
    subject = made()
    measure = together([gauge for result in gauges(subject.skin).values() for gauge in result])
    crossing = Crossing.prepared(subject.skin.mesh, subject.skin.rest)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**10
    part = Motion(subject.motion.strengths[:frames], subject.motion.skins[:frames])
    for block in subject.deformer.positions(part, block_bytes=BLOCK_BYTES):
        measure(block.positions, np.zeros(1, np.int64))
        crossing.of(block.positions)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**10
    print(f"peak memory over {frames} frames: {peak:.0f} MiB ({before:.0f} MiB before the first)")


if __name__ == "__main__":
    memory(int(sys.argv[1])) if sys.argv[1:] else main()
