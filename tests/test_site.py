"""The documentation as a site: made from the pages, every link leading somewhere, searchable."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.data import ROOT

pytest.importorskip("mkdocs", reason="MkDocs is not installed")


def test_the_site_is_made_and_searchable(tmp_path: Path) -> None:
    words = [sys.executable, str(ROOT / ".site" / "make"), str(tmp_path)]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Ten minutes" in (tmp_path / "index.html").read_text("utf-8")
    assert (tmp_path / "specs" / "wren.png").is_file()
    found = json.loads((tmp_path / "search" / "search_index.json").read_text("utf-8"))["docs"]
    places = {entry["location"].split("#")[0] for entry in found}
    assert {"grammar/reference.html", "specs/recipes/own_target.html", "targets/json/index.html"} <= places
