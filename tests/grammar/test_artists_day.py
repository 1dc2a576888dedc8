"""Every command of the page about a sculpting day runs, in its order, on the demo character."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.data import ROOT
from tests.support.page import Page


def test_the_day(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    assert Page(ROOT / "grammar" / "artists_day.md", monkeypatch.chdir).run() == 5
