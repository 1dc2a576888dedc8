"""Expectations of folds, on a cloth whose masks are known in closed form: x for its tip, 1 - x for its base."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest
from PIL import Image

from plica.commands.main import run
from tests.support.cloth import SPEC, cloth

HEAD = SPEC.replace("fold creases { in weave   area far   follows lift }\n", "") + (
    "region near { skin of base }\n"
    "driver droop { reads rotation about y of tip   span 0 deg .. 90 deg }\n"
    "fold creases { in weave   area far   follows lift }\n"
)
# A mask of 8 bits is off by half a step at most; two of them by a whole one.
STEPS = 1.0 / 255.0


def proven(folder: Path, capsys: pytest.CaptureFixture[str], declarations: str, head: str = HEAD) -> dict[str, object]:
    """The one result of a spec, with the exit code under `exit`."""
    spec = cloth(folder, head + declarations)
    code = run(["prove", spec.as_posix(), "--no-cache", "--format", "json"])
    (result,) = json.loads(capsys.readouterr().out)["results"]
    return {**result, "exit": code}


@pytest.mark.parametrize(
    ("over", "most"),
    [("over lift", 1.0), ("over droop", 1.0), ("over lift, droop", 2.0), ("", 2.0)],
)
def test_overlap_is_the_sum_of_mask_times_strength_and_not_of_masks_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], over: str, most: float
) -> None:
    """Both folds have the mask x, so the largest sum is that of both strengths in one pose, at x = 1."""
    folds = "fold lines { in weave   area far   follows droop }\n"
    result = proven(tmp_path, capsys, f"{folds}expect {{ overlap of weave at most 1 {over} }}\n")
    assert result["worst"] == pytest.approx(most, abs=0.02 if not over else 2 * STEPS)
    assert (result["status"], result["exit"]) == (("holds", 0) if most == 1.0 else ("fails", 1))
    assert result["pose"] is not None and result["place"] is not None
    assert result["place"]["position"][0] == pytest.approx(2.0, abs=0.06)  # type: ignore[index]
    if most == 2.0:
        assert "creases" in str(result["about"]) and "lines" in str(result["about"])


def test_areas_that_fade_into_each_other_do_not_overlap(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """x + (1 - x) = 1 everywhere, but for the steps of 8 bits."""
    folds = "fold lines { in weave   area near   follows lift }\n"
    result = proven(tmp_path, capsys, f"{folds}expect {{ overlap of weave at most 1 over lift }}\n")
    assert result["worst"] == pytest.approx(1.0, abs=STEPS)
    assert (result["status"], result["exit"]) == ("holds", 0)


def test_a_single_fold_overlaps_with_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    result = proven(tmp_path, capsys, "expect { overlap of weave at most 1 }\n")
    assert (result["status"], result["worst"], result["about"]) == ("holds", 0.0, "no two folds lie over each other")


@pytest.mark.parametrize(("budget", "status"), [("64 MiB", "holds"), ("0.001 KiB", "fails")])
def test_the_budget_is_held_against_the_textures_that_are_built(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], budget: str, status: str
) -> None:
    """Against the images themselves and the sum of the geometric series of mip levels, (4 base - last) / 3 texels."""
    result = proven(tmp_path, capsys, "expect { budget }\n", HEAD.replace("64 MiB", budget))
    assert (result["status"], result["exit"], result["unit"]) == (status, 0 if status == "holds" else 1, "KiB")
    assert result["about"] == "weave"
    spec = cloth(tmp_path / "built", HEAD)
    assert run(["build", spec.as_posix(), "--out", (tmp_path / "out").as_posix(), "--target", "masks"]) == 0
    used = 0
    for file in (tmp_path / "out").glob("*.png"):
        image = Image.open(io.BytesIO(file.read_bytes()))
        used += (4 * image.width**2 - 1) // 3 * {1: 1, 3: 4, 4: 4}[len(image.getbands())]
    assert used > 0
    assert result["worst"] == pytest.approx(used / 1024.0)


def test_a_budget_that_no_detail_states(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    result = proven(tmp_path, capsys, "expect { budget }\n", HEAD.replace("   budget 64 MiB", ""))
    assert (result["status"], result["about"], result["exit"]) == ("not measured", "no detail states a budget", 1)


def test_masks_that_cannot_be_made_say_why(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    head = HEAD.replace("skin of tip }", 'painted "spots.png" }')
    spec = cloth(tmp_path, head + "expect { budget }\n")
    assert run(["prove", spec.as_posix(), "--no-cache", "--format", "json"]) == 1
    shown = capsys.readouterr()
    assert "spots.png" in shown.out + shown.err
