"""The lists of files in DEVELOPERS.md: what is listed exists, and a file that tells all kinds apart is listed."""

from __future__ import annotations

import ast
import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import get_args

import pytest

from plica.kinds.combinations import COMBINATION_KINDS
from plica.kinds.expectations import EXPECTATION_KINDS
from plica.kinds.kernels import KERNEL_KINDS
from plica.rig.surfaces import RegionSource
from plica.values import Curve
from tests.support.data import ROOT

PAGE = (ROOT / "DEVELOPERS.md").read_text("utf-8")
FOLDERS = ("compiler", "targets")
# Of each row of the table, the names that a file which handles every kind has to hold.
KINDS: Mapping[str, frozenset[str]] = {
    "expectation": frozenset(EXPECTATION_KINDS),
    "curve": frozenset(record.__name__ for record in get_args(Curve)),
    "kernel": frozenset(KERNEL_KINDS),
    "combination": frozenset(COMBINATION_KINDS),
    "source of a region": frozenset(record.__name__ for record in get_args(RegionSource)),
}


def listed(row: str) -> set[str]:
    """The Python files that a row names, from the root."""
    (text,) = re.findall(rf"^\| {row} \| (.*) \|$", PAGE, re.MULTILINE)
    return {_place(name) for name in re.findall(r"`([\w/]+\.py)`", text)}


def _place(name: str) -> str:
    return name if name.startswith("targets/") else f"compiler/{name}"


@cache
def names_in(path: Path) -> frozenset[str]:
    """The names that a file imports or defines, and its strings."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ClassDef):
            names.add(node.name)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            names.add(node.value)
    return frozenset(names)


@pytest.mark.parametrize("row", KINDS)
def test_files_that_name_every_kind_are_listed(row: str) -> None:
    files = [path for folder in FOLDERS for path in (ROOT / folder).rglob("*.py")]
    naming = {path.relative_to(ROOT).as_posix() for path in files if KINDS[row] <= names_in(path)}
    assert naming and naming <= listed(row)


@pytest.mark.parametrize("row", KINDS)
def test_listed_files_exist_and_records_name_every_kind(row: str) -> None:
    for name in listed(row):
        assert (ROOT / name).is_file(), name
        if Path(name).parent.name in ("kinds", "evaluate"):
            assert KINDS[row] <= names_in(ROOT / name), name


def test_every_file_that_the_page_names_exists() -> None:
    """Files stand there with the end of their path: `judge.py`, `execution/work.py`."""
    files = [path for folder in (*FOLDERS, "specs", "tests") for path in (ROOT / folder).rglob("*.py")]
    ends = ["/" + path.relative_to(ROOT).as_posix() for path in files]
    for name in set(re.findall(r"`([\w/]+\.py)`", PAGE)):
        assert any(end.endswith("/" + name.removeprefix("plica/")) for end in ends), name
