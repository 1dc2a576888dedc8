"""What holds for every test: nothing depends on how fast the machine is, and every run tries the same examples."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, settings

from tests.support.browser import browsers

if TYPE_CHECKING:
    from playwright.sync_api import Browser

# Health checks that measure time would fail on a busy machine; those about the strategies themselves stay.
settings.register_profile(
    "plica",
    max_examples=50,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("plica")


def pytest_collection_finish() -> None:
    """Thousands of tests stay to the end: they are not gone through each time that memory is cleaned up."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session")
def launched() -> Iterator[Callable[..., Browser]]:
    """Starts a browser; all end with the tests."""
    with browsers() as starts:
        yield starts


@pytest.fixture(scope="session")
def browser(launched: Callable[..., Browser]) -> Browser:
    """One browser for all pages."""
    return launched()
