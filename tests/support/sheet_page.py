"""Sheets of characters in a real browser, and what their pages say of themselves."""

from __future__ import annotations

import base64
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from plica.mesh.arrays import Floats

if TYPE_CHECKING:
    from playwright.sync_api import Browser, ConsoleMessage, Page

# Numbers come out of a page as text; a list of a hundred thousand takes seconds.
_PACKED = """(values) => {
  const bytes = new Uint8Array(values.buffer, values.byteOffset, values.byteLength);
  let text = "";
  for (let i = 0; i < bytes.length; i += 32768) text += String.fromCharCode(...bytes.subarray(i, i + 32768));
  return btoa(text);
}"""

_PICTURE = """() => {
  sheet.draw();
  const { gl } = sheet.stage, { width, height } = gl.canvas, pixels = new Uint8Array(4 * width * height);
  gl.readPixels(0, 0, width, height, gl.RGBA, gl.UNSIGNED_BYTE, pixels);
  let digest = 0;
  for (const value of pixels) digest = (31 * digest + value) | 0;
  return `${width} ${height} ${digest}`;
}"""


@dataclass
class OpenPage:
    """A page that is open in a browser, what it complained of and what it asked others for."""

    tab: Page
    problems: list[str]
    requests: list[str]

    def says(self, script: str, given: object = None) -> Any:
        """What a function of JavaScript gives in the page."""
        return self.tab.evaluate(script, given)

    def settled(self) -> None:
        """Two frames later."""
        self.says("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")

    def picture(self) -> str:
        """A digest of what is drawn now."""
        return str(self.says(_PICTURE))

    def numbers(self, script: str) -> Floats:
        """An array of single precision that an expression gives."""
        packed = self.says(f"() => ({_PACKED})({script})")
        return np.frombuffer(base64.b64decode(packed), dtype=np.float32).astype(np.float64)


def _is_wrong(said: ConsoleMessage) -> bool:
    """Errors; what the graphics card refuses comes as a warning."""
    return said.type == "error" or "GL_INVALID" in said.text


@contextmanager
def opened(browser: Browser, file: Path, **context: Any) -> Iterator[OpenPage]:
    """A page from disk, ready or failed."""
    shown = browser.new_context(**{"viewport": {"width": 640, "height": 420}, **context})
    try:
        tab = shown.new_page()
        page = OpenPage(tab, [], [])
        tab.on("pageerror", lambda error: page.problems.append(str(error)))
        tab.on("console", lambda said: page.problems.append(said.text) if _is_wrong(said) else None)
        tab.on("request", lambda asked: page.requests.append(asked.url))
        tab.goto(file.as_uri())
        tab.wait_for_selector("body[data-ready]", timeout=120_000)
        yield page
    finally:
        shown.close()
