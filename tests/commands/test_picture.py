"""`plica picture` and what stands behind it, on two arms that bend."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import plica
from plica.commands.main import run
from plica.errors import PlicaError
from plica.mesh.mesh_reader import read_mesh
from tests.support.arm_models import write_arms
from tests.support.arms import CHARACTER, ELBOW, arms_mesh, holding, rig_from

SPEC = (
    CHARACTER.replace("character otter {", 'character otter "An arm\'s length" {\n    geometry "arms.glb"')
    + ELBOW
    + (
        'shape hold both { sculpt "hold.npz"   follows elbow }\npose wave right { at elbow 0.5 }\n'
        "expect left { volume of forearm within 50 % over elbow }\n"
    )
)
SMALL = ["--size", "80x60"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("arms")
    rig = rig_from(ELBOW)
    mesh = arms_mesh(rig)
    write_arms(made / "arms.glb", rig, mesh)
    stored = read_mesh(made / "arms.glb", [joint.name for joint in rig.skeleton])
    offsets = holding(stored, 1.0)
    np.savez(made / "hold.npz", indices=offsets.indices, offsets=offsets.offsets, vertex_count=stored.vertex_count)
    lines = [line for line in SPEC.split("\n") if not line.strip().startswith("joint")]
    text = "\n".join(lines).replace("    skeleton {\n    }\n", "")
    (made / "arms.plica").write_text(text, "utf-8")
    return made


@pytest.fixture(autouse=True)
def here(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)


@pytest.fixture(scope="module")
def character(folder: Path) -> plica.Character:
    return plica.compile_file(folder / "arms.plica")


def test_a_sheet_of_a_sweep_says_what_each_view_shows(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["picture", "arms.plica", "--sweep", "elbow", "--frames", "3", "--tint", "--out", "a.png", *SMALL]) == 0
    shown = capsys.readouterr().out
    assert "left_elbow 0.00: 0 deg\n  left_elbow 0.50: 50 deg\n  left_elbow 1.00: 100 deg" in shown
    with Image.open("a.png") as image:
        assert image.size == (3 * 80 + 4 * 20, image.size[1]) and image.size[1] > 60 + 3 * 27
        views = np.asarray(image).astype(int)[38:95]
    blue = (views[..., 2] - views[..., 0] > 20).any(axis=0)
    assert not blue[:100].any(), "shapes move nothing at rest"
    assert blue[220:300].any()


def test_the_same_bytes_every_time(character: plica.Character) -> None:
    one, other = (plica.draw_skin(character, at="elbow 1", size=(80, 60)) for _ in range(2))
    assert one.file("a.png") == other.file("a.png")
    assert one.said == ("left_elbow 1",)
    assert one.file("a.png") != plica.draw_skin(character, at="elbow 1", size=(80, 60), shapes=False).file("a.png")


@pytest.mark.parametrize("ending", [".png", ".webp"])
def test_a_picture_that_moves_goes_there_and_back(ending: str) -> None:
    command = ["picture", "arms.plica", "--sweep", "elbow", "--moving", "--frames", "4", "--out", f"m{ending}", *SMALL]
    assert run(command) == 0
    with Image.open(f"m{ending}") as image:
        assert image.n_frames == 6 and image.is_animated  # type: ignore[attr-defined]


def test_each_way_to_say_a_pose(character: plica.Character) -> None:
    said = {
        "pose right_wave": {"pose": "right_wave"},
        "worst of volume of left_forearm over left_elbow": {"worst": "volume"},
        "rest": {},
    }
    for words, given in said.items():
        assert plica.draw_skin(character, size=(40, 30), **given).said == (words,)  # type: ignore[arg-type]
    poses = plica.pose(character, strengths={"left_elbow": 1.0})
    assert plica.draw_skin(character, poses=poses, size=(40, 30)).said == ("frame 1 of 1",)


def test_what_is_looked_at_fills_the_view(character: plica.Character) -> None:
    def room(**given: object) -> int:
        drawn = plica.draw_skin(character, size=(80, 80), standpoint="front", **given)  # type: ignore[arg-type]
        drawn.write("room.png")
        with Image.open("room.png") as image:
            return int((np.asarray(image.convert("L"))[30:100, 20:100] < 190).sum())

    whole, near = room(whole=True), room(look_at="left_forearm")
    assert near > 2 * whole > 0
    assert room(look_at="forearm") == near
    assert room(look_at="lowerarm_lf") > 2 * whole


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (["--from", "behind"], "no standpoint"),
        (["--look-at", "forarm"], "did you mean `forearm`"),
        (["--sweep", "elbo"], "did you mean `elbow`"),
        (["--pose", "wav"], "no pose `wav`"),
        (["--moving"], "can move"),
        (["--size", "5x5"], "from 16 x 16"),
        (["--clip", "absent.glb"], "absent.glb"),
        (["--out", "x.gif"], "are written as .png, .webp"),
    ],
)
def test_mistakes(given: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["picture", "arms.plica", "--out", "x.png", *given]) == 1
    assert said in capsys.readouterr().err
    assert not Path("x.png").exists() and not Path("x.gif").exists()


def test_one_pose_at_a_time_and_no_picture_is_written_over(
    character: plica.Character, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(PlicaError, match="one thing"):
        plica.draw_skin(character, at="elbow 1", sweep="elbow")
    Path("there.png").write_bytes(b"")
    assert run(["picture", "arms.plica", "--out", "there.png"]) == 2
    assert "--replace" in capsys.readouterr().err
    assert run(["picture", "arms.plica", "--out", "there.png", "--replace", *SMALL]) == 0
