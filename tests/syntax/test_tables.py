"""The shipped tables: made again they are the same, they parse as computed ones, and never hide another grammar."""

from __future__ import annotations

import os
import random
import re
import subprocess
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest
from lark import Lark, TextSlice
from lark import __version__ as lark_version
from lark.exceptions import UnexpectedInput

from plica.syntax import automaton, parser_tables, tables
from plica.syntax.builder import Run
from tests.support.data import ROOT
from tests.support.examples import FILES

SHIPPED = ROOT / "grammar" / tables.FILE
SPECS = sorted([*(ROOT / "specs").rglob("*.plica"), *FILES.rglob("*.plica")])


OWN_LARK = pytest.mark.skipif(
    f'"lark": "{lark_version}"' not in SHIPPED.read_text("utf-8")[:200],
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

    monkeypatch.setattr(parser_tables, "computed", refused)
    assert parser_tables.parser.__wrapped__().rules
    assert automaton._automaton.__wrapped__().read("plica 1", "file", 0, 7) is not None


@pytest.fixture(scope="module")
def computed() -> Lark:
    """A parser that was not made from the shipped tables."""
    return parser_tables.computed()


def outcome(parse: Callable[[str], object], text: str) -> object:
    """What a text gives, or where it is refused and what was expected there."""
    try:
        return parse(text)
    except UnexpectedInput as error:
        return error.token.start_pos, sorted(error.accepts)  # type: ignore[attr-defined]


@pytest.mark.parametrize("spec", SPECS, ids=lambda path: path.stem)
def test_shipped_and_computed_tables_give_the_same_tree(spec: Path, computed: Lark) -> None:
    whole = spec.read_text("utf-8")
    for text in (whole, whole[: len(whole) // 2]):
        by_lark = outcome(partial(computed.parse, start="file"), text)
        assert outcome(partial(parser_tables.parser().parse, start="file"), text) == by_lark
        assert automaton.read(text) == (by_lark if isinstance(by_lark, Run) else None)


def test_the_automaton_reads_what_lark_reads_and_refuses_what_lark_refuses() -> None:
    """Also parts of a text, which are read as they stand in it."""
    chance = random.Random(3)
    whole = (ROOT / "specs" / "wren.plica").read_text("utf-8")
    words = [*whole.split(), "{", "}", "/", '"', "°", "(", ","]
    starts = [found.start() for found in re.finditer(r"^(?=driver|shape|region|expect|each)", whole, re.MULTILINE)]
    seen = {True: 0, False: 0}
    for number in range(300):
        begin, after = starts[number % len(starts)], (*starts, len(whole))[number % len(starts) + 1]
        text = whole[:after]
        for _ in range(number % 4):
            place = chance.randrange(begin, after)
            text = text[:place] + chance.choice([chance.choice(words), ""]) + text[place + chance.randrange(6) :]
        end = chance.choice([len(text), len(text), chance.randrange(begin, len(text))])
        by_lark = outcome(partial(parser_tables.parser().parse, start="declaration"), TextSlice(text, begin, end))
        is_read = not isinstance(by_lark, tuple) or hasattr(by_lark, "_fields")
        assert automaton.read(text, "declaration", begin, end) == (by_lark if is_read else None), text[begin:end]
        seen[is_read] += 1
    assert min(seen.values()) > 50


@pytest.mark.parametrize("held", [None, "{}", '{"grammar": "another one"}'])
def test_without_valid_tables_they_are_computed(held: str | None, monkeypatch: pytest.MonkeyPatch) -> None:
    packaged = tables.packaged
    monkeypatch.setattr(tables, "packaged", lambda file: held if file == tables.FILE else packaged(file))
    tables.shipped_tables.cache_clear()
    text = SPECS[0].read_text("utf-8")
    read = parser_tables.parser().parse(text, start="file")
    assert parser_tables.parser.__wrapped__().parse(text, start="file") == read
    assert automaton._automaton.__wrapped__().read(text, "file", 0, len(text)) == read
    tables.shipped_tables.cache_clear()


def test_another_version_of_lark_computes_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[str] = []
    monkeypatch.setattr(parser_tables, "lark_version", "0.0.1")
    monkeypatch.setattr(parser_tables, "computed", lambda: made.append("computed"))
    parser_tables.parser.__wrapped__()
    assert made == ["computed"]


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
