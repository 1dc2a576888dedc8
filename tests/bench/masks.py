"""How long masks take, against drawing each by itself with general libraries.

Run `python -m tests.bench.masks` from the repository. 30 masks at 1024 x 1024 from 20,000 triangles; here all are
made from one rasterisation, values mixed between vertices, gutters filled. References, each mask by itself:

- scikit-image's `draw.polygon`, each triangle filled with its mean weight (left out where the library is not
  installed);
- scipy's `LinearNDInterpolator` over the triangles' corners at all middles of texels (no gutters; its triangulation is
  made once);
- Pillow's `ImageDraw.polygon`, each triangle filled with its mean weight: as one writes it for one mask; with the
  corners brought into Pillow's form once for all masks; and so, with the triangles left out that would be black.

Flat fills do far less: no values in between, no gutters, and Pillow's outlines are a texel too thick.

Then the demo character's masks as `plica build --target masks` makes them: seconds, bytes on disk and in memory,
with the tolerances of her spec and with 5 % for all folds. Seconds are those of the processor, so that other work on
the machine does not count. Prints ratios (above 1 Plica is faster).
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw
from scipy.interpolate import LinearNDInterpolator
from scipy.spatial import Delaunay

from plica.build.masks import masks
from plica.build.model import Build
from plica.build.prepare import prepare
from plica.build.writer import write
from plica.demo import SPEC, demo_files
from plica.diagnostics import Diagnostics
from plica.mesh.model import Floats, Integers
from plica.pipeline import compile_file
from plica.texture.sheet import sheet_of

SIZE, COUNT, ACROSS = 1024, 30, 101
ROUNDS = 3


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


def together(uv: Floats, triangles: Integers, weights: Floats) -> list[Floats]:
    """All masks from one sheet."""
    sheet = sheet_of(uv, triangles, SIZE)
    return [sheet.image(mask) for mask in weights]


def seconds(run: Callable[[], object]) -> float:
    """The shortest time of a few rounds."""
    times = []
    for _ in range(ROUNDS):
        start = time.process_time()
        run()
        times.append(time.process_time() - start)
    return min(times)


def against_others() -> None:
    """The first comparison."""
    uv, triangles = layout()
    weights = weights_of(uv)
    ours = together(uv, triangles, weights)
    took = seconds(lambda: together(uv, triangles, weights))
    print(f"{COUNT} masks of {SIZE} x {SIZE}, {len(triangles)} triangles: {took:.2f} s")
    cutting = Delaunay(uv)
    ready = in_pillows_form(uv, triangles)
    references: list[tuple[str, Callable[[Floats], Floats]]] = [
        ("scipy LinearNDInterpolator", lambda mask: with_scipy(cutting, mask)),
        ("Pillow polygon, flat", lambda mask: with_pillow(uv, triangles, mask)),
        ("  corners prepared", lambda mask: with_pillow_prepared(ready, triangles, mask, black=True)),
        ("  and no black triangles", lambda mask: with_pillow_prepared(ready, triangles, mask, black=False)),
    ]
    if find_spec("skimage"):
        references.insert(0, ("scikit-image draw.polygon, flat", lambda mask: with_scikit_image(uv, triangles, mask)))
    for name, draw in references:
        theirs = np.inf
        for _ in range(ROUNDS):
            start = time.process_time()
            drawn = [draw(mask) for mask in weights]
            theirs = min(theirs, time.process_time() - start)
        apart = np.mean([np.abs(one - other).mean() for one, other in zip(drawn, ours, strict=True)])
        assert apart < 0.02, "the two draw different things"
        print(f"  {name:32}  {theirs:6.2f} s   {theirs / took:5.1f} x")


def demo_build(folder: Path, tolerance: float | None = None) -> tuple[Build, float]:
    """The demo character, attached anew, and the seconds that took; its folds with another tolerance if wanted."""
    start = time.process_time()
    found = Diagnostics()
    made = prepare(compile_file(folder / SPEC), folder, (), found)
    assert made is not None, [item.message for item in found.all]
    if tolerance is not None:
        folds = tuple(fold._replace(tolerance=tolerance) for fold in made.rig.folds)
        made = Build(made.rig._replace(folds=folds), made.origins, folder, made.attached)
    return made, time.process_time() - start


def demo(folder: Path, tolerance: float | None) -> None:
    """One line about the demo's masks."""
    best = np.inf
    for _ in range(ROUNDS):
        build, attaching = demo_build(folder, tolerance)
        start = time.process_time()
        made = masks(build, Diagnostics())
        best = min(best, time.process_time() - start)
    assert made is not None
    disk, memory = (sum(kind) for kind in zip(*((len(t.content), t.memory) for t in made.textures), strict=True))
    print(
        f"demo, {len(made.masks)} masks, tolerance {tolerance or 'as in the spec'}: {best:.2f} s "
        f"(and {attaching:.2f} s to check it and attach its mesh); {disk / 1024:.1f} KiB on disk, "
        f"{memory / 2**20:.2f} MiB in memory, sizes {sorted({mask.size for mask in made.masks.values()})}"
    )


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
