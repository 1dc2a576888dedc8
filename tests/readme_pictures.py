"""Makes the pictures of the README and the pages beside it, and tells which are no longer current.

Run `python -m tests.readme_pictures [NAME...]` from the repository: all of them take about two minutes. Each PNG has in
a text chunk (PNG, third edition, section 11.3.3) a fingerprint of what it was made of, the demo character and the code
that draws, and `tests/test_readme_pictures.py` compares it. The look of the sheet's page is not in it: whoever changes
that looks at the page anyway, and makes `sheet` anew.
"""

from __future__ import annotations

import hashlib
import io
import re
import sys
import tempfile
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Final, NamedTuple

from PIL import Image, PngImagePlugin

import plica
from plica.demo import demo_files
from plica.diagnostics import Diagnostics
from plica.emit.writer import write

ROOT: Final = Path(__file__).resolve().parent.parent
FOLDER: Final = ROOT / "specs"
KEYWORD: Final = "Plica picture made of"
_STUDIO: Final = ("compiler/picture/*.py", "compiler/texture/skin_*.py")


class Recipe(NamedTuple):
    """How a picture is made of the demo character in a folder, as a PNG file; code: patterns of the files that draw."""

    made: Callable[[Path], bytes]
    code: Sequence[str]


def portrait(demo: Path) -> bytes:
    """Three moments of Wren's clip, and his strengths over it."""
    from plica.specs.wren.picture import picture

    return picture()


def elbow(demo: Path) -> bytes:
    """A sweep of the elbow, coloured by how far shapes move the skin."""
    shown = plica.draw_skin(plica.compile_file(demo / "wren.plica"), sweep="elbow_bend", tinted=True, size=(300, 280))
    return shown.file("elbow.png")


def worst(demo: Path) -> bytes:
    """The worst place of an expectation, as `plica prove --pictures` draws it."""
    spec = demo / "wren.plica"
    kept = [
        line for line in spec.read_text("utf-8").splitlines() if not re.match(r"expect(?!.*clearance of paw)", line)
    ]
    spec.write_text("\n".join(kept) + "\n", "utf-8")
    folder = demo / "pictures"
    folder.mkdir()
    report = plica.prove_expectations(plica.compile_file(spec), pictures=folder, cache=False)
    found = next(one for one in report.results if one.title.startswith("clearance of left_paw"))
    return (folder / found.picture).read_bytes()


def sheet(demo: Path) -> bytes:
    """How a browser shows the demo's sheet, with a row open and the skin coloured by a shape."""
    from tests.support.browser import browsers

    page = demo / "wren.html"
    character = plica.compile_file(demo / "wren.plica")
    assert not plica.make_sheet(character, clips=[demo / "clips/rounds.glb"]).write(page)
    with browsers() as launched:
        tab = launched().new_page(viewport={"width": 1280, "height": 800})
        tab.goto(page.as_uri())
        tab.wait_for_selector("body[data-ready=yes]")
        tab.select_option("#colour", label="left_upperarm_swell")
        tab.evaluate(_ELBOW)
        tab.wait_for_timeout(3000)
        return tab.screenshot()


_ELBOW: Final = """() => {
  const row = sheet.record.rows.find(({ name }) => name === "left_elbow_bend");
  document.getElementById(row.block).open = true;
  document.getElementById(row.block).scrollIntoView();
  sheet.move(row, 1.6);
}"""

RECIPES: Final[Mapping[str, Recipe]] = MappingProxyType(
    {
        "wren": Recipe(portrait, ("compiler/picture/raster.py", "specs/wren/*.py")),
        "elbow": Recipe(elbow, (*_STUDIO, "compiler/api/pictur*.py")),
        "worst": Recipe(worst, (*_STUDIO, "compiler/prove/report/pictures.py", "compiler/prove/report/scenes.py")),
        "sheet": Recipe(sheet, ()),
    }
)
"""By the name of the file in `specs/`."""


def fingerprint(name: str) -> str:
    """SHA-256 of the names and bytes of all that a picture is made of."""
    digest = hashlib.sha256()
    parts = dict(demo_files())
    for pattern in RECIPES[name].code:
        parts |= {path.relative_to(ROOT).as_posix(): path.read_bytes() for path in ROOT.glob(pattern)}
    for part, content in sorted(parts.items()):
        digest.update(f"{part} {len(content)}\n".encode())
        digest.update(content)
    return digest.hexdigest()


def stored(name: str) -> str:
    """The fingerprint that the picture in the repository carries, "" for none."""
    with Image.open(FOLDER / f"{name}.png") as image:
        assert isinstance(image, PngImagePlugin.PngImageFile)
        return str(image.text.get(KEYWORD, ""))


def make(name: str) -> None:
    """Make one picture anew, in its place."""
    with tempfile.TemporaryDirectory() as folder:
        assert write(demo_files(), Path(folder), Diagnostics()) is not None
        content = RECIPES[name].made(Path(folder))
    said = PngImagePlugin.PngInfo()
    said.add_text(KEYWORD, fingerprint(name))
    result = io.BytesIO()
    with Image.open(io.BytesIO(content)) as image:
        image.save(result, "PNG", pnginfo=said, optimize=True)
    (FOLDER / f"{name}.png").write_bytes(result.getvalue())


def main(names: Sequence[str]) -> int:
    """Make the pictures that are named, or all."""
    for name in names or tuple(RECIPES):
        if name not in RECIPES:
            sys.stderr.write(f"there is no picture {name}; there are {', '.join(RECIPES)}\n")
            return 2
        make(name)
        sys.stdout.write(f"{name}.png\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
