"""The catalogue's examples as files that compile.

Most examples are a few declarations. They stand after the lines of `preamble.plica`, which describe a small
character; one that brings its own character stands after the version line alone; one that begins with `plica` is a
whole file.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

from plica.diagnostics import Diagnostic
from plica.pipeline import compile_file
from tests.support.data import ROOT

FILES = ROOT / "tests" / "diagnostics" / "files"


def whole_text(example: str) -> str:
    """The file that an example is part of."""
    if example.startswith("plica"):
        return example + "\n"
    if re.search(r"^character\b", example, re.MULTILINE):
        return f"plica 1\n{example}\n"
    return (FILES / "preamble.plica").read_text("utf-8") + example + "\n"


def compile_example(example: str, folder: Path) -> tuple[Diagnostic, ...]:
    """What compiling an example finds, beside copies of the files that examples may name."""
    shutil.copytree(FILES, folder, dirs_exist_ok=True)
    spec = folder / "example.plica"
    spec.write_text(whole_text(example), "utf-8", newline="")
    return compile_file(spec).diagnostics
