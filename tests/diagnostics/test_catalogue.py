"""The catalogue is complete, and what it says is true."""

from __future__ import annotations

import ast
import os
import re
import string
from collections.abc import Iterator
from pathlib import Path

import pytest

from plica.diagnostics import Severity
from plica.diagnostics.catalogue import Rule, find_rule, rule, rules
from plica.diagnostics.reference import reference
from plica.workspace import Refused
from tests.support.data import ROOT
from tests.support.examples import compile_example

PAGE = ROOT / "grammar" / "diagnostics.md"

# Rules that no short text makes compiling report, and where they are tested.
WITHOUT_EXAMPLE = {
    "nested-too-deeply": "the text is too long to print; tests/syntax",
    "more-mistakes": "the text is too long to print; tests/syntax",
    "layout-differs": "about a layout, which compiling does not look at; tests/commands",
    "unreadable-file": "about the file itself; tests/commands",
    "file-too-large": "about the file itself; tests/commands",
    **dict.fromkeys(
        (
            "stance-unknown",
            "uneven-stance",
            "bind-pose-unusable",
            "reading-through-unbound",
            "far-from-bind-pose",
            "unlikely-size",
        ),
        "about a model that is made so; tests/spec/test_stance.py",
    ),
    "model-without-joints": "about a model that a first spec is made for; tests/start",
    "model-without-skin": "about a model that a first spec is made for; tests/start",
    "over-limit": "the text is too long to print; tests/spec",
    "scale-from-nothing": "a text declares joints without scales; tests/outside",
    "scale-mirrored-askew": "the joints of the examples mirror each other's axes; tests/rig",
    "skinning-contradicts-model": "models of glTF cannot say it; tests/spec",
    "skinning-differs": "models of glTF cannot say it; tests/spec",
    "unit-contradicts-model": "models of glTF cannot say it; tests/spec",
    "internal-error": "not caused by a text; tests/commands",
}
# What is no text's: outputs, projects, targets, clips and what is computed on the mesh.
LATER = re.compile(r"PL(5[678]\d|[678]\d\d|9[134]\d)")


def python_files() -> list[Path]:
    return sorted([*(ROOT / "compiler").rglob("*.py"), *(ROOT / "targets").rglob("*.py")])


Nodes = list[tuple[Path, ast.Call | ast.Constant]]


@pytest.fixture(scope="module")
def nodes() -> Nodes:
    """Calls and constants of all modules, and where they stand."""
    return [
        (path, node)
        for path in python_files()
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Call | ast.Constant)
    ]


def added_names(nodes: Nodes) -> Iterator[tuple[str, str]]:
    """The texts given directly as the first argument of a call of `add` or of `Refused`, and where."""
    for path, node in nodes:
        if not (isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant)):
            continue
        function = node.func
        called = function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")
        if called in ("add", Refused.__name__) and isinstance(node.args[0].value, str):
            yield node.args[0].value, f"{path.relative_to(ROOT)}:{node.lineno}"


def test_codes_are_unique_and_well_formed() -> None:
    codes = [entry.code for entry in rules().values()]
    assert len(set(codes)) == len(codes)
    assert all(re.fullmatch(r"PL[1-9]\d\d", code) for code in codes)
    assert codes == sorted(codes)


def test_every_name_used_in_the_code_is_in_the_catalogue(nodes: Nodes) -> None:
    used = {name: place for name, place in added_names(nodes) if "-" in name}
    assert len(used) > 50
    missing = {name: place for name, place in used.items() if name not in rules()}
    assert missing == {}


def fields_of(template: str) -> set[str]:
    return {field for _, field, _, _ in string.Formatter().parse(template) if field is not None}


def test_every_use_fills_all_that_its_texts_leave_open(nodes: Nodes) -> None:
    """Calls with a name written out and without `**values`. A `hint=` may turn out None, so it excuses nothing."""
    lacking, checked = [], 0
    for path, node in nodes:
        if not (isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "add" and node.args):
            continue
        name = node.args[0].value if isinstance(node.args[0], ast.Constant) else None
        given = {keyword.arg for keyword in node.keywords}
        if name not in rules() or None in given:
            continue
        entry = rules()[name]
        wanted = fields_of(entry.message) | fields_of(entry.hint)
        checked += 1
        if not wanted <= given:
            lacking.append(f"{path.relative_to(ROOT)}:{node.lineno} {name}: {sorted(wanted - given)}")
    assert checked > 50
    assert lacking == []


def test_every_entry_is_used(nodes: Nodes) -> None:
    """Names reach `found.add` through variables and tables too, so any text that is a rule's name counts as a use."""
    used = {node.value for _, node in nodes if isinstance(node, ast.Constant)}
    assert sorted(set(rules()) - used) == []


def test_one_rule_read_alone_is_the_same_as_among_all() -> None:
    for name, entry in rules().items():
        assert rule(name) == entry
    with pytest.raises(KeyError):
        rule("no-such-rule")


def test_rules_are_found_by_code_and_name_in_any_case() -> None:
    assert find_rule("pl101") == find_rule(" Unexpected-Text ") == rule("unexpected-text")
    assert find_rule("PL000") is None


@pytest.mark.parametrize("entry", rules().values(), ids=lambda entry: entry.name)
def test_each_entry_is_well_formed(entry: Rule) -> None:
    assert re.fullmatch(r"[a-z]+(-[a-z]+)*", entry.name)
    assert entry.severity in [severity.value for severity in Severity]
    for template in (entry.message, entry.hint):
        assert all(field.isidentifier() for field in fields_of(template)), "write braces of the language as {{ and }}"
        assert not template.endswith((".", "!")), "messages and hints are no sentences with a full stop"
        assert template == template.strip()
    sentences = re.findall(r"[.!?](?=\s|$)", entry.explanation)
    assert len(sentences) >= 2, "say what it means and how to mend it"
    assert bool(entry.example) == bool(entry.corrected)
    assert entry.example or entry.name in WITHOUT_EXAMPLE or LATER.fullmatch(entry.code)


WITH_EXAMPLE = [entry for entry in rules().values() if entry.example]


@pytest.mark.parametrize("entry", WITH_EXAMPLE, ids=lambda entry: entry.name)
def test_each_example_causes_its_diagnostic(entry: Rule, tmp_path: Path) -> None:
    result = compile_example(entry.example, tmp_path)
    assert entry.name in [diagnostic.name for diagnostic in result]
    assert {diagnostic.severity.value for diagnostic in result if diagnostic.name == entry.name} == {entry.severity}


@pytest.mark.parametrize("entry", WITH_EXAMPLE, ids=lambda entry: entry.name)
def test_each_correction_is_right(entry: Rule, tmp_path: Path) -> None:
    result = compile_example(entry.corrected, tmp_path)
    assert [one.message for one in result if one.severity is Severity.ERROR or one.name == entry.name] == []


def test_the_page_of_the_language_reference_is_current() -> None:
    """PLICA_UPDATE_GOLDEN=1 writes it anew."""
    page = reference(rules().values())
    if os.environ.get("PLICA_UPDATE_GOLDEN") == "1":
        PAGE.write_bytes(page.encode())
    assert PAGE.read_bytes().decode() == page
