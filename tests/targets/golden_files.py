"""Comparing what a target emits with files that are kept; PLICA_GOLDEN=write writes them anew."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path


def check_golden(files: Mapping[str, bytes], folder: Path) -> None:
    """Asserts that the folder holds exactly these files with exactly these bytes."""
    if os.environ.get("PLICA_GOLDEN") == "write":
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in files.items():
            (folder / name).write_bytes(content)
    kept = {path.name: path.read_bytes() for path in sorted(folder.iterdir())}
    assert sorted(kept) == sorted(files)
    for name, content in files.items():
        assert content.decode("utf-8").splitlines() == kept[name].decode("utf-8").splitlines(), name
        assert content == kept[name]
