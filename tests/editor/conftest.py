"""A language server for each file of tests."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.support.editor_client import Client


@pytest.fixture(scope="module")
def client() -> Iterator[Client]:
    with Client() as started:
        yield started
    assert started.process.returncode == 0
