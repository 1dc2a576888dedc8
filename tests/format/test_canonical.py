"""The specs that are ours stand in the canonical layout; the hooks that users may take over exist."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import yaml

from plica.commands.arguments import COMMANDS, parser
from plica.diagnostics import Diagnostics
from plica.format import formatted
from plica.source import Source
from tests.support.data import ROOT

OURS = sorted([*(ROOT / "specs").rglob("*.plica"), *(ROOT / "tests" / "start" / "golden").glob("*.plica")])


@pytest.mark.parametrize("spec", OURS, ids=lambda path: path.stem)
def test_our_specs_have_the_canonical_layout(spec: Path) -> None:
    text = spec.read_text("utf-8")
    assert formatted(Source(spec.name, text), Diagnostics()) == text


def test_the_demos_spec_stays_short() -> None:
    assert len((ROOT / "specs" / "wren.plica").read_text("utf-8").splitlines()) < 150


def test_the_hooks_call_commands_that_exist() -> None:
    """Fields and their meaning: pre-commit's documentation, "Creating new hooks" (from memory)."""
    hooks = yaml.safe_load((ROOT / ".pre-commit-hooks.yaml").read_text("utf-8"))
    of_files, of_project = ["plica-check", "plica-format"], ["plica-check-project", "plica-build", "plica-prove"]
    assert [hook["id"] for hook in hooks] == [*of_files, *of_project]
    for hook in hooks:
        assert hook["language"] == "python"
        assert hook["name"] and hook["description"]
        program, command, *options = hook["entry"].split()
        assert program == "plica" and command in COMMANDS
        # What depends on a changed file is looked for: models start such a hook, too. One of a project names no files.
        whole = hook["id"] in of_project
        assert hook.get("pass_filenames", True) is not whole
        assert bool(re.search(hook["files"], "specs/wren.glb")) is (hook["id"] != "plica-format")
        parser([command]).parse_args(options if whole else [*options, "wren.plica"])
        assert re.search(hook["files"], "specs/wren.plica")
        assert not re.search(hook["files"], "specs/wren.plica.txt")
