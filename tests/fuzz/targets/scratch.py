"""A folder for the files that one process of the harness hands to readers."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from functools import cache
from pathlib import Path


@cache
def scratch(name: str) -> Path:
    """A folder of this process's own, gone when it ends."""
    folder = Path(tempfile.mkdtemp(prefix=f"plica-{name}-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


def written(name: str, data: bytes) -> Path:
    """The bytes as a file of this name, alone in a folder."""
    path = scratch(name.replace(".", "-")) / name
    path.write_bytes(data)
    return path
