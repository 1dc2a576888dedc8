"""The demo character's folder, made once."""

from __future__ import annotations

from pathlib import Path

import pytest

from plica.demo import demo_files
from plica.diagnostics import Diagnostics
from plica.emit.writer import write


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that `plica demo` fills, without what is built from it."""
    folder = tmp_path_factory.mktemp("wren")
    write(demo_files(), folder, Diagnostics())
    return folder
