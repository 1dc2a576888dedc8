"""What every command has in common: help, exit codes, and no input that ends in a traceback."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest

import plica
from plica.commands import arguments, main
from plica.commands.arguments import COMMANDS
from tests.support.examples import FILES

PLICA = [sys.executable, "-m", "plica"]
GOOD = (FILES / "preamble.plica").read_text("utf-8")


def run_in(folder: Path, *given: str, **options: object) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run([*PLICA, *given], capture_output=True, cwd=folder, **options)  # type: ignore[call-overload, no-any-return]


def test_without_a_command_the_help_is_shown(capsys: pytest.CaptureFixture[str]) -> None:
    assert main.run([]) == 2
    assert "first steps:" in capsys.readouterr().err


def test_the_overview_lists_every_command_and_no_other(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        main.run(["--help"])
    assert stopped.value.code == 0
    text = capsys.readouterr().out
    assert all(re.search(rf"^    {name}\s", text, re.MULTILINE) for name in COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_has_help_to_learn_from(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        main.run([name, "--help"])
    assert stopped.value.code == 0
    text = capsys.readouterr().out
    assert text.startswith(f"usage: plica {name} ")
    assert text.count(f"\n  plica {name}") >= (1 if name == "language-server" else 2)
    assert len(COMMANDS[name].paragraph.split()) > 25


@pytest.mark.parametrize("name", COMMANDS)
def test_the_examples_of_the_help_are_valid(name: str) -> None:
    for line in COMMANDS[name].examples:
        _, command, *rest = line.split()
        arguments.parser([command]).parse_args(rest)


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        main.run(["--version"])
    assert stopped.value.code == 0
    assert capsys.readouterr().out == f"plica {plica.__version__}\n"


@pytest.mark.parametrize(
    ("given", "part"),
    [
        (["chek", "a.plica"], "did you mean `check`?"),
        (["frobnicate"], "the commands are check, "),
        (["check"], "SPEC"),
        (["check", "a.plica", "--formt", "json"], "--formt"),
        (["check", "a.plica", "--form", "json"], "--form"),
        (["check", "a.plica", "--format", "xml"], "xml"),
        (["check", "a.plica", "--allow", "no/such/folder"], "there is no folder `no/such/folder`"),
        (["build", "a.plica"], "--out"),
        (["build", "a.plica", "--out", "b", "--option", "json"], "target.key=value"),
        (["build", "a.plica", "--out", "b", "--dry-run", "--current"], "not allowed with"),
        (["--nothing"], "usage"),
    ],
)
def test_wrong_usage_is_told_on_the_standard_error(
    given: list[str], part: str, capsys: pytest.CaptureFixture[str]
) -> None:
    try:
        code: object = main.run(given)
    except SystemExit as stopped:  # what argparse finds
        code = stopped.code
    assert code == 2
    shown = capsys.readouterr()
    assert part in shown.err and shown.out == ""


ODD_FILES: dict[str, bytes] = {
    "empty": b"",
    "null bytes": b"plica 1\n\0\0\0",
    "latin-1": "plica 1\n// caf\xe9\n".encode("latin-1"),
    "utf-16": "plica 1\n".encode("utf-16"),
    "random bytes": bytes(range(256)) * 40,
    "byte order mark and a mistake": b"\xef\xbb\xbfplica 1\nregion x { skn of y }\n",
    "carriage returns alone": b"plica 1\rregion x { skn of y }\r",
    "nested": b"plica 1\ncombine a = " + b"sum(" * 100_000,
    "nested blocks": b"plica 1\n" + b"each a in b {\n" * 20_000,
    "escape codes": b"plica 1\nregion \x1b[2J { }\n",
    "itself": GOOD.encode() + b'use "spec.plica" with { }\n',
    "huge numbers": GOOD.encode() + b"driver a both { reads bend of hand  span 0 deg .. 1e400 deg }\n",
    "surrogate in utf-8": b"plica 1\nregion \xed\xa0\x80 { }\n",
}


@pytest.mark.parametrize("name", ODD_FILES)
@pytest.mark.parametrize("form", ["text", "json"])
def test_no_content_of_a_spec_ends_in_a_traceback(name: str, form: str, tmp_path: Path) -> None:
    (tmp_path / "spec.plica").write_bytes(ODD_FILES[name])
    done = run_in(tmp_path, "check", "spec.plica", "--format", form, env={**os.environ, "PYTHONIOENCODING": "ascii"})
    assert done.returncode == 1, done.stdout[-2000:] + done.stderr[-2000:]
    assert b"Traceback" not in done.stdout + done.stderr
    assert b"\x1b" not in done.stdout
    assert done.stderr == b""


@pytest.mark.parametrize("path", ["absent.plica", "folder", "absent/deeper.plica", "", "x" * 5000, "a\nb", "wren.gltf"])
def test_no_path_ends_in_a_traceback(
    path: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`plica check` in a process of its own; what others would end with, `run` gives too."""
    (tmp_path / "folder").mkdir()
    (tmp_path / "wren.gltf").write_text("{}", "utf-8")
    done = run_in(tmp_path, "check", path)
    assert done.returncode == 1, done.stdout[-2000:] + done.stderr[-2000:]
    assert b"PL5" in done.stdout + done.stderr or path == "wren.gltf"
    monkeypatch.chdir(tmp_path)
    for given in (["build", "--out", "out"], ["start"]):
        code, shown = main.run([*given, path]), capsys.readouterr()
        assert code == 1, shown
        assert "PL5" in shown.out + shown.err or path == "wren.gltf"
    assert not (tmp_path / "out").exists()


def test_a_path_with_a_null_character_is_a_finding(capsys: pytest.CaptureFixture[str]) -> None:
    assert main.run(["check", "a\0b.plica"]) == 1
    assert "PL5" in capsys.readouterr().out


@pytest.mark.parametrize("out", ["x" * 5000, "a\0b", "wren.gltf/deeper", "x/" * 3000, "", "."])
@pytest.mark.parametrize("command", ["build", "build --current", "build --dry-run", "start", "demo"])
def test_no_output_path_ends_in_a_traceback(
    command: str, out: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("plica.commands.demo.demo_files", lambda: {"wren.plica": GOOD.encode()})
    (tmp_path / "wren.gltf").write_bytes((FILES / "wren.gltf").read_bytes())
    (tmp_path / "spec.plica").write_text(GOOD, "utf-8")
    name, *flags = command.split()
    given = {"build": ["spec.plica", "--out", out], "start": ["wren.gltf", "--out", out], "demo": [out]}[name]
    assert main.run([name, *given, *flags]) in (0, 1, 2), capsys.readouterr().err
    assert "PL900" not in capsys.readouterr().err


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may read everything")
def test_a_file_that_may_not_be_read(tmp_path: Path) -> None:
    spec = tmp_path / "spec.plica"
    spec.write_text(GOOD, "utf-8")
    spec.chmod(0)
    assert run_in(tmp_path, "check", "spec.plica").returncode == 1


def test_a_reader_that_goes_away_is_no_error_of_ours(tmp_path: Path) -> None:
    mistakes = "region a { skn of b }\n" * 90
    (tmp_path / "spec.plica").write_text("plica 1\n" + mistakes, "utf-8")
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(
        [*PLICA, "check", "spec.plica"], stdout=writing, stderr=subprocess.PIPE, cwd=tmp_path, check=False
    )
    os.close(writing)
    assert done.returncode == main.OUTPUT_CLOSED
    assert done.stderr == b""


@pytest.mark.skipif(sys.platform == "win32", reason="signals as on POSIX")
def test_stopping_it_is_quiet(tmp_path: Path) -> None:
    code = (
        "import sys, time; from plica.commands import arguments, main\n"
        "def wait(options):\n    print('ready', flush=True); time.sleep(3600)\n"
        "arguments.COMMANDS['check'] = arguments.COMMANDS['check']._replace(load=lambda: wait)\n"
        "sys.exit(main.run(['check', 'x']))"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=tmp_path
    ) as process:
        assert process.stdout is not None and process.stdout.readline() == b"ready\n"
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate(timeout=600)
    assert process.returncode == main.INTERRUPTED
    assert b"Traceback" not in errors and b"stopped" in errors


class TestOurOwnMistakes:
    """An exception that no stage foresaw is reported as Plica's own."""

    @pytest.fixture(autouse=True)
    def failing(self, monkeypatch: pytest.MonkeyPatch) -> None:
        def fail(options: object) -> int:
            raise ZeroDivisionError("one over nothing")

        monkeypatch.setitem(COMMANDS, "check", COMMANDS["check"]._replace(load=lambda: fail))

    def test_it_tells_what_to_report(self, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.delenv("PLICA_DEBUG", raising=False)
        assert main.run(["check", "my spec.plica"]) == main.INTERNAL_ERROR
        shown = capsys.readouterr()
        assert shown.out == ""
        assert "error PL900 internal-error: " in shown.err
        assert f"plica {plica.__version__}, Python " in shown.err
        assert "command: plica check 'my spec.plica'" in shown.err
        assert "ZeroDivisionError in plica.commands.main, line " in shown.err
        assert "Traceback" not in shown.err

    def test_the_trace_is_there_for_who_asks(
        self, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setenv("PLICA_DEBUG", "1")
        assert main.run(["check", "x"]) == main.INTERNAL_ERROR
        assert "Traceback (most recent call last)" in capsys.readouterr().err


def test_every_exit_code_is_documented() -> None:
    for code in (main.WRONG_USAGE, main.INTERNAL_ERROR, main.INTERRUPTED, main.OUTPUT_CLOSED):
        assert str(code) in (main.__doc__ or "")
