"""The shipped tables: made again they are the same, they parse as computed ones, and never hide another grammar."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from lark import __version__ as lark_version
from lark.exceptions import UnexpectedInput

from plica.syntax import parser_tables as tables
from plica.syntax import shipped
from tests.support.data import ROOT
from tests.support.examples import FILES

SHIPPED = ROOT / "grammar" / shipped.FILE
SPECS = sorted([*(ROOT / "specs").rglob("*.plica"), *FILES.rglob("*.plica")])


OWN_LARK = pytest.mark.skipif(
    f'lark {lark_version}"' not in SHIPPED.read_text("utf-8")[:200],
    reason="the tables were made with another version of Lark than the one at hand, so they are computed here",
)


@OWN_LARK
def test_tables_made_again_are_those_that_are_shipped(tmp_path: Path) -> None:
    """In a process with other hashes, because sets must not show. Else: `python -m plica.syntax.shipped FILE`."""
    made = tmp_path / "tables.json"
    environment = {**os.environ, "PYTHONHASHSEED": "7"}
    subprocess.run([sys.executable, "-m", "plica.syntax.shipped", str(made)], env=environment, check=True)
    assert made.read_text("utf-8") == SHIPPED.read_text("utf-8")


@OWN_LARK
def test_the_shipped_tables_are_used(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused() -> None:
        pytest.fail("the tables were computed")

    monkeypatch.setattr(tables, "computed", refused)
    assert tables.parser.__wrapped__().rules


@pytest.mark.parametrize("spec", SPECS, ids=lambda path: path.stem)
def test_shipped_and_computed_tables_give_the_same_tree(spec: Path) -> None:
    text = spec.read_text("utf-8")
    computed = tables.computed()
    assert tables.parser().parse(text, start="file") == computed.parse(text, start="file")
    cut = text[: len(text) // 2]
    outcomes = []
    for parser in (tables.parser(), computed):
        try:
            outcomes.append(parser.parse(cut, start="file"))
        except UnexpectedInput as error:
            outcomes.append((error.token.start_pos, sorted(error.accepts)))  # type: ignore[attr-defined]
    assert outcomes[0] == outcomes[1]


@pytest.mark.parametrize("held", [None, "{}", '{"seal": "that of another grammar or of another Lark"}'])
def test_without_valid_tables_they_are_computed(held: str | None, monkeypatch: pytest.MonkeyPatch) -> None:
    packaged = tables._packaged
    monkeypatch.setattr(tables, "_packaged", lambda file: held if file == shipped.FILE else packaged(file))
    text = SPECS[0].read_text("utf-8")
    assert tables.parser.__wrapped__().parse(text, start="file") == tables.parser().parse(text, start="file")


def test_another_version_of_lark_computes_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    ours = shipped.seal(tables.grammar_text())
    monkeypatch.setattr(shipped, "lark_version", "0.0.1")
    assert shipped.seal(tables.grammar_text()) != ours


def test_nothing_is_unpickled_by_a_check(tmp_path: Path) -> None:
    """Not even from the folder where the tables were once kept."""
    code = """
import pickle, sys
def refuse(*_, **__):
    raise AssertionError("something was unpickled")
pickle.load = pickle.loads = pickle.Unpickler = refuse
from plica.commands import main
assert main.run(["check", sys.argv[1]]) == 0
"""
    environment = {**os.environ, "XDG_CACHE_HOME": str(tmp_path)}
    spec = FILES / "preamble.plica"
    subprocess.run([sys.executable, "-c", code, str(spec)], env=environment, check=True, capture_output=True)
    assert list(tmp_path.iterdir()) == []
