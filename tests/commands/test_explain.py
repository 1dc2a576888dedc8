"""`plica explain`."""

from __future__ import annotations

import pytest

from plica.commands.main import run
from plica.diagnostics.catalogue import rules


@pytest.mark.parametrize("word", ["PL101", "pl101", "unexpected-text"])
def test_code_or_name(word: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["explain", word]) == 0
    text = capsys.readouterr().out
    assert text.startswith("PL101 unexpected-text (error)\n")
    assert "This text causes it:" in text and "And this is right:" in text
    assert "\x1b" not in text


def test_all_are_listed_by_code(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["explain", "--all"]) == 0
    lines = capsys.readouterr().out.rstrip("\n").split("\n")
    assert len(lines) == len(rules())
    assert [line[:5] for line in lines] == sorted(rule.code for rule in rules().values())


@pytest.mark.parametrize(
    ("word", "hint"), [("unexpected-txt", "did you mean `unexpected-text`?"), ("zzzzzz", "`plica explain --all`")]
)
def test_what_does_not_exist(word: str, hint: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["explain", word]) == 2
    shown = capsys.readouterr()
    assert hint in shown.err and shown.out == ""


def test_nothing_given(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["explain"]) == 2
    assert "plica explain PL101" in capsys.readouterr().err
