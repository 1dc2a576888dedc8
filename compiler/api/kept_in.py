"""Where results are kept between runs, as callers say it: True for the user's own folder, False for nowhere."""

from __future__ import annotations

import os
from pathlib import Path

from plica.api.character import FilePath
from plica.prove.cache.disk import DiskCache
from plica.user_cache import cache_folder


def store_in(given: FilePath | bool) -> DiskCache | None:
    """The cache; None for none."""
    if given is False:
        return None
    folder = cache_folder(os.environ) if given is True else Path(given)
    return DiskCache(folder) if folder is not None else None


def place_of(given: FilePath | bool) -> str | bool:
    """The same as plain data, a folder as an absolute path."""
    return given if isinstance(given, bool) else os.path.abspath(given)  # noqa: PTH100 - plain data
