"""`plica draft`: a first sculpt from the command line, as a user gets on with it."""

from __future__ import annotations

from pathlib import Path

import pytest

from plica.commands.main import run
from tests.support.drafted_arms import HEAD, DraftedArms


@pytest.fixture
def arms(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> DraftedArms:
    """The current folder, with the arms in it."""
    monkeypatch.chdir(tmp_path)
    return DraftedArms(tmp_path)


def test_drafted_pasted_and_proved(arms: DraftedArms, capsys: pytest.CaptureFixture[str]) -> None:
    expects = "expect both { volume of forearm within 1 %  over elbow }\n"
    arms.write("", HEAD + expects)
    assert run(["prove", "arms.plica", "--no-cache"]) == 1
    assert "plica draft arms.plica hold\n" in capsys.readouterr().out
    asked = ["--without-contact", "--inbetweens", "1", "--volume", "100%", "--border", "5 cm"]
    assert run(["draft", "arms.plica", "hold", *asked]) == 0
    out = capsys.readouterr().out.splitlines()
    assert out[0] == "drafted left_hold" and "wrote sculpts/hold_50.npz" in out
    pasted = out[out.index("the spec is to say of hold:") + 1 :]
    arms.write("\n".join(pasted), HEAD + expects)
    assert run(["check", "arms.plica"]) == 0
    assert run(["build", "arms.plica", "--out", "build"]) == 0
    assert run(["prove", "arms.plica", "--no-cache"]) == 0, capsys.readouterr().out
    capsys.readouterr()
    assert run(["draft", "arms.plica", "hold", "--without-contact"]) == 0
    assert "the spec is to say" not in capsys.readouterr().out


@pytest.mark.parametrize(
    ("given", "code", "said"),
    [
        (["hald"], 1, "did you mean `hold`"),
        (["hold", "--region", "forearms"], 1, "no region `forearms`"),
        (["hold", "--border", "4"], 2, "a number with a unit"),
        (["hold", "--volume", "98 mm"], 2, "a number with a unit (%)"),
        (["hold", "--volume", "50 %"], 1, "0.9"),
        (["hold", "--inbetweens", "9"], 2, "from 0 to 8"),
        ([], 2, "SHAPE"),
    ],
)
def test_mistakes(
    given: list[str], code: int, said: str, arms: DraftedArms, capsys: pytest.CaptureFixture[str]
) -> None:
    try:
        assert run(["draft", "arms.plica", *given, "--without-contact"]) == code
    except SystemExit as left:  # how arguments are refused
        assert left.code == code
    assert said in capsys.readouterr().err and not Path("sculpts").exists()
