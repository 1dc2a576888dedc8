"""A real browser that shows a page: Chromium, driven by playwright; tests skip, saying so, where either is missing."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
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
def browsers() -> Iterator[Callable[..., Browser]]:
    """Starts browsers without a window, with further flags; they end with the block. Skips where anything is missing.

    Only one such block can be open in a process: tests take the fixture `launched`.
    """
    sync_api: Any = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    program = chromium()
    with sync_api.sync_playwright() as playwright:
        running = []

        def launched(*flags: str) -> Browser:
            running.append(playwright.chromium.launch(executable_path=program, args=[*FLAGS, *flags]))
            return running[-1]

        try:
            yield launched
        finally:
            for browser in running:
                browser.close()
