"""Where tests find the open data sets that are too large to live in the repository."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SMALL_DATA = ROOT / "tests" / "data"


def data_folder() -> Path:
    """The folder of the shared data sets; it may not exist."""
    return Path(os.environ.get("PLICA_DATA") or ROOT.parent / "shared" / "data")


def shared_data(*parts: str) -> Path:
    """A file or folder of the shared data; skips the test, saying so, where it is absent."""
    path = data_folder().joinpath(*parts)
    if not path.exists():
        pytest.skip(f"the shared data is not here: {'/'.join(parts)} (set PLICA_DATA to its folder)")
    return path
