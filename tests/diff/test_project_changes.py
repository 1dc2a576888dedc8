"""What changed in a project's `plica.toml`: each change is an entry of its own, at its line, in every form."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from plica.api.comparing import Comparison, compare_characters
from plica.commands.main import run
from plica.diagnostics.catalogue import rule
from plica.diff.verdicts import Harm
from plica.project.settings import SETTINGS
from tests.support.data import ROOT
from tests.support.post import edited, post
from tests.support.repositories import git

SCHEMA = json.loads((ROOT / "compiler" / "diff" / "diff.schema.json").read_text("utf-8"))
TOML = """# The river post.
characters = ["characters/*.plica"]
folders = ["library"]
clips = ["clips/*.bvh"]

[targets.json]

[targets.masks]
size = 512

[[accept]]
finding = "unused-name"
because = "the tail comes later"
within = ["characters/wren.plica"]
"""
ACCEPT = '\n[[accept]]\nfinding = "unused-strength"\nbecause = "the set reads it"\nwithin = ["characters/m*"]\n'
LAST = 'within = ["characters/wren.plica"]\n'

EDITS = {
    "accept added": (
        (LAST, LAST + ACCEPT),
        "accept unused-strength of the project within characters/m*",
        'finding = "unused-strength"',
        ("NOT REPORTED ANY MORE: PL220", ", in moss and what else", "because: the set reads it"),
        Harm.RISKY,
    ),
    "accept removed": (
        (TOML[TOML.index("[[accept]]") :], ""),
        "accept unused-name of the project within characters/wren.plica",
        'finding = "unused-name"',
        (f"reported again: {rule('unused-name').code}", ", in wren and what else"),
        Harm.SAFE,
    ),
    "accept for all": (
        (LAST, ""),
        "accept unused-name of the project",
        'finding = "unused-name"',
        ("NOT REPORTED ANY MORE", "in every character and library of the project"),
        Harm.RISKY,
    ),
    "another reason": (
        ("comes later", "is drawn"),
        "accept unused-name of the project within characters/wren.plica",
        'finding = "unused-name"',
        ("for another reason: the tail comes later → the tail is drawn",),
        Harm.COSMETIC,
    ),
    "characters leave": (
        ("characters/*.plica", "characters/wren.plica"),
        "setting characters",
        "characters = ",
        ("NO LONGER IN THE PROJECT: dot, moss:", "no longer `characters/*.plica`; now `characters/wren.plica`"),
        Harm.BREAKING,
    ),
    "the same characters": (
        ('["characters/*.plica"]', '["characters/*.plica", "crowd/*.plica"]'),
        "setting characters",
        "characters = ",
        ("now `crowd/*.plica`; every spec that is there now is in the project as before",),
        Harm.SAFE,
    ),
    "libraries": (
        ("folders =", 'libraries = ["library/limb.plica"]\nfolders ='),
        "setting libraries",
        "libraries = ",
        ("no longer `library/**/*.plica`; now `library/limb.plica`",),
        Harm.RISKY,
    ),
    "folders": (
        ('["library"]', '["library", "shared"]'),
        "setting folders",
        "folders = ",
        ("folders that every spec may use files of: now `shared`",),
        Harm.RISKY,
    ),
    "clips": (
        ('clips = ["clips/*.bvh"]\n', ""),
        "setting clips",
        "clips = ",
        ("no longer `clips/*.bvh`",),
        Harm.RISKY,
    ),
    "a target is gone": (
        ("[targets.json]\n", ""),
        "target json",
        "[targets.json]",
        ("NOT BUILT ANY MORE",),
        Harm.BREAKING,
    ),
    "a target is new": (
        ("[targets.json]\n", "[targets.json]\n\n[targets.python]\n"),
        "target python",
        "[targets.python]",
        ("built now",),
        Harm.SAFE,
    ),
    "an option": (("512", "1024"), "target masks", "size = 1024", ("size 512 → 1024",), Harm.RISKY),
    "where builds go": (
        ("clips =", 'out = "made"\nclips ='),
        "setting out",
        "out = ",
        ("the folder that builds go to: build → made",),
        Harm.RISKY,
    ),
    "agreed changes": (
        ("clips =", 'accepted-changes = "agreed.toml"\nclips ='),
        "setting accepted-changes",
        "accepted-changes = ",
        ("takes for agreed to: none → agreed.toml",),
        Harm.RISKY,
    ),
    "a comment": (("# The river post.", "# The post."), "text plica.toml", "# The post.", ("comments",), Harm.COSMETIC),
}


def project(folder: Path, text: str = TOML) -> Path:
    post(folder)
    (folder / "shared").mkdir()
    (folder / "shared" / "held.txt").write_text("x", "utf-8")
    (folder / "agreed.toml").write_text("", "utf-8")
    (folder / "plica.toml").write_text(text, "utf-8")
    return folder


@pytest.fixture
def repository(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The project, committed; tests run in it."""
    monkeypatch.chdir(project(tmp_path))
    git("init", "--quiet")
    git("add", ".")
    git("commit", "--quiet", "-m", "first")
    return tmp_path


def compared(old: str | Path, new: str | Path) -> Comparison:
    result = compare_characters(old, new, measure=False)
    assert not result.diagnostics, [one.message for one in result.diagnostics]
    return result


@pytest.mark.parametrize("kind", EDITS)
def test_each_change_is_an_entry_at_its_line(kind: str, repository: Path) -> None:
    (before, after), title, line, said, harm = EDITS[kind]
    edited(repository, "plica.toml", before, after)
    # In a working tree, between folders of any name, and between two revisions alike.
    git("commit", "--quiet", "-am", "second")
    for given in (("git:HEAD~1", "."), ("git:HEAD~1", "git:HEAD")):
        result = compared(*given)
        report = result.report
        assert report is not None and not report.broken
        changes = [one for one in report.changes if one.title == title and one.what != "removed"]
        (change,) = changes or [one for one in report.changes if one.title == title]
        Draft202012Validator(SCHEMA).validate(json.loads(result.rendered("json")))
        assert change.place is not None and change.beside is not None and change.beside.source.path == "plica.toml"
        row, _ = change.place.source.line_and_column(change.place.start)
        assert line in change.place.source.line_text(row)
        text = "; ".join(verdict.text for verdict in change.verdicts)
        assert all(one in text for one in said), text
        assert change.harm == harm
        others = {one.title for one in report.changes} - {title}
        assert others <= {"accept unused-name of the project within characters/wren.plica"}, others


def test_every_setting_is_compared() -> None:
    told = {title.split()[1] for _, title, *_ in EDITS.values() if title.startswith("setting")}
    assert {setting.name for setting in SETTINGS} == told | {"accept", "targets", "plica"}


def test_order_and_layout_are_no_change(repository: Path) -> None:
    text = TOML.replace("clips = [", "clips   =   [").replace(
        'folders = ["library"]', 'folders = ["shared", "library"]'
    )
    Path("plica.toml").write_text(text, "utf-8")
    git("commit", "--quiet", "-am", "second")
    Path("plica.toml").write_text(text.replace('"shared", "library"', '"library", "shared"') + "\n\n", "utf-8")
    assert compared("git:HEAD", ".").alike


def test_without_arguments_in_every_form(repository: Path, capsys: pytest.CaptureFixture[str]) -> None:
    edited(repository, "plica.toml", LAST, LAST + ACCEPT)
    said = "NOT REPORTED ANY MORE: PL220"
    for form in ("text", "markdown", "json", "sarif", "github"):
        assert run(["diff", "--no-measure", "--no-cache", "--format", form]) == 1
        shown = capsys.readouterr().out
        assert said in shown.replace("\\", "") and "accept unused-strength of the project" in shown, form
        if form in ("text", "markdown"):
            assert "plica.toml:17:11" in shown
        if form == "json":
            (entry,) = json.loads(shown)["entries"]
            assert entry["places"] == ["plica.toml:17:11"] and entry["harm"] == "risky"
        if form == "sarif":
            (result,) = json.loads(shown)["runs"][0]["results"]
            place = result["locations"][0]["physicalLocation"]
            assert place["artifactLocation"]["uri"] == "plica.toml" and place["region"]["startLine"] == 17
        if form == "github":
            assert "file=plica.toml,line=17" in shown


def test_a_file_with_mistakes_hides_nothing_else(repository: Path, capsys: pytest.CaptureFixture[str]) -> None:
    edited(repository, "plica.toml", 'folders = ["library"]', 'folders = ["librarie"]\nwrong = 1')
    edited(repository, "characters/moss.plica", "rest 0 }", "rest 0.25 }")
    assert run(["diff", "--no-measure", "--no-cache"]) == 2
    shown = capsys.readouterr().out
    assert "HAS MISTAKES NOW" in shown and "plica.toml:3:12: PL575" in shown and "+ wrong = 1" in shown
    assert "control mood" in shown and "DOES NOT COMPILE" not in shown
    git("commit", "--quiet", "-am", "with mistakes")
    same = compared("git:HEAD", ".")
    assert same.report is not None and same.report.changes == () and not same.alike
    Path("plica.toml").write_text(TOML, "utf-8")
    back = compared("git:HEAD", ".")
    Draft202012Validator(SCHEMA).validate(json.loads(back.rendered("json")))
    assert "has no mistakes any more" in back.rendered() and back.compiles and back.step == "unknown"


def test_a_file_that_comes_or_goes(tmp_path: Path) -> None:
    old, new = project(tmp_path / "old"), project(tmp_path / "new")
    (old / "plica.toml").unlink()
    for folder in (old, new):
        for spec in (folder / "characters").glob("*.plica"):
            spec.write_text(f"plica 1\ncharacter {spec.stem} {{ skeleton {{ joint spine at 0 m, 1 m, 0 m }} }}\n")
    came, went = compared(old, new).rendered(), compared(new, old).rendered()
    assert "project plica.toml" in came and "NOT REPORTED ANY MORE" in came
    assert "gone: nothing of what it says" in went and "reported again" in went


def test_each_state_has_the_folders_of_its_own_file(repository: Path) -> None:
    """A folder that is dropped together with its use is no mistake of the old state."""
    Path("shared/limb.plica").write_bytes(Path("library/limb.plica").read_bytes())
    edited(repository, "plica.toml", '["library"]', '["shared"]')
    for name in ("dot", "moss", "wren"):
        edited(repository, f"characters/{name}.plica", "../library/limb", "../shared/limb")
    report = compared("git:HEAD", ".").report
    assert report is not None and not report.broken
    assert "setting folders" in {one.title for one in report.changes}
