"""Where the cache of a user is."""

from __future__ import annotations

from pathlib import Path

import pytest

from plica.user_cache import cache_folder


def test_where_the_cache_is(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """XDG Base Directory Specification 0.8: $XDG_CACHE_HOME, else $HOME/.cache; relative paths are to be ignored."""
    monkeypatch.setenv("HOME", str(tmp_path))
    assert cache_folder({"XDG_CACHE_HOME": "/var/cache/me"}) == Path("/var/cache/me/plica")
    assert cache_folder({"LOCALAPPDATA": "/local"}) == Path("/local/plica")
    environments: tuple[dict[str, str], ...] = ({}, {"XDG_CACHE_HOME": ""}, {"XDG_CACHE_HOME": "here"})
    for environment in environments:
        assert cache_folder(environment) == tmp_path / ".cache" / "plica"
