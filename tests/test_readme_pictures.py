"""Pictures of the README and the pages show what the repository draws now."""

from __future__ import annotations

import re

import pytest

from tests.readme_pictures import FOLDER, RECIPES, ROOT, fingerprint, stored


@pytest.mark.parametrize("name", RECIPES)
def test_pictures_are_current(name: str) -> None:
    assert stored(name) == fingerprint(name), f"python -m tests.readme_pictures {name}, and look at it"


def test_every_picture_of_a_page_is_made_by_the_command() -> None:
    pages = [
        ROOT / "README.md",
        ROOT / "DEVELOPERS.md",
        *(ROOT / "grammar").glob("*.md"),
        *ROOT.glob("targets/**/*.md"),
    ]
    shown = {
        (page.parent / found).resolve()
        for page in pages
        for found in re.findall(r"!\[[^\]]*\]\(([^)\s]+)\)", page.read_text("utf-8"))
    }
    assert shown == {FOLDER / f"{name}.png" for name in RECIPES} == set(FOLDER.glob("*.png"))
