"""What a `plica.toml` may say, and what is told of each mistake in it."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from plica import limits
from plica.diagnostics import Diagnostic, Diagnostics
from plica.project.places import Places
from plica.project.reading import project_of, read_project
from plica.project.root import project_root
from plica.project.settings import SETTINGS, Project, schema
from plica.source import Source
from tests.support.data import ROOT

EVERYTHING = """
plica = 1
characters = ["characters/*/*.plica"]
libraries = ["library/*.plica"]
folders = ["library", "shared"]
clips = ["clips/*.bvh"]
out = "made"
accepted-changes = "accepted.toml"
[targets.json]
[targets.masks]
size = 512
still = ["nose=1", "brow=0.5"]
[[accept]]
finding = "unused-name"
because = "for a later shot"
within = ["characters/wren/**"]
"""


@pytest.fixture
def root(tmp_path: Path) -> Path:
    for folder in ("library", "shared", "clips"):
        (tmp_path / folder).mkdir()
    (tmp_path / "accepted.toml").touch()
    (tmp_path / "outside").symlink_to("/", target_is_directory=True)
    return tmp_path


def read(text: str, root: Path) -> tuple[Project | None, tuple[Diagnostic, ...]]:
    diagnostics = Diagnostics()
    return project_of(text, root, "plica.toml", diagnostics), diagnostics.all


def test_every_setting_is_read(root: Path) -> None:
    project, found = read(EVERYTHING, root)
    assert found == () and project is not None
    assert [pattern.text for pattern in project.characters] == ["characters/*/*.plica"]
    assert project.folders == (root / "library", root / "shared")
    assert project.targets == {"json": {}, "masks": {"size": ["512"], "still": ["nose=1", "brow=0.5"]}}
    assert project.out == root / "made" and project.accepted_changes == root / "accepted.toml"
    (accept,) = project.accepts
    assert (accept.finding, accept.because, accept.within) == (
        "unused-name",
        "for a later shot",
        ("characters/wren/**",),
    )


def test_an_empty_file_is_the_natural_layout(root: Path) -> None:
    project, found = read("", root)
    assert found == () and project is not None
    assert project.folders == (root / "library",) and list(project.targets) == ["json", "python"]


# The mistake, its rule, the text that is underlined, and what the hint names.
MISTAKES = [
    ('charcters = ["a"]', "unknown-setting", "charcters", "`characters`"),
    ("characters = 'a'", "wrong-setting", "'a'", ""),
    ("characters = [1]", "wrong-setting", "1", ""),
    ("plica = 2", "newer-project", "2", "newer Plica"),
    ("plica = true", "wrong-setting", "true", ""),
    ('folders = [\n  "library",\n  "../more",\n]', "outside-project", '"../more"', "--allow"),
    ('folders = ["/etc"]', "outside-project", '"/etc"', "--allow"),
    ('folders = ["C:/etc"]', "outside-project", '"C:/etc"', "--allow"),
    ('folders = ["outside"]', "outside-project", '"outside"', "--allow"),
    ('folders = ["outside/etc"]', "outside-project", '"outside/etc"', "--allow"),
    ('characters = ["a/../../b/*.plica"]', "outside-project", '"a/../../b/*.plica"', "--allow"),
    ('out = "outside/tmp"', "outside-project", '"outside/tmp"', "--allow"),
    ('out = ".git/hooks"', "unusable-path", '".git/hooks"', ""),
    ('accepted-changes = "outside/etc/passwd"', "outside-project", '"outside/etc/passwd"', "--allow"),
    ('accepted-changes = "acepted.toml"', "missing-in-project", '"acepted.toml"', "`accepted.toml`"),
    ('folders = ["libary"]', "missing-in-project", '"libary"', "`library`"),
    ('characters = ["a\\\\b"]', "unusable-path", '"a\\\\b"', ""),
    ('characters = [""]', "unusable-path", '""', ""),
    ("targets = 1", "wrong-setting", "1", ""),
    ("[targets]\njson = 'x'", "wrong-setting", "'x'", ""),
    ("[targets.masks]\nsize = 1979-05-27", "wrong-setting", "1979-05-27", ""),
    ("accept = 'x'", "wrong-setting", "'x'", ""),
    ("[[accept]]\nfinding = 'unused-nam'\nbecause = 'x'", "unknown-finding", "'unused-nam'", "`unused-name`"),
    ("[[accept]]\nfinding = 'unknown-joint'\nbecause = 'x'", "unknown-finding", "'unknown-joint'", ""),
    ("[[accept]]\nfinding = 'unused-name'", "incomplete-acceptance", "accept", "because"),
    ("[[accept]]\nfinding = 'unused-name'\nbecause = ' '", "wrong-setting", "' '", ""),
    ("[[accept]]\nfinding = 'unused-name'\nbecause = 'x'\nwithn = []", "unknown-setting", "withn", "`within`"),
    ("characters = [", "unreadable-project", "", "TOML"),
    ("a = = 1", "unreadable-project", "", "TOML"),
    ("a = 1\na = 2", "unreadable-project", "", "TOML"),
    ("a = " + "[" * 5000, "unreadable-project", "", "TOML"),
    (".".join("a" * 100) + " = 1", "unreadable-project", "", "TOML"),
    ("a = " + "9" * 5000, "unreadable-project", "", "TOML"),
]


@pytest.mark.parametrize(("text", "rule", "underlined", "hint"), MISTAKES, ids=[one[0][:40] for one in MISTAKES])
def test_each_mistake_is_told_at_its_place(text: str, rule: str, underlined: str, hint: str, root: Path) -> None:
    project, found = read(text, root)
    assert project is None
    assert rule in [one.name for one in found]
    one = next(one for one in found if one.name == rule)
    assert one.span is not None
    assert one.span.source.text[one.span.start : one.span.end].startswith(underlined)
    assert hint in (one.hint or "")


def test_several_mistakes_are_told_in_one_run(root: Path) -> None:
    _, found = read('charcters = []\nfolders = ["/a", "/b"]\nout = 3\n', root)
    assert [one.name for one in found] == ["unknown-setting", "outside-project", "outside-project", "wrong-setting"]


def test_a_file_that_leads_outside_is_not_read(tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere.toml"
    elsewhere.write_text('characters = ["secret"]', "utf-8")
    (tmp_path / "project").mkdir()
    (tmp_path / "project" / "plica.toml").symlink_to(elsewhere)
    diagnostics = Diagnostics()
    assert read_project(tmp_path / "project", "plica.toml", diagnostics) is None
    assert [one.name for one in diagnostics.all] == ["file-outside"]
    assert "secret" not in str(diagnostics.all)


def test_a_huge_file_is_refused_unread(tmp_path: Path) -> None:
    with (tmp_path / "plica.toml").open("wb") as file:
        file.truncate(limits.Limits().project_bytes + 1)
    diagnostics = Diagnostics()
    assert read_project(tmp_path, "plica.toml", diagnostics) is None
    assert [one.name for one in diagnostics.all] == ["file-too-large"]


def test_the_search_ends_at_the_top_of_a_repository(tmp_path: Path) -> None:
    inner = tmp_path / "repository" / "characters"
    inner.mkdir(parents=True)
    (tmp_path / "plica.toml").touch()
    assert project_root(inner) == tmp_path
    (tmp_path / "repository" / ".git").mkdir()
    assert project_root(inner) is None
    (tmp_path / "repository" / "plica.toml").touch()
    assert project_root(inner) == tmp_path / "repository"
    assert project_root(inner / ".." / "characters") == tmp_path / "repository"


TEXTS = [
    EVERYTHING,
    'x.y = { a = 1.5, "b c" = [1, {z = 2}] }',
    "[a]\nb = 1\n[a.c]\nd = 07:32:00\n[[a.e]]\nf = 1\n[[a.e]]\nf = 2\n[a.e.g]\nh = 1979-05-27 07:32:00",
    'a = """x\n"y" \\"""" # no\nb = \'\'\'it\'s\n\'\'\'\n"q\\u0041" = +inf',
]


@pytest.mark.parametrize("text", TEXTS)
def test_every_value_has_a_place_that_holds_it(text: str) -> None:
    """Each place, read alone by Python's reader, gives the value that this reader gives for the whole text."""
    places = Places(Source("plica.toml", text))

    def compare(value: Any, way: tuple[str | int, ...]) -> None:
        if isinstance(value, dict):
            for key, inner in value.items():
                assert places.of_key((*way, key)) is not None
                compare(inner, (*way, key))
        elif isinstance(value, list) and any(isinstance(one, dict) for one in value):
            for index, inner in enumerate(value):
                compare(inner, (*way, index))
        else:
            span = places.of_value(way)
            assert span is not None
            assert tomllib.loads(f"value = {text[span.start : span.end]}")["value"] == value

    compare(tomllib.loads(text), ())


@pytest.mark.parametrize(
    "text", ["a", "= =", "[", "[[", "a=[", "a={", '"', 'a="""', "\x00", "]", ",", "a=[,]", "{}" * 9]
)
def test_places_of_a_text_that_is_no_toml_end_too(text: str) -> None:
    Places(Source("plica.toml", text))


def test_the_schema_that_is_shipped_is_that_of_the_settings() -> None:
    """`python -m plica.project.settings grammar/project.schema.json` writes it anew."""
    assert json.loads((ROOT / "grammar" / "project.schema.json").read_text("utf-8")) == schema()
    Draft202012Validator.check_schema(schema())


def test_the_schema_and_the_reader_agree(root: Path) -> None:
    """The schema knows forms and no files: what is wrong with a path or a rule only the reader tells."""
    validator = Draft202012Validator(schema())
    assert validator.is_valid(tomllib.loads(EVERYTHING)) and validator.is_valid({})
    forms = {"unknown-setting", "wrong-setting", "newer-project", "incomplete-acceptance"}
    for text, rule, _, _ in MISTAKES:
        if rule in forms and "1979" not in text and "' '" not in text:  # JSON has no dates
            assert not validator.is_valid(tomllib.loads(text)), text


def test_the_page_names_every_setting() -> None:
    page = (ROOT / "grammar" / "projects.md").read_text("utf-8")
    assert [setting.name for setting in SETTINGS if f"| `{setting.name}` |" not in page] == []
