"""Projects of small characters, for tests and benchmarks."""

from __future__ import annotations

from pathlib import Path

from tests.support.examples import FILES

LIBRARY = """plica 1
parameter joint
parameter reach = 100 deg
driver {joint}_bend both { reads rotation about z of {joint}   span 0 deg .. {reach} }
"""
USES = 'use "../../library/limb.plica" with { joint = lowerarm }\n'


def preamble(name: str) -> str:
    """The head of a character with its skeleton in the text."""
    return (FILES / "preamble.plica").read_text("utf-8").replace("character wren", f"character {name}")


def put_down(root: Path, characters: dict[str, str], settings: str = "") -> Path:
    """A project in the natural layout: a `plica.toml`, a library, and the characters by name with what their spec says
    beyond its head. Gives its folder."""
    (root / "library").mkdir(parents=True, exist_ok=True)
    (root / "library" / "limb.plica").write_text(LIBRARY, "utf-8")
    (root / "plica.toml").write_text(settings, "utf-8")
    for name, text in characters.items():
        folder = root / "characters" / name
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"{name}.plica").write_text(preamble(name) + text, "utf-8")
    return root
