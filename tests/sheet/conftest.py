"""One sheet of the demo character and one browser for all tests of pages."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

import plica
from plica.api.sheeting import CharacterSheet
from plica.api.skin import AttachedMesh
from plica.demo import demo_files
from plica.diagnostics import Diagnostics
from plica.emit.writer import write
from tests.support.sheet_page import OpenPage, opened

if TYPE_CHECKING:
    from playwright.sync_api import Browser

MARKUP = '</script><img src=x onerror="document.title = 1">'
# The demo's own expectations take minutes; these are one that holds, one that fails, and one that nobody can measure.
EXPECTATIONS = f"""
pose salute {{ at left elbow_bend 1   at left armpit 1   note "{MARKUP.replace('"', "'")}" }}
expect {{ rest }}
expect left {{ volume of calf within 5 %   over knee_bend }}
expect left {{ stretch of paw at most 1 %  over fist }}
"""


@dataclass(frozen=True)
class Made:
    """A character with its sheet, written to a file."""

    character: plica.Character
    mesh: AttachedMesh
    sheet: CharacterSheet
    file: Path


@pytest.fixture(scope="session")
def wren(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """The demo character's sheet."""
    folder = tmp_path_factory.mktemp("wren")
    assert write(demo_files(), folder, Diagnostics()) is not None
    spec = folder / "wren.plica"
    text = re.sub(r"(?m)^expect .*\n", "", spec.read_text("utf-8"))
    spec.write_text(text + EXPECTATIONS, "utf-8")
    character = plica.compile_file(spec)
    sheet = plica.make_sheet(character, clips=[folder / "clips/rounds.glb"], cache=False, workers=1)
    assert sheet.ok, sheet.diagnostics
    assert sheet.write(folder / "wren.html") == ()
    return Made(character, plica.attach_mesh(character), sheet, folder / "wren.html")


@pytest.fixture(scope="module")
def page(browser: Browser, wren: Made) -> Iterator[OpenPage]:
    """The demo character's page."""
    with opened(browser, wren.file) as shown:
        yield shown
