"""Limits are stated in one place, raised by the user, and said in the refusal."""

from __future__ import annotations

from pathlib import Path

import pytest

from plica import limits
from plica.commands import main
from tests.support.examples import FILES

GOOD = (FILES / "preamble.plica").read_text("utf-8")


def test_a_limit_is_raised_by_name_and_size() -> None:
    raised = limits.raised(["text-bytes=2GiB", "expansion=7"])
    assert (raised.text_bytes, raised.expansion) == (2 * 1024**3, 7)


@pytest.mark.parametrize("pair", ["text-bytes", "text-bites=1", "expansion=2MiB", "expansion=-1", "expansion=0", "x="])
def test_what_sets_no_limit_is_refused(pair: str) -> None:
    with pytest.raises(limits.LimitError):
        limits.raised([pair])


def test_the_command_line_states_a_limit_for_one_run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "one.plica").write_text(GOOD, "utf-8")
    assert main.run(["check", str(tmp_path / "one.plica"), "--limit", "spec-bytes=10"]) == 1
    assert "--limit spec-bytes=SIZE" in "".join(capsys.readouterr())
    assert limits.in_force() == limits.Limits()


def test_a_limit_that_does_not_exist_is_wrong_usage(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main.run(["check", str(tmp_path / "one.plica"), "--limit", "texts=10"]) == 2
    assert "text-bytes" in capsys.readouterr().err


def test_the_environment_states_limits_for_every_run(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(limits.VARIABLE, "spec-bytes=1KiB text-bytes=2MiB expansion=3")
    held = limits.in_force()
    assert (held.spec_bytes, held.text_bytes, held.expansion) == (1024, 2 * 1024**2, 3)
    monkeypatch.setenv(limits.VARIABLE, "nonsense")
    with pytest.raises(limits.LimitError):
        limits.in_force()
