"""Two characters and the library that both use, committed to a repository."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.repositories import git

LIBRARY = """plica 1
parameter joint
driver bend both { reads rotation about x of {joint}   span 0 deg .. 130 deg }
"""
SPEC = """plica 1
character {name} {{
    skeleton {{
        joint hips at 0 m, 0.9 m, 0 m
        joint knee_lf under hips at  10 cm, -40 cm, 0 cm
        joint knee_rt under hips at -10 cm, -40 cm, 0 cm
    }}
    left "*_lf"
    right "*_rt"
}}
use "limb.plica" as knee with {{ joint = knee }}
control mood {{ range 0 .. 1   rest 0 }}
driver frown {{ reads control mood   span 0 .. 1 }}
expect {{ rest }}
"""


@pytest.fixture
def repository(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two characters and the library that both use, committed."""
    monkeypatch.chdir(tmp_path)
    Path("limb.plica").write_text(LIBRARY, "utf-8")
    for name in ("wren", "pip"):
        Path(f"{name}.plica").write_text(SPEC.format(name=name), "utf-8")
    git("init", "--quiet")
    git("add", ".")
    git("commit", "--quiet", "-m", "first")
    return tmp_path


def replaced(file: str, old: str, new: str) -> None:
    """Write another text in the place of one that stands in a file."""
    text = Path(file).read_text("utf-8")
    assert old in text
    Path(file).write_text(text.replace(old, new), "utf-8")
