"""`plica draft`: a first sculpt from the command line, as a user gets on with it."""

from __future__ import annotations

from pathlib import Path

import pytest

import plica
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
    assert any("unverified: without contact" in line for line in out)
    pasted = out[out.index("the spec is to say of hold:") + 1 :]
    arms.write("\n".join(pasted), HEAD + expects)
    assert run(["check", "arms.plica"]) == 0
    assert run(["build", "arms.plica", "--out", "build"]) == 0
    assert run(["prove", "arms.plica", "--no-cache"]) == 0, capsys.readouterr().out
    capsys.readouterr()
    assert run(["draft", "arms.plica", "hold", "--without-contact"]) == 0
    assert "the spec is to say" not in capsys.readouterr().out


def test_the_spec_is_told_on_demand(arms: DraftedArms, capsys: pytest.CaptureFixture[str]) -> None:
    text = HEAD + "shape hold both { follows elbow }    // to be sculpted\n"
    arms.spec.write_text(plica.format_text(text).text or "", "utf-8")
    asked = ["draft", "arms.plica", "hold", "--without-contact", "--into-spec"]
    assert run([*asked, "--inbetweens", "2"]) == 0
    said = arms.spec.read_text("utf-8")
    assert "arms.plica says so" in capsys.readouterr().out and "// to be sculpted" in said
    assert plica.format_text(said).text == said and arms.notes() == []
    # Inbetweens that the next draft does not have leave the spec, and their files are not named any more.
    assert said.count("inbetween ") == 2 and run([*asked, "--inbetweens", "1"]) == 0
    assert arms.spec.read_text("utf-8").count("inbetween ") == 1 and arms.notes() == []
    # A family's shapes are not declared each for itself: the lines are shown, and those that go.
    family = HEAD + "each one in hold { shape {one} both { follows elbow } }\n"
    arms.spec.write_text(family, "utf-8")
    capsys.readouterr()
    assert run([*asked, "--inbetweens", "0"]) == 0
    out, err = capsys.readouterr()
    assert "the spec is to say of hold:" in out and "left as it is" in err
    assert arms.spec.read_text("utf-8") == family


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
