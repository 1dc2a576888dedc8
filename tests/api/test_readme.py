"""Every example of compiler/README.md runs, in the demo's folder, and prints what the page says."""

from __future__ import annotations

import contextlib
import io
import re
from pathlib import Path

import pytest

import plica
from tests.support.data import ROOT

PAGE = ROOT / "compiler" / "README.md"
BLOCK = re.compile(r"```python\n(?P<code>.*?)```\n\n```\n(?P<output>.*?)```\n", re.DOTALL)


def test_the_examples_print_what_the_page_says(demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(demo)
    monkeypatch.setenv("XDG_CACHE_HOME", str(demo / "cache"))
    names: dict[str, object] = {}
    for block in BLOCK.finditer(PAGE.read_text("utf-8")):
        printed = io.StringIO()
        with contextlib.redirect_stdout(printed):
            exec(block["code"], names)
        assert printed.getvalue().rstrip() == block["output"].rstrip(), block["code"]


def test_no_example_is_left_out() -> None:
    text = PAGE.read_text("utf-8")
    assert text.count("```python") == len(BLOCK.findall(text)) > 5
    assert text.count("```") == 4 * len(BLOCK.findall(text))


def test_the_page_names_everything() -> None:
    table = PAGE.read_text("utf-8").split("## All names")[1]
    functions = {name for name in plica.__all__ if name[0].islower()}
    assert functions == {name for name in re.findall(r"`(\w+)`", table) if name in dir(plica) and name[0].islower()}
