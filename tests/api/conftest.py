"""The demo character's folder, made once."""

from __future__ import annotations

from pathlib import Path

import pytest

from plica.demo import demo_files


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that `plica demo` fills, without what is built from it."""
    folder = tmp_path_factory.mktemp("wren")
    for name, content in demo_files().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return folder
