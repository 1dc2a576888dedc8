"""How long masks take, against drawing each by itself with general libraries.

Run `python -m tests.bench.masks` from the repository. 30 masks at 1024 x 1024 from 20,000 triangles; here all are
made from one rasterisation, values mixed between vertices, gutters filled. References, each mask by itself:

- scikit-image's `draw.polygon`, each triangle filled with its mean weight (left out, and said so, where the library is
  not installed);
- scipy's `LinearNDInterpolator` over the triangles' corners at all middles of texels (no gutters; its triangulation is
  made once);
- Pillow's `ImageDraw.polygon`, each triangle filled with its mean weight: as one writes it for one mask; with the
  corners brought into Pillow's form once for all masks; and so, with the triangles left out that would be black.

No mask is kept, ours or theirs: each is made and dropped.

Flat fills do far less: no values in between, no gutters, and Pillow's outlines are a texel too thick.

Then the demo character's masks as `plica build --target masks` makes them: seconds, bytes on disk and in memory,
with the tolerances of her spec and with one tolerance for all folds. Seconds are those of the processor, so that
other work on the machine counts little, and medians of several rounds, in each of which everything is measured in
turn; the shortest and the longest time stand behind them. Prints ratios of the medians (above 1 Plica is faster).
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw
from scipy.interpolate import LinearNDInterpolator
from scipy.spatial import Delaunay

from plica.demo import SPEC, demo_files
from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.masks import masks
from plica.emit.prepare import prepare
from plica.emit.writer import write
from plica.mesh.arrays import Floats, Integers
from plica.pipeline import compile_file
from plica.texture.atlas import atlas_of
from plica.texture.raster import Singles
from tests.bench.goals import judge

SIZE, COUNT, ACROSS = 1024, 30, 101
ROUNDS = 7


def layout() -> tuple[Floats, Integers]:
    """A sheet of 20,000 triangles over most of the texture, a little uneven."""
    line = np.linspace(0.02, 0.98, ACROSS)
    uv = np.stack(np.meshgrid(line, line), axis=-1).reshape(-1, 2)
    uv += np.random.default_rng(4).uniform(-0.003, 0.003, uv.shape)
    number = np.arange(ACROSS * ACROSS).reshape(ACROSS, ACROSS)
    a, b, c, d = number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1]
    return uv, np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)])


def weights_of(uv: Floats) -> Floats:
    """Round areas of different sizes, as folds have them."""
    random = np.random.default_rng(8)
    middles, widths = random.random((COUNT, 1, 2)), random.uniform(0.05, 0.2, (COUNT, 1))
    return np.asarray(np.clip(2.0 - np.linalg.norm(uv - middles, axis=2) / widths, 0.0, 1.0))


def means_of(triangles: Integers, mask: Floats) -> list[int]:
    """What flat fills draw."""
    return np.floor(mask[triangles].mean(axis=1) * 255.0 + 0.5).astype(int).tolist()


def with_pillow(uv: Floats, triangles: Integers, mask: Floats) -> Floats:
    """One mask."""
    image = Image.new("L", (SIZE, SIZE))
    draw = ImageDraw.Draw(image)
    for corners, mean in zip((uv * SIZE)[triangles].tolist(), means_of(triangles, mask), strict=True):
        draw.polygon([tuple(corner) for corner in corners], fill=mean)
    return np.asarray(image) / 255.0


def in_pillows_form(uv: Floats, triangles: Integers) -> list[list[tuple[float, float]]]:
    """The corners of all triangles."""
    return [[(x, y) for x, y in corners] for corners in (uv * SIZE)[triangles].tolist()]


def with_pillow_prepared(
    corners: list[list[tuple[float, float]]], triangles: Integers, mask: Floats, black: bool
) -> Floats:
    """One mask from corners that are ready; triangles that would be black are drawn if `black`."""
    image = Image.new("L", (SIZE, SIZE))
    draw = ImageDraw.Draw(image)
    for places, mean in zip(corners, means_of(triangles, mask), strict=True):
        if mean or black:
            draw.polygon(places, fill=mean)
    return np.asarray(image) / 255.0


def with_scikit_image(uv: Floats, triangles: Integers, mask: Floats) -> Floats:
    """One mask."""
    from skimage.draw import polygon

    image = np.zeros((SIZE, SIZE), np.uint8)
    places = (uv * SIZE - 0.5)[triangles]
    for corners, mean in zip(places, means_of(triangles, mask), strict=True):
        image[polygon(corners[:, 1], corners[:, 0], image.shape)] = mean
    return image / 255.0


def with_scipy(cutting: Delaunay, mask: Floats) -> Floats:
    """One mask."""
    middles = (np.arange(SIZE) + 0.5) / SIZE
    x, y = np.meshgrid(middles, middles)
    return np.nan_to_num(LinearNDInterpolator(cutting, mask)(x, y))


def together(uv: Floats, triangles: Integers, weights: Floats) -> Iterator[Singles]:
    """All masks from one sheet, one after the other."""
    sheet = atlas_of(uv, triangles, SIZE)
    return (sheet.image(mask) for mask in weights)


def seconds(run: Callable[[], object]) -> float:
    """The processor's seconds."""
    start = time.process_time()
    run()
    return time.process_time() - start


def made(drawn: Iterable[object]) -> None:
    """Makes masks, none of which is kept, as the builder keeps none at full size."""
    for _ in drawn:
        pass


def against_others() -> None:
    """The first comparison: in each round ours and every reference, one after the other."""
    uv, triangles = layout()
    weights = weights_of(uv)
    cutting = Delaunay(uv)
    ready = in_pillows_form(uv, triangles)
    references: dict[str, Callable[[Floats], Floats]] = {
        "scipy LinearNDInterpolator": lambda mask: with_scipy(cutting, mask),
        "Pillow polygon, flat": lambda mask: with_pillow(uv, triangles, mask),
        "  corners prepared": lambda mask: with_pillow_prepared(ready, triangles, mask, black=True),
        "  and no black triangles": lambda mask: with_pillow_prepared(ready, triangles, mask, black=False),
    }
    if find_spec("skimage"):
        references["scikit-image draw.polygon, flat"] = lambda mask: with_scikit_image(uv, triangles, mask)
    for draw in references.values():
        ours = together(uv, triangles, weights)
        apart = np.mean([np.abs(draw(mask) - one).mean() for mask, one in zip(weights, ours, strict=True)])
        assert apart < 0.02, "the two draw different things"
    took = []
    theirs: dict[str, list[float]] = {name: [] for name in references}
    for _ in range(ROUNDS):
        took.append(seconds(lambda: made(together(uv, triangles, weights))))
        for name, draw in references.items():
            theirs[name].append(seconds(lambda draw=draw: made(map(draw, weights))))  # type: ignore[misc]
    print(f"{COUNT} masks of {SIZE} x {SIZE}, {len(triangles)} triangles: {told(took)}")
    for name, times in theirs.items():
        ratio = float(np.median(times) / np.median(took))
        print(f"  {name:32}  {told(times)}   {ratio:5.1f} x")
        if not name.startswith(" "):
            judge(f"30 masks together, {name} of each", ratio, 10.0, reference="ours", at_least=True)
    if not find_spec("skimage"):
        print("  scikit-image draw.polygon, flat   not measured: scikit-image is not installed")


def told(times: list[float]) -> str:
    """The median of some times, and from the shortest to the longest."""
    return f"{np.median(times):6.3f} s ({min(times):.3f} .. {max(times):.3f})"


def demo_build(folder: Path, tolerance: float | None = None) -> tuple[Build, float]:
    """The demo character, attached anew, and the seconds that took; its folds with another tolerance if wanted."""
    start = time.process_time()
    diagnostics = Diagnostics()
    prepared = prepare(compile_file(folder / SPEC), folder, (), diagnostics)
    assert prepared is not None, [item.message for item in diagnostics.all]
    if tolerance is not None:
        folds = tuple(fold._replace(tolerance=tolerance) for fold in prepared.rig.folds)
        prepared = Build(prepared.rig._replace(folds=folds), prepared.origins, folder, prepared.attached)
    return prepared, time.process_time() - start


def demo(folder: Path, tolerance: float | None) -> None:
    """One line about the demo's masks."""
    times, attaching = [], []
    for _ in range(3):
        build, took = demo_build(folder, tolerance)
        attaching.append(took)
        times.append(seconds(lambda build=build: masks(build, Diagnostics())))  # type: ignore[misc]
    whole = masks(build, Diagnostics())
    assert whole is not None
    disk, memory = (sum(kind) for kind in zip(*((len(t.content), t.memory) for t in whole.textures), strict=True))
    print(
        f"demo, {len(whole.masks)} masks, tolerance {tolerance or 'as in the spec'}: {np.median(times):.2f} s "
        f"(and {np.median(attaching):.2f} s to check it and attach its mesh); {disk / 1024:.1f} KiB on disk, "
        f"{memory / 2**20:.2f} MiB in memory, sizes {sorted({mask.size for mask in whole.masks.values()})}"
    )
    if tolerance is None:
        judge("masks of the demo, processor", float(np.median(times)), 2.0, "s")
        judge("masks of the demo, on disk", disk / 1024, 256.0, "KiB")


def main() -> None:
    """Prints everything."""
    against_others()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        write(demo_files(), folder, Diagnostics())
        for tolerance in (None, 1.0 / 255.0, 0.01, 0.02, 0.05, 0.1):
            demo(folder, tolerance)


if __name__ == "__main__":
    main()
