"""Commands without a spec: all of the project that one works in."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import pytest

from plica.commands.main import run
from tests.support.projects import USES, put_down

Out = Callable[..., tuple[int, str, str]]
UNUSED = "region spare both { skin of upperarm }\n"
BROKEN = "driver x both { reads bend of lowrarm span 0 deg .. 9 deg }\n"
EXPECTS = "expect { rest }\n"


@pytest.fixture
def root(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    root = put_down(tmp_path / "project", {"wren": USES + EXPECTS, "otter": USES + EXPECTS})
    monkeypatch.chdir(root)
    return root


@pytest.fixture
def out(capsys: pytest.CaptureFixture[str]) -> Out:
    def call(*words: str) -> tuple[int, str, str]:
        code = run(list(words))
        shown = capsys.readouterr()
        return code, shown.out, shown.err

    return call


def spec(root: Path, name: str) -> Path:
    return root / "characters" / name / f"{name}.plica"


def test_a_check_tells_a_line_for_each_and_the_totals(root: Path, out: Out) -> None:
    spec(root, "otter").write_text(spec(root, "otter").read_text("utf-8") + UNUSED, "utf-8")
    put_down(root, {"heron": BROKEN})
    code, text, errors = out("check")
    assert code == 1 and errors == ""
    lines = text.splitlines()
    assert "characters/heron/heron.plica: failed: 1 error" in lines
    assert any(line.startswith("characters/otter/otter.plica: 1 warning; checked 12 joints") for line in lines)
    assert any(line.startswith("characters/wren/wren.plica: ok; checked 12 joints") for line in lines)
    assert "library/limb.plica: ok; checked as a library of other specs" in lines
    assert lines[-2:] == ["3 characters: 1 ok, 1 with findings, 1 failed", "1 library: 1 ok"]
    assert "did you mean `lowerarm`?" in text
    assert out("check") == (code, text, errors), "the same when nothing is done again"


def test_it_works_from_a_folder_below_and_a_spec_alone_needs_no_flags(
    root: Path, out: Out, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(root / "characters" / "wren")
    code, text, _ = out("check")
    assert code == 0 and "../otter/otter.plica: ok" in text
    assert out("check", "wren.plica")[0] == 0
    assert out("build", "wren.plica", "--out", "made")[0] == 0
    assert out("prove", "wren.plica", "--workers", "1")[0] == 0
    (root / "plica.toml").unlink()
    code, text, _ = out("check", "wren.plica")
    assert code == 1 and "outside" in text


def test_without_a_project_the_user_is_told_what_to_give(
    tmp_path: Path, out: Out, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / ".git").mkdir()
    monkeypatch.chdir(tmp_path)
    for command in ("check", "build", "prove", "format", "diff"):
        code, text, errors = out(command)
        assert (code, text) == (2, "") and "give" in errors


def test_a_project_without_characters_is_an_error(root: Path, out: Out) -> None:
    (root / "plica.toml").write_text('characters = ["nothing/*"]', "utf-8")
    for command in ("check", "build", "prove", "format"):
        code, text, _ = out(command)
        assert code == 1 and "PL577 no-characters" in text and "PL576 nothing-matches" in text


def test_an_empty_list_of_characters_is_told_as_that(root: Path, out: Out) -> None:
    (root / "plica.toml").write_text("characters = []", "utf-8")
    assert "the project has no characters: the list `characters` is empty" in out("check")[1]


def test_nothing_is_proven_without_the_projects_motion(root: Path, out: Out) -> None:
    """What holds is said of the project's clips too: where they were left behind, that is no yes."""
    (root / "plica.toml").write_text('clips = ["clips/*.bvh"]\n', "utf-8")
    assert out("check")[0] == 0, "nothing rests on clips there"
    for words in (("prove",), ("prove", "characters/wren/wren.plica")):
        code, text, _ = out(*words, "--workers", "1")
        assert code == 1 and "plica.toml:1:10: error PL584 no-clips" in text
        code, text, _ = out(*words, "--workers", "1", "--allow-unmeasured")
        assert code == 0 and "plica.toml:1:10: warning PL576 nothing-matches" in text


@pytest.mark.parametrize(
    "words", [("check",), ("check", "characters/wren/wren.plica"), ("build",), ("prove",), ("format",)]
)
def test_a_mistake_in_the_projects_file_is_told_by_every_command(words: tuple[str, ...], root: Path, out: Out) -> None:
    (root / "plica.toml").write_text('folders = ["/"]', "utf-8")
    code, text, _ = out(*words)
    assert code == 1 and "plica.toml:1:12: error PL574 outside-project" in text
    assert not (root / "build").exists()


def test_findings_are_accepted_for_the_whole_project_or_some_of_it(root: Path, out: Out) -> None:
    for name in ("wren", "otter"):
        spec(root, name).write_text(spec(root, name).read_text("utf-8") + UNUSED, "utf-8")
    entry = '[[accept]]\nfinding = "unused-name"\nbecause = "later"\n'
    (root / "plica.toml").write_text(entry, "utf-8")
    assert "unused-name" not in out("check")[1]
    assert "unused-name" not in out("check", "characters/wren/wren.plica")[1]
    (root / "plica.toml").write_text(entry + 'within = ["characters/w*/*"]\n', "utf-8")
    text = out("check")[1]
    assert "otter.plica:" in text and "2 characters: 1 ok, 1 with findings" in text
    (root / "plica.toml").write_text(entry + 'within = ["library/*"]\n', "utf-8")
    assert "plica.toml:2:11: warning PL579 nothing-accepted-in-project" in out("check")[1]


def test_builds_go_where_the_project_says_and_only_what_changed_is_built(root: Path, out: Out) -> None:
    (root / "plica.toml").write_text('out = "made"\n[targets.json]\nlisted = 3\n', "utf-8")
    code, text, _ = out("build")
    assert code == 0 and "characters/wren/wren.plica: ok; built 3 files in made/characters/wren" in text
    made = root / "made" / "characters" / "wren" / "wren.rig.json"
    before = made.read_bytes()
    assert not (root / "made" / "characters" / "wren" / "wren_rig.py").exists()
    stamp = made.stat().st_mtime_ns
    assert out("build") == (code, text, "") and made.stat().st_mtime_ns == stamp
    made.write_bytes(b"touched")
    assert out("build")[0] == 0 and made.read_bytes() == before, "what stands in the folder counts too"
    assert out("build", "--current")[0] == 0
    made.unlink()
    assert out("build", "--current")[0] == 1
    assert out("build")[0] == 0 and made.read_bytes() == before


def test_no_build_follows_a_link_out_of_the_project(root: Path, out: Out, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (root / "build").mkdir()
    (root / "build" / "characters").symlink_to(elsewhere)
    code, text, _ = out("build")
    assert code == 1 and "PL574 outside-project" in text
    assert list(elsewhere.iterdir()) == []
    assert out("build", "--out", str(elsewhere))[0] == 0, "the user may"


def test_what_lies_outside_is_allowed_by_the_user_alone(root: Path, out: Out, tmp_path: Path) -> None:
    elsewhere = tmp_path / "studio"
    elsewhere.mkdir()
    (root / "library" / "limb.plica").rename(elsewhere / "limb.plica")
    for name in ("wren", "otter"):
        text = spec(root, name).read_text("utf-8").replace("../../library/", "../../../studio/")
        spec(root, name).write_text(text, "utf-8")
    assert out("check")[0] == 1
    (root / "plica.toml").write_text('folders = ["../studio"]', "utf-8")
    code, text, _ = out("check")
    assert code == 1 and "outside-project" in text
    (root / "plica.toml").write_text("", "utf-8")
    assert out("check", "--allow", str(elsewhere))[0] == 0
    assert out("check")[0] == 1, "what was allowed once is not kept"


@pytest.mark.parametrize(
    ("settings", "place", "rule"),
    [
        ("[targets.jsn]\n", "plica.toml:1:2", "unknown-target"),
        ("[targets.json]\nlistd = 3\n", "plica.toml:2:9", "unknown-target-option"),
        ('[targets.json]\nlisted = "x"\n', "plica.toml:2:10", "bad-target-option"),
        ('[targets.template]\ntemplate = "../x.jinja"\n', "plica.toml:2:12", "outside-project"),
        ('[targets.template]\ntemplate = "x.jinja"\n', "plica.toml:2:12", "missing-in-project"),
    ],
)
def test_a_wrong_target_is_told_at_its_place(settings: str, place: str, rule: str, root: Path, out: Out) -> None:
    (root / "plica.toml").write_text(settings, "utf-8")
    code, text, _ = out("build")
    assert code == 1 and f"{place}: error" in text and rule in text


def test_a_template_is_looked_for_in_the_project_and_not_in_the_working_folder(
    root: Path, out: Out, monkeypatch: pytest.MonkeyPatch
) -> None:
    (root / "list.jinja").write_text("{{ rig.character.name }}\n", "utf-8")
    (root / "plica.toml").write_text('[targets.template]\ntemplate = "list.jinja"\n', "utf-8")
    monkeypatch.chdir(root / "characters")
    assert out("build")[0] == 0
    assert (root / "build/characters/wren/list").read_text("utf-8") == "wren\n"
    (root / "list.jinja").write_text("other {{ rig.character.name }}\n", "utf-8")
    assert out("build")[0] == 0
    assert (root / "build/characters/wren/list").read_text("utf-8") == "other wren\n", "never taken for unchanged"


def test_proofs_of_all_with_the_worst_exit_status(root: Path, out: Out) -> None:
    code, text, _ = out("prove", "--workers", "1")
    assert code == 0 and "characters/wren/wren.plica: ok; 1 hold, 0 fail, 0 not measured" in text
    spec(root, "otter").write_text(spec(root, "otter").read_text("utf-8") + "expect { partition }\n", "utf-8")
    code, text, _ = out("prove", "--workers", "1")
    assert code == 1 and "2 characters: 1 ok, 1 failed" in text
    assert out("prove", "--workers", "1", "--allow-unmeasured")[0] == 0
    _, text, _ = out("prove", "--workers", "1", "--format", "json")
    proofs = json.loads(text)["characters"]
    assert [len(proofs[f"characters/{name}/{name}.plica"]["results"]) for name in ("otter", "wren")] == [2, 1]


@pytest.mark.parametrize("command", ["check", "prove"])
def test_reports_of_tests_have_times_and_one_suite_for_each(command: str, root: Path, out: Out) -> None:
    put_down(root, {"heron": BROKEN})
    code, text, errors = out(command, "--format", "junit")
    suites = ElementTree.fromstring(text)
    assert code == 1 and "unknown-joint" in errors
    assert float(suites.get("time", "")) > 0.0
    named = {suite.get("name", "").split("/")[-1]: suite for suite in suites}
    assert named["heron.plica"].get("failures") == "1" and named["wren.plica"].get("failures") == "0"
    assert all(float(suite.get("time", "")) > 0.0 for suite in suites)


def test_all_are_laid_out(root: Path, out: Out) -> None:
    assert out("format")[0] == 0
    assert out("format", "--check") == (0, "", "")
    path = root / "library" / "limb.plica"
    path.write_text(path.read_text("utf-8").replace("parameter joint", "parameter   joint"), "utf-8")
    code, text, _ = out("format", "--check")
    assert code == 1 and text == "library/limb.plica: would change\n"


def git(root: Path, *words: str) -> None:
    subprocess.run(
        ["git", "-c", "user.name=x", "-c", "user.email=x@y", *words], cwd=root, check=True, capture_output=True
    )


def test_a_diff_compares_the_project_with_its_last_commit(
    root: Path, out: Out, monkeypatch: pytest.MonkeyPatch
) -> None:
    (root / "accepted.toml").write_text("", "utf-8")
    (root / "plica.toml").write_text('accepted-changes = "accepted.toml"\n', "utf-8")
    git(root, "init")
    git(root, "add", ".")
    git(root, "commit", "-m", "first")
    assert out("diff")[0] == 0
    path = root / "library" / "limb.plica"
    path.write_text(path.read_text("utf-8").replace("100 deg", "90 deg"), "utf-8")
    monkeypatch.chdir(root / "characters")
    code, text, errors = out("diff")
    assert code == 1 and errors == ""
    assert "wren" in text and "otter" in text
    _, text, _ = out("diff", "--format", "json")
    changes = {change["fingerprint"] for change in json.loads(text)["changes"]}
    (root / "accepted.toml").write_text("".join(f'{one} = "agreed"\n' for one in changes), "utf-8")
    assert out("diff")[0] == 0


def test_the_git_driver_uses_the_folders_of_the_project(root: Path) -> None:
    git(root, "init")
    git(root, "add", ".")
    git(root, "commit", "-m", "first")
    git(root, "config", "diff.plica.command", f"{sys.executable} -m plica diff --git-driver")
    (root / ".gitattributes").write_text("*.plica diff=plica\n", "utf-8")
    path = spec(root, "wren")
    path.write_text(path.read_text("utf-8").replace("joint = lowerarm", "joint = lowerarm  reach = 90 deg"), "utf-8")
    shown = subprocess.run(["git", "diff"], cwd=root, capture_output=True, text=True, check=True).stdout
    assert "lowerarm_bend" in shown and "cannot be used" not in shown


def test_a_check_of_a_project_loads_no_heavy_library(root: Path) -> None:
    code = (
        "import sys\nfrom plica.commands.main import run\ncode = run(['check'])\n"
        "sys.exit(code or sorted({'numpy', 'pydantic', 'jinja2'} & set(sys.modules)) or 0)"
    )
    for _ in range(2):
        done = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=False)
        assert (done.returncode, done.stderr) == (0, "")


def test_a_proof_that_was_kept_loads_no_heavy_library(root: Path, out: Out) -> None:
    words = ["prove", "characters/wren/wren.plica", "--workers", "1", "--format", "json"]
    code, text, errors = out(*words)
    script = (
        f"import sys\nfrom plica.commands.main import run\ncode = run({words})\n"
        "sys.exit(code or sorted({'lark', 'numpy', 'scipy', 'pydantic', 'jinja2'} & set(sys.modules)) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", script], cwd=root, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (code, text, errors) == (0, text, "")
