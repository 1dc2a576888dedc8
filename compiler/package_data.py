"""Files that stand in packages beside their modules."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType
from typing import Any


def content(package: ModuleType, name: str) -> bytes | None:
    """The bytes of a file in a package's own folder, also in an archive; None where there is no such file."""
    # The loader's own method, since importlib.resources and pkgutil take as long to load as a small spec to parse.
    loader: Any = package.__loader__
    try:
        data: bytes = loader.get_data(str(Path(str(package.__file__)).with_name(name)))
    except OSError:
        return None
    return data
