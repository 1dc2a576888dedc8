"""How a text that asks for a huge amount of work is written and taken in: each is a folder of files."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

Files = dict[str, str]

HEAD = """plica 1
character bomb {
    skeleton {
        joint root at 0 m, 0 m, 0 m
        joint arm_lf under root at 1 m, 0 m, 0 m
        joint arm_rt under root at -1 m, 0 m, 0 m
    }
    symmetry across x
    left "*_lf"
    right "*_rt"
}
"""
DRIVER = "driver {name} both {{ reads bend of {joint} span 0 deg .. 90 deg }}\n"
BOMBS: dict[str, Callable[[], Files]] = {}


def bomb(make: Callable[[], Files | str]) -> Callable[[], Files | str]:
    """Take a bomb in: a function that gives files, or what stands after the character."""

    def files() -> Files:
        made = make()
        return {"spec.plica": HEAD + made} if isinstance(made, str) else made

    BOMBS[make.__name__] = files
    return make


def written(name: str, folder: Path) -> Path:
    """Write a bomb's files; the spec to compile."""
    for file, text in BOMBS[name]().items():
        (folder / file).write_text(text, "utf-8")
    return folder / "spec.plica"


def driver(name: str, joint: str = "arm") -> str:
    """A driver of that name."""
    return DRIVER.format(name=name, joint=joint)


def nested(count: int, ranges: str, inside: str) -> str:
    """So many rounds within each other, each over the same values."""
    return "".join(f"each v{index} in {ranges} {{ " for index in range(count)) + inside + "}" * count + "\n"
