"""Where things are kept for this user that can be made anew at any time."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path


def cache_folder(environment: Mapping[str, str]) -> Path | None:
    """$XDG_CACHE_HOME or ~/.cache (XDG Base Directory Specification), or %LOCALAPPDATA%; in it the folder `plica`.

    None where no home is known. Paths that are not absolute are ignored, as the specification asks for.
    """
    for name in ("XDG_CACHE_HOME", "LOCALAPPDATA"):
        stated = Path(environment.get(name) or ".")
        if stated.is_absolute():
            return stated / "plica"
    try:
        return Path.home() / ".cache" / "plica"
    except RuntimeError:
        return None
