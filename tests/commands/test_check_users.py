"""`plica check --users`: whoever uses a file that changed is checked, too."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.commands.test_check import run

LIBRARY = "plica 1\nparameter joint\ndriver bend both { reads bend of {joint}   span 0 deg .. 60 deg }\n"
SPEC = """plica 1
character NAME {
    skeleton { joint arm_lf at 100 mm, 0 m, 0 m   joint arm_rt at -100 mm, 0 m, 0 m }
    symmetry across x
    left "*_lf"
    right "*_rt"
}
"""
USE = 'use "../library/bend.plica" with { joint = arm }\n'
PAINTED = 'region brow both { painted "brow.png" }\nexpect both { girth of brow within 3 % }\n'


@pytest.fixture(params=["project", "repository"])
def root(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Wren uses the library, heron an image; nobody uses the other library."""
    texts = {
        "library/bend.plica": LIBRARY,
        "library/spare.plica": LIBRARY,
        "wren/wren.plica": SPEC.replace("NAME", "wren") + USE,
        "heron/heron.plica": SPEC.replace("NAME", "heron") + PAINTED,
    }
    for name, text in texts.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text, "utf-8")
    (tmp_path / "heron" / "brow.png").write_bytes(b"")
    if request.param == "project":
        settings = 'characters = ["wren/*.plica", "heron/*.plica"]\nfolders = ["library"]\n'
        (tmp_path / "plica.toml").write_text(settings, "utf-8")
    else:
        (tmp_path / ".git").mkdir()
    monkeypatch.chdir(tmp_path)
    return tmp_path


def looked(capsys: pytest.CaptureFixture[str], *files: str) -> tuple[int, str, list[str]]:
    code = run(["check", "--users", "--allow", "library", "--", *files])
    text = capsys.readouterr().out
    return code, text, [line.partition(":")[0] for line in text.splitlines() if line.endswith("; no errors")]


def test_who_uses_a_library_is_checked_with_it(root: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, text, fine = looked(capsys, "library/bend.plica")
    assert code == 0 and fine == ["library/bend.plica", "wren/wren.plica"] and "library-alone" not in text
    (root / "library" / "bend.plica").write_text(LIBRARY.replace("bend both", "turn left"), "utf-8")
    with (root / "wren" / "wren.plica").open("a", encoding="utf-8") as file:
        file.write("combine fold both = product(bend)\n")
    code, text, fine = looked(capsys, "library/bend.plica")
    assert code == 1 and fine == ["library/bend.plica"]
    assert text.count("unknown-name") == 1 and "wren/wren.plica:9:29: error PL202" in text


def test_who_uses_a_file_is_checked_and_nobody_else(root: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert looked(capsys, "heron/brow.png")[::2] == (0, ["heron/heron.plica"])
    (root / "heron" / "brow.png").unlink()
    code, text, _ = looked(capsys, "heron/brow.png")
    assert code == 1 and text.count("missing-file") == 1
    code, text, fine = looked(capsys, "library/spare.plica")
    assert code == 0 and fine == ["library/spare.plica"] and "library-alone" in text


def test_settings_of_a_project_concern_all_of_it(root: Path, capsys: pytest.CaptureFixture[str]) -> None:
    if (root / "plica.toml").exists():
        assert len(looked(capsys, "plica.toml")[2]) == 4
