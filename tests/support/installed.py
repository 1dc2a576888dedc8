"""The installing script of a character, built and loaded, and sculpts to install."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np

import plica
from plica.mesh.npz import written
from tests.support.cloth import COUNT


def sculpt(seed: int, count: int, height: float = 0.1, total: int = COUNT) -> bytes:
    """Some moves of some vertices."""
    random = np.random.default_rng(seed)
    rows = np.sort(random.choice(total, count, replace=False)).astype("<i4")
    moves = random.uniform(-height, height, (count, 3)).astype("<f4")
    return written({"indices": rows, "offsets": moves, "vertex_count": np.array(total)})


def loaded(folder: Path, name: str) -> ModuleType:
    """A generated file, executed as an import would."""
    module = ModuleType(name)
    module.__file__ = str(folder / f"{name}.py")
    exec(compile((folder / f"{name}.py").read_text("ascii"), module.__file__, "exec"), module.__dict__)
    return module


def put_out(spec: Path) -> tuple[Any, Path]:
    """A character, and the folder that its target `python` was built to."""
    character = plica.compile_file(spec)
    assert character.ok, character.diagnostics
    out = spec.parent / "out"
    out.mkdir()
    built = plica.build_files(character, ["python"])
    assert f"{character.name}_install.py" in built.files, built.diagnostics
    for name, content in built.files.items():
        (out / name).write_bytes(content)
    return character, out
