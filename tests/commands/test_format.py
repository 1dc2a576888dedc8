"""`plica format`."""

from __future__ import annotations

import io
import json
import os
import stat
import sys
from pathlib import Path

import pytest

from plica.commands.main import run

ROUGH = "plica 1\nregion a{skin of b}// here\n"
SMOOTH = "plica 1\n\nregion a { skin of b }    // here\n"
WRONG = "plica 1\nregion a { skn of b }\n"


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty current folder with three specs."""
    monkeypatch.chdir(tmp_path)
    for name, text in (("rough", ROUGH), ("smooth", SMOOTH), ("wrong", WRONG)):
        (tmp_path / f"{name}.plica").write_bytes(text.encode())
    return tmp_path


def _given(monkeypatch: pytest.MonkeyPatch, data: bytes) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(data), "utf-8"))


def test_a_file_is_laid_out_once(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["format", "rough.plica", "smooth.plica"]) == 0
    assert capsys.readouterr().out == "laid out rough.plica\n"
    assert Path("rough.plica").read_bytes() == SMOOTH.encode()
    assert run(["format", "rough.plica", "smooth.plica"]) == 0
    assert capsys.readouterr().out == ""


def test_a_file_that_has_the_layout_is_not_touched() -> None:
    os.utime("smooth.plica", (1, 1))
    assert run(["format", "smooth.plica"]) == 0
    assert Path("smooth.plica").stat().st_mtime == 1


def test_a_file_with_mistakes_is_left_and_the_others_are_not(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["format", "wrong.plica", "rough.plica"]) == 1
    assert "PL101" in capsys.readouterr().out
    assert Path("wrong.plica").read_bytes() == WRONG.encode()
    assert Path("rough.plica").read_bytes() == SMOOTH.encode()


def test_check_names_what_would_change(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["format", "--check", "rough.plica", "smooth.plica"]) == 1
    assert capsys.readouterr().out == "rough.plica: would change\n"
    assert Path("rough.plica").read_bytes() == ROUGH.encode()
    assert run(["format", "--check", "smooth.plica"]) == 0
    assert capsys.readouterr().out == ""


def test_diff_shows_what_would_change(capsys: pytest.CaptureFixture[str]) -> None:
    Path("rough.plica").write_bytes(ROUGH.rstrip().encode())
    assert run(["format", "--diff", "rough.plica", "smooth.plica"]) == 1
    assert capsys.readouterr().out.splitlines() == [
        "--- rough.plica",
        "+++ rough.plica",
        "@@ -1,2 +1,3 @@",
        " plica 1",
        "-region a{skin of b}// here",
        "\\ No newline at end of file",
        "+",
        "+region a { skin of b }    // here",
    ]
    assert Path("rough.plica").read_bytes() == ROUGH.rstrip().encode()
    assert run(["format", "--diff", "smooth.plica"]) == 0
    assert capsys.readouterr().out == ""


def test_the_diffs_findings_go_to_the_standard_error(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["format", "--diff", "wrong.plica"]) == 1
    shown = capsys.readouterr()
    assert shown.out == "" and "PL101" in shown.err


@pytest.mark.parametrize(
    "data",
    [b"\xef\xbb\xbf" + SMOOTH.encode(), SMOOTH.replace("\n", "\r\n", 1).encode(), SMOOTH.rstrip().encode()],
    ids=["byte order mark", "line ends of both kinds", "no line end"],
)
def test_marks_and_mixed_line_ends_are_part_of_the_layout(data: bytes, capsys: pytest.CaptureFixture[str]) -> None:
    Path("rough.plica").write_bytes(data)
    assert run(["format", "--check", "rough.plica"]) == 1
    assert run(["format", "--diff", "rough.plica"]) == 1
    assert "@@" in capsys.readouterr().out
    assert run(["format", "rough.plica"]) == 0
    assert Path("rough.plica").read_bytes() == SMOOTH.encode()


def test_the_standard_input_is_laid_out_to_the_output(
    monkeypatch: pytest.MonkeyPatch, capfdbinary: pytest.CaptureFixture[bytes]
) -> None:
    text = SMOOTH.replace("here", "hier, où, 手")
    _given(monkeypatch, b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    assert run(["format", "-"]) == 0
    assert capfdbinary.readouterr().out == text.replace("\n", "\r\n").encode()


def test_line_ends_of_windows_are_no_change_of_layout(capsys: pytest.CaptureFixture[str]) -> None:
    for name, text in (("rough", ROUGH), ("smooth", SMOOTH)):
        Path(f"{name}.plica").write_bytes(text.replace("\n", "\r\n").encode())
    assert run(["format", "--check", "smooth.plica"]) == 0
    assert run(["format", "smooth.plica", "rough.plica"]) == 0
    assert capsys.readouterr().out == "laid out rough.plica\n"
    for name in ("rough", "smooth"):
        assert Path(f"{name}.plica").read_bytes() == SMOOTH.replace("\n", "\r\n").encode()


@pytest.mark.parametrize("form", ["json", "sarif", "github", "junit"])
def test_check_names_its_findings_in_every_form(form: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["format", "--check", "--format", form, "rough.plica", "smooth.plica"]) == 1
    shown = capsys.readouterr().out
    assert "PL112" in shown and "rough.plica" in shown
    if form == "junit":
        assert 'failures="1"' in shown and "smooth.plica" in shown
    assert Path("rough.plica").read_bytes() == ROUGH.encode()


def test_mistakes_in_the_standard_input(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    _given(monkeypatch, WRONG.encode())
    assert run(["format", "-"]) == 1
    shown = capsys.readouterr()
    assert shown.out == "" and "standard input:2:12: error PL101" in shown.err
    _given(monkeypatch, b"\xff")
    assert run(["format", "-"]) == 1
    assert "PL503" in capsys.readouterr().err
    _given(monkeypatch, ROUGH.encode())
    assert run(["format", "--check", "-"]) == 1
    assert capsys.readouterr().out == "standard input: would change\n"


def test_the_standard_input_stands_alone(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["format", "-", "rough.plica"]) == 2
    assert "stands alone" in capsys.readouterr().err


def test_a_layout_that_is_not_proved_is_not_written(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    import plica.format

    real = plica.format.lay_out

    def faulty(source: object, found: object) -> object:
        result = real(source, found)  # type: ignore[arg-type]
        return None if result is None else result._replace(text=result.text.replace("    // here", ""))

    monkeypatch.setattr(plica.format, "lay_out", faulty)
    assert run(["format", "rough.plica"]) == 70
    shown = capsys.readouterr().err
    assert "PL900" in shown and "rough.plica: the new layout has other comments" in shown
    assert Path("rough.plica").read_bytes() == ROUGH.encode()


def test_files_that_cannot_be_read(capsys: pytest.CaptureFixture[str]) -> None:
    Path("folder.plica").mkdir()
    assert run(["format", "absent.plica", "folder.plica", "rough.plica"]) == 1
    shown = capsys.readouterr().out
    assert shown.count("PL503") == 2
    assert Path("rough.plica").read_bytes() == SMOOTH.encode()


@pytest.mark.skipif(os.name == "nt", reason="rights and links as POSIX has them")
def test_rights_and_links_stay(folder: Path) -> None:
    (folder / "real").mkdir()
    Path("rough.plica").rename("real/rough.plica")
    Path("real/rough.plica").chmod(0o640)
    Path("rough.plica").symlink_to("real/rough.plica")
    assert run(["format", "rough.plica"]) == 0
    assert Path("rough.plica").is_symlink()
    assert Path("real/rough.plica").read_bytes() == SMOOTH.encode()
    assert stat.S_IMODE(Path("real/rough.plica").stat().st_mode) == 0o640
    assert [path.name for path in Path("real").iterdir()] == ["rough.plica"]


def test_findings_for_programs(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["format", "--format", "json", "rough.plica", "wrong.plica"]) == 1
    assert json.loads(capsys.readouterr().out)["counts"]["error"] == 1


def test_it_needs_no_numbers() -> None:
    """Formatting answers as fast as checking: no numpy, pydantic or jinja2 on its way."""
    import subprocess

    program = (
        "import sys; from plica.commands.main import run; code = run(['format', 'rough.plica', 'smooth.plica']);"
        "sys.exit(code or sorted({'numpy', 'pydantic', 'jinja2'} & set(sys.modules)) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
