"""`plica completion`."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from plica.commands.arguments import COMMANDS
from plica.commands.main import run

_ASKED = """
source {script}
COMP_WORDS=({words} ''); COMP_CWORD={number}; COMP_WORDS[{number}]='{begun}'
complete -p plica | sed 's/.*-F //; s/ .*//' > {script}.name
$(cat {script}.name) 2> /dev/null
printf '%s\\n' "${{COMPREPLY[@]}}"
"""


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish", "tcsh"])
def test_every_command_is_completed(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["completion", shell]) == 0
    script = capsys.readouterr().out
    assert all(command in script for command in COMMANDS)


def test_bash_completes_commands_and_options(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bash = shutil.which("bash")
    if bash is None:
        pytest.skip("there is no bash here")
    run(["completion", "bash"])
    script = tmp_path / "plica.bash"
    script.write_text(capsys.readouterr().out, "utf-8")

    def completed(words: str, begun: str) -> set[str]:
        text = _ASKED.format(script=script, words=words, begun=begun, number=len(words.split()))
        done = subprocess.run([bash, "-c", text], capture_output=True, text=True, check=False)
        return set(done.stdout.split())

    assert {"draft", "demo", "diff"} == completed("plica", "d")
    assert {"--volume"} == completed("plica draft", "--vol")


def test_an_unknown_shell(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        run(["completion", "csh2"])
    assert "bash" in capsys.readouterr().err
