"""How large sheets are, how long they take to make, and what a browser needs to show them.

Run `python -m tests.bench.sheet` from the repository. Two characters: the demo's 24,000 vertices with 60 shapes, and
the same skin with each triangle cut into four (90,000 vertices) and 300 drivers. The browser has no window, and the
processor makes its pictures. Times of the browser are the least of several; expectations are not measured.
"""

from __future__ import annotations

import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

import plica
from tests.bench.goals import judge
from tests.support.browser import browsers
from tests.support.denser import denser_demo

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


def sheet_of(spec: Path) -> tuple[bytes, float]:
    """The page of a character, nothing measured, and the seconds of processor that it takes from its text on."""
    begun = time.process_time()
    made = plica.make_sheet(plica.compile_file(spec), clips=[spec.parent / "clips/rounds.glb"], measure=False)
    assert made.ok, made.diagnostics
    return made.page, time.process_time() - begun


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
        browser = launched()
        for cuts, (called, drivers) in enumerate((("24,000 vertices", 0), ("90,000 vertices", MORE_DRIVERS))):
            folder = Path(name, str(cuts))
            spec = denser_demo(folder, cuts)
            spec.write_text(spec_text(spec.read_text("utf-8"), drivers), "utf-8")
            made, worked = sheet_of(spec)
            page = folder / "large.html"
            page.write_bytes(made)
            first, script, whole = shown(browser, page)
            print(f"{called}: {len(made) / 1024:.0f} KiB, made in {worked:.1f} s of processor")
            print(f"  first picture {first:.0f} ms, a frame {whole:.0f} ms, of it script {script:.2f} ms")
            size, soonest, frame = (4096.0, 1100.0, 2.0) if cuts else (1536.0, 600.0, 0.6)
            judge(f"sheet of {called}: size", len(made) / 1024, size, "KiB")
            judge(f"sheet of {called}: made, processor", worked, 5.0, "s")
            judge(f"sheet of {called}: first picture", first, soonest, "ms")
            judge(f"sheet of {called}: script a frame", script, frame, "ms")
            if not cuts:
                both, worked = compared(spec)
                print(f"{called}, two states: {len(both) / 1024:.0f} KiB, made in {worked:.1f} s of processor")


if __name__ == "__main__":
    main()
