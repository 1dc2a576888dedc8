"""Where the project of a folder lies; apart, because commands ask it also where there is none."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

FILE: Final = "plica.toml"


def project_root(start: Path) -> Path | None:
    """The nearest folder at or above `start` that has a `plica.toml`; None for none.

    The top of a git repository is the last that is looked at: what lies above it is somebody else's.
    """
    place = Path(os.path.abspath(start))  # noqa: PTH100 - without following links, which `..` may come after
    for folder in (place, *place.parents):
        try:
            if (folder / FILE).is_symlink() or (folder / FILE).exists():
                return folder
            if (folder / ".git").exists():
                return None
        except (OSError, ValueError):
            return None
    return None
