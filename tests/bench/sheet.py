"""How large sheets are, how long they take to make, and what a browser needs to show them.

Run `python -m tests.bench.sheet` from the repository. Two characters: the demo's 24,000 vertices with 60 shapes, and
the same skin with each triangle cut into four (90,000 vertices) and 300 drivers. The browser has no window, and the
processor makes its pictures. Times of the browser are the least of several; expectations are not measured.
"""

from __future__ import annotations

import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

import plica
from plica.api.character import posed_rig
from plica.api.sheeting import stills_of
from plica.demo import demo_files
from plica.diagnostics import Diagnostics
from plica.emit.writer import write
from plica.mesh.arrays import Floats, Integers, Mesh, Offsets
from plica.mesh.attach import Attached
from plica.prove.proof import Proof
from plica.prove.results import not_measured
from plica.prove.subject import ExtraClips, read_subject
from plica.sheet.detail_pictures import SpecFiles
from plica.sheet.photos import PhotoAlbum
from plica.sheet.sheet import SheetSubject, sheet_page
from plica.workspace import Refused, Workspace, located_bytes
from tests.bench.goals import judge
from tests.support.browser import browsers

if TYPE_CHECKING:
    from playwright.sync_api import Browser

SCULPTED = {"upperarm_swell": "elbow_bend", "elbow_crease": "elbow_bend", "knee_hold": "knee_bend"}
RESTING = {"whisker_lift": "whisker_lift"}
JOINTS = ("lowerarm", "lowerleg", "upperarm", "paw", "index_1", "middle_1", "ring_1", "little_1", "foot", "upperleg")
MORE_SHAPES, MORE_DRIVERS = 5, 138

_SCRIPT = """() => {
  const { gl } = sheet.stage, one = new Uint8Array(4), row = sheet.record.rows.find(({ travel }) => travel);
  const sync = () => gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, one);
  const [low, high] = row.range;
  let script = Infinity, whole = Infinity;
  for (let step = 0; step < 10; step += 1) {
    sheet.pose = sheet.skeleton.along(row.travel, low + (high - low) * step / 9, sheet.pose);
    sheet.dirty = true;
    sync();
    const begun = performance.now();
    sheet.draw();
    script = Math.min(script, performance.now() - begun);
    sync();
    whole = Math.min(whole, performance.now() - begun);
  }
  return [performance.getEntriesByName("first picture")[0].startTime, script, whole];
}"""


def spec_text(text: str, drivers: int) -> str:
    """The demo's spec with more shapes, and so many more drivers on both sides."""
    lines = [text]
    for number in range(MORE_SHAPES):
        lines += [
            f'shape {name}_{number} both {{ sculpt "sculpts/{name}.npz"  posed at {on} 1   follows {on} }}'
            for name, on in SCULPTED.items()
        ]
        lines += [
            f'shape {name}_{number} both {{ sculpt "sculpts/{name}.npz"   follows {on} }}'
            for name, on in RESTING.items()
        ]
    for number in range(drivers):
        joint = JOINTS[number % len(JOINTS)]
        lines.append(f"driver more_{number} both {{ reads bend of {joint}   span 0 deg .. {40 + number % 60} deg }}")
    return "\n".join(lines) + "\n"


def cut_in_four(attached: Attached) -> Attached:
    """The same skin with each triangle cut into four; what stands in the middle of an edge is the mean of its ends."""
    mesh = attached.mesh
    count, triangles = mesh.vertex_count, mesh.triangles
    edges = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
    ends, back = np.unique(edges, axis=0, return_inverse=True)
    middles = back.reshape(3, -1).T + count
    parts = [
        np.stack([triangles[:, 0], middles[:, 0], middles[:, 2]], 1),
        np.stack([middles[:, 0], triangles[:, 1], middles[:, 1]], 1),
        np.stack([middles[:, 2], middles[:, 1], triangles[:, 2]], 1),
        middles,
    ]

    def halved(values: Floats) -> Floats:
        return np.concatenate([values, (values[ends[:, 0]] + values[ends[:, 1]]) / 2.0])

    def finer(offsets: Offsets) -> Offsets:
        full = np.zeros((count, 3))
        full[offsets.indices] = offsets.offsets
        whole = halved(full)
        indices = np.flatnonzero(np.abs(whole).max(axis=1) > 1e-6)
        return Offsets(indices, whole[indices])

    made = replace(
        mesh,
        positions=halved(mesh.positions),
        triangles=np.concatenate(parts),
        normals=None,
        uvs={name: halved(uv) for name, uv in mesh.uvs.items()},
        points=_points(mesh, ends),
        **_weights(mesh, halved),
    )
    shapes = {
        name: replace(shape, primary=finer(shape.primary), offsets=tuple(map(finer, shape.offsets)))
        for name, shape in attached.shapes.items()
    }
    regions = {name: halved(weights) for name, weights in attached.regions.items()}
    return replace(attached, mesh=made, shapes=shapes, regions=regions)


def _points(mesh: Mesh, ends: Integers) -> Integers:
    """Edges between the same welded points share their middle."""
    _, number = np.unique(np.sort(mesh.points[ends], axis=1), axis=0, return_inverse=True)
    return np.concatenate([mesh.points, mesh.point_count + number.reshape(-1)])


def _weights(mesh: Mesh, halved: object) -> dict[str, object]:
    """The four heaviest joints of each vertex."""
    full = np.zeros((mesh.vertex_count, len(mesh.bind_joints)))
    np.add.at(full, (np.arange(mesh.vertex_count)[:, np.newaxis], mesh.joints), mesh.weights)
    whole = halved(full)  # type: ignore[operator]
    joints = np.argsort(-whole, axis=1, kind="stable")[:, :4]
    weights = np.take_along_axis(whole, joints, axis=1)
    return {"joints": joints, "weights": weights / weights.sum(axis=1, keepdims=True)}


def sheet_of(spec: Path, finer: bool) -> tuple[bytes, float]:
    """The page of a character, nothing measured, and the seconds of processor it takes, those for cutting apart."""
    begun = time.process_time()
    character = plica.compile_file(spec)
    rig, workspace, diagnostics = posed_rig(character), Workspace(character.folder), Diagnostics()
    motion = ExtraClips([str(spec.parent / "clips/rounds.glb")])
    subject = read_subject(rig, workspace, character.origins, motion, diagnostics)
    assert subject is not None and subject.attached is not None, diagnostics.all

    def read(file: str) -> bytes | Refused:
        return located_bytes(workspace.locate, file, "image_bytes")

    masks = Proof(subject).masks
    assert not isinstance(masks, str), masks
    stills = stills_of(character, subject.attached)
    before = time.process_time()
    attached = cut_in_four(subject.attached) if finer else subject.attached
    begun += time.process_time() - before
    page = sheet_page(
        SheetSubject(
            rig,
            attached,
            [not_measured(number, one, "") for number, one in enumerate(rig.expectations)],
            masks,
            subject.extra,
            {},
            character.origins,
            SpecFiles(read),
            PhotoAlbum(read, diagnostics),
            stills,
        )
    )
    return page, time.process_time() - begun


def compared(spec: Path) -> tuple[bytes, float]:
    """The page of a character beside an earlier state, in which a span and a fifth of the shapes were others, and the
    seconds of processor that it takes.
    """
    old = spec.with_name("earlier.plica")
    text = spec.read_text("utf-8").replace("span 5 deg .. 60 deg", "span 5 deg .. 50 deg")
    old.write_text(text.replace("elbow_bend 1  after upperarm_swell", "elbow_bend 0.9  after upperarm_swell"), "utf-8")
    begun = time.process_time()
    made = plica.make_sheet(plica.compile_file(spec), against=old, measure=False)
    assert made.ok, made.diagnostics
    return made.page, time.process_time() - begun


def shown(browser: Browser, page: Path) -> list[float]:
    """First picture, script of a frame and whole frame, in milliseconds."""
    figures = []
    for _ in range(3):
        tab = browser.new_page(viewport={"width": 1280, "height": 800})
        tab.goto(page.as_uri())
        tab.wait_for_selector("body[data-ready]", timeout=120_000)
        figures.append(tab.evaluate(_SCRIPT))
        tab.close()
    return [min(values) for values in zip(*figures, strict=True)]


def main() -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as name, browsers() as launched:
        folder = Path(name)
        write(demo_files(), folder, Diagnostics())
        text = (folder / "wren.plica").read_text("utf-8")
        browser = launched()
        for called, drivers, finer in (("24,000 vertices", 0, False), ("90,000 vertices", MORE_DRIVERS, True)):
            spec = folder / "large.plica"
            spec.write_text(spec_text(text, drivers), "utf-8")
            made, worked = sheet_of(spec, finer)
            page = folder / "large.html"
            page.write_bytes(made)
            first, script, whole = shown(browser, page)
            print(f"{called}: {len(made) / 1024:.0f} KiB, made in {worked:.1f} s of processor")
            print(f"  first picture {first:.0f} ms, a frame {whole:.0f} ms, of it script {script:.2f} ms")
            size, soonest, frame = (4096.0, 1100.0, 2.0) if finer else (1536.0, 600.0, 0.6)
            judge(f"sheet of {called}: size", len(made) / 1024, size, "KiB")
            judge(f"sheet of {called}: made, processor", worked, 5.0, "s")
            judge(f"sheet of {called}: first picture", first, soonest, "ms")
            judge(f"sheet of {called}: script a frame", script, frame, "ms")
            if not finer:
                both, worked = compared(spec)
                print(f"{called}, two states: {len(both) / 1024:.0f} KiB, made in {worked:.1f} s of processor")


if __name__ == "__main__":
    main()
