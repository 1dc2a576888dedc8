"""A real browser that shows a page: Chromium, driven by playwright; tests skip, saying so, where either is missing."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser

# Pictures by the processor, so that a machine without a graphics card shows the same page.
FLAGS = ("--use-angle=swiftshader-webgl", "--enable-unsafe-swiftshader", "--ignore-gpu-blocklist")


def chromium() -> str:
    """The browser's program: $PLICA_CHROMIUM, or one on the path. Skips where there is none."""
    names = (os.environ.get("PLICA_CHROMIUM"), "chromium", "chromium-browser")
    for name in names:
        if name and (found := shutil.which(name)):
            return found
    pytest.skip("there is no Chromium here; PLICA_CHROMIUM may name one")


@contextmanager
def running_browser(*flags: str) -> Iterator[Browser]:
    """The browser without a window, as long as the block runs. Skips where it or playwright is missing."""
    sync_api: Any = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    program = chromium()
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=[*FLAGS, *flags])
        try:
            yield browser
        finally:
            browser.close()
