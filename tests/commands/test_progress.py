"""Progress and colour: on terminals only."""

from __future__ import annotations

import io
import subprocess
import sys

import pytest

from plica.commands.output import wants_colour
from plica.commands.progress import progress


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_pipe_sees_nothing_and_rich_is_not_imported() -> None:
    code = (
        "import sys\nfrom plica.commands.progress import progress\n"
        "with progress('building') as step: step('writing')\n"
        "print('rich' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert (done.stdout, done.stderr) == ("False\n", "")


def test_a_terminal_sees_what_is_done(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setenv("TERM", "xterm")
    with progress("building [a].plica") as step:
        step("writing [b]")
    assert "building [a].plica" in terminal.getvalue()


@pytest.mark.parametrize(
    ("variables", "expected"),
    [({}, True), ({"NO_COLOR": "1"}, False), ({"NO_COLOR": ""}, True), ({"TERM": "dumb"}, False)],
)
def test_colour_on_a_terminal_that_wants_it(
    variables: dict[str, str], expected: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """NO_COLOR as no-color.org describes it: any value but an empty one turns colour off."""
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    assert wants_colour(Terminal()) is expected
    assert wants_colour(io.StringIO()) is False
