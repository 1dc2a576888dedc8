"""Stills: which folds are on at amounts by name, and the blended maps."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.masks import masks
from plica.kinds.readings import ControlValue
from plica.mesh.arrays import Floats
from plica.rig.rig import Character, Pose, Rig
from plica.rig.strengths import Combination, Combine, Driver, StrengthOf
from plica.rig.surfaces import Fold, StrengthPose
from plica.targets.masks import MasksTarget
from plica.texture.detail_maps import DetailMaps, normals_at
from plica.texture.mask_set import MaskOptions
from plica.texture.normal_maps import NormalMap, encoded, read_normal_map, unit
from plica.texture.stills import StillError, amounts_of, fold_amounts, folds_at, posed_items, relaid
from plica.values import LINEAR, Side
from tests.support.masks import folded
from tests.support.meshes import bare_mesh

RANDOM = np.random.default_rng(31)

# ---- amounts


def test_amounts_are_read() -> None:
    assert amounts_of(" nose=1, left_brow = -0.5 ,x=.25") == {"nose": 1.0, "left_brow": -0.5, "x": 0.25}
    assert amounts_of("rest") == {}


@pytest.mark.parametrize("text", ["", "nose", "nose=", "=1", "nose=1,", "nose=much", "nose=nan", "nose=inf", "a=1 b=2"])
def test_what_cannot_be_read_is_told(text: str) -> None:
    with pytest.raises(StillError, match="is not of the form"):
        amounts_of(text)


def driver(name: str, side: Side = "none") -> Driver:
    output = name if side == "none" else f"{side}_{name}"
    return Driver(output, side, name, ControlValue("c"), (0.0, 1.0), True, LINEAR)


def fold(name: str, follows: str | None, side: Side = "none") -> Fold:
    return Fold(name if side == "none" else f"{side}_{name}", side, name, "fur", "area", follows, 0.05)


RIG = Rig(
    Character("wren", "", None, 0.0),
    (),
    strengths=(
        driver("lift", "left"),
        driver("lift", "right"),
        driver("turn"),
        Combine("both", "none", "both", Combination("product", (StrengthOf("left_lift"), StrengthOf("turn")))),
    ),
    folds=(
        fold("brow", "left_lift", "left"),
        fold("brow", "right_lift", "right"),
        fold("nape", "turn"),
        fold("deep", "both"),
        fold("still", None),
    ),
)


@pytest.mark.parametrize(
    ("given", "on"),
    [
        ({}, {}),
        ({"lift": 1.0}, {"left_brow": 1.0, "right_brow": 1.0}),
        ({"left_lift": 0.5}, {"left_brow": 0.5}),
        ({"lift": 1.0, "right_lift": 0.25}, {"left_brow": 1.0, "right_brow": 0.25}),
        ({"left_lift": 0.5, "turn": 0.5}, {"left_brow": 0.5, "nape": 0.5, "deep": 0.25}),
        ({"brow": 0.75}, {"left_brow": 0.75, "right_brow": 0.75}),
        ({"lift": 1.0, "left_brow": 0.0}, {"right_brow": 1.0}),
        ({"both": 1.0}, {"deep": 1.0}),
        ({"still": 0.4}, {"still": 0.4}),
    ],
)
def test_folds_are_on_as_far_as_what_they_follow(given: dict[str, float], on: dict[str, float]) -> None:
    result = fold_amounts(RIG, given)
    assert list(result) == [each.name for each in RIG.folds]
    assert {name: amount for name, amount in result.items() if amount} == on


def test_an_unknown_name_is_told_with_one_that_is_close() -> None:
    with pytest.raises(StillError, match="`left_brwo` is neither a fold nor a strength; did you mean `left_brow`"):
        fold_amounts(RIG, {"left_brwo": 1.0})


# ---- poses


def test_a_pose_is_found_by_its_name_or_the_one_for_both_sides() -> None:
    left, right = StrengthPose("left_lift", 0.5), StrengthPose("right_lift", 1.0)
    poses = (Pose("left_frown", "left", "frown", (left,)), Pose("right_frown", "right", "frown", (right,)))
    rig = RIG._replace(poses=poses)
    assert posed_items(rig, " right_frown ") == ("right_frown", (right,))
    assert posed_items(rig, "frown") == ("left_frown", (left, right))
    assert posed_items(rig, "lift=1") is None
    assert posed_items(rig, "rest") is None
    with pytest.raises(StillError, match=r"`fown` is not a declared pose \(did you mean `frown`"):
        posed_items(rig, "fown")
    with pytest.raises(StillError, match="`frown,lift` is not a declared pose"):
        posed_items(rig, "frown,lift")


def test_folds_in_a_pose_are_on_as_far_as_what_they_follow() -> None:
    strengths = {"left_lift": 0.5, "right_lift": 0.0, "turn": 1.0, "both": 0.5}
    assert folds_at(RIG, strengths) == {
        "left_brow": 0.5,
        "right_brow": 0.0,
        "nape": 1.0,
        "deep": 0.5,
        "still": 0.0,
    }


# ---- pictures


def normal_map(size: int) -> NormalMap:
    vectors = unit(RANDOM.normal(size=(size, size, 3)) * 0.3 + (0.0, 0.0, 1.0))
    return NormalMap(encoded(vectors), 8)


def as_png(image: NormalMap) -> bytes:
    content = io.BytesIO()
    Image.fromarray(image.stored).save(content, "PNG")
    return content.getvalue()


DECLARED = (
    'detail fur { relaxed "relaxed.png" contracted "contracted.png" budget 64 MiB }\n'
    "driver turn { reads rotation about y of head span 5 deg .. 60 deg }\n"
    "region skull { skin of head feather 20 mm }\n"
    "fold skull_lines { in fur area skull follows turn tolerance 10 % }\n"
)


@pytest.fixture(scope="module")
def maps() -> tuple[NormalMap, NormalMap]:
    return normal_map(128), normal_map(128)


@pytest.fixture(scope="module")
def build(tmp_path_factory: pytest.TempPathFactory, maps: tuple[NormalMap, NormalMap]) -> Build:
    relaxed, contracted = (as_png(image) for image in maps)
    files = {"relaxed.png": relaxed, "contracted.png": contracted}
    return folded(tmp_path_factory.mktemp("wren"), DECLARED, **files)


def emitted(build: Build, *asked: str) -> tuple[dict[str, bytes], list[str]]:
    diagnostics = Diagnostics()
    files = MasksTarget(size=128, still=asked).emit(build, diagnostics)
    return files, [item.message for item in diagnostics.all if item.severity == "error"]


def test_a_still_is_what_the_evaluator_gives_for_the_textures(build: Build, maps: tuple[NormalMap, NormalMap]) -> None:
    """From the files alone: the mask as a reader of its texture has it, and the two maps, at every texel's middle."""
    files, told = emitted(build, "rest", "turn=1", "skull_lines=0.5")
    assert told == []
    made = masks(build, Diagnostics(), MaskOptions(128))
    assert made is not None
    (texture,) = made.textures
    mask = np.asarray(Image.open(io.BytesIO(files[texture.file]))) / 255.0
    assert mask.ndim == 2 and mask.max() == 1.0
    down, across = np.mgrid[0:128, 0:128]
    middles = np.stack([(across + 0.5) / 128, (down + 0.5) / 128], axis=-1).reshape(-1, 2)
    whole = DetailMaps(*maps, {"skull_lines": mask})
    for number, amount in enumerate((0.0, 1.0, 0.5), 1):
        stored = np.asarray(read_normal_map(files[f"wren.fur.still.{number}.png"]).stored)
        expected = encoded(normals_at(whole, {"skull_lines": amount}, middles)).reshape(stored.shape)
        assert np.array_equal(stored, expected)
    assert (
        np.abs(np.asarray(read_normal_map(files["wren.fur.still.1.png"]).stored).astype(int) - maps[0].stored).max()
        <= 1
    )
    on = mask_at(mask, middles) == 1.0
    second = np.asarray(read_normal_map(files["wren.fur.still.2.png"]).stored).reshape(-1, 3)
    assert on.any()
    assert np.abs(second[on].astype(int) - maps[1].stored.reshape(-1, 3)[on]).max() <= 1


def mask_at(mask: Floats, uv: Floats) -> Floats:
    from plica.texture.normal_maps import sampled

    return sampled(mask, uv)


def test_stills_that_cannot_be_made_are_told(build: Build) -> None:
    files, told = emitted(build, "trun=1")
    assert len(told) == 1 and "did you mean `turn`" in told[0]
    assert not [name for name in files if "still" in name]
    attached = build.attached
    assert attached is not None
    details = tuple(detail._replace(uv="skin") for detail in build.rig.details)
    regions = tuple(region for region in build.rig.regions)
    other = replace(build, rig=build.rig._replace(details=details, regions=regions))
    _, told = emitted(other, "rest")
    assert told and "`skin`" in told[0]


def test_a_mask_relaid_through_the_surface() -> None:
    """A square whose second uv set is turned by a right angle: the mask comes out turned, texel for texel."""
    corners = np.array(((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (1.0, 1.0, 0.0), (0.0, 1.0, 0.0)))
    mesh = bare_mesh(corners, np.array(((0, 1, 2), (0, 2, 3))))
    first = corners[:, :2]
    second = np.stack([1.0 - first[:, 1], first[:, 0]], axis=1)
    mesh = replace(mesh, uvs={"first": first, "second": second})
    mask = RANDOM.random((16, 16))
    result = relaid(mask, mesh, "first", "second", 16)
    assert np.allclose(result, np.rot90(mask, -1), rtol=0, atol=1e-5)
    assert relaid(mask, mesh, "first", "second", 9).shape == (16, 16)


def test_stills_through_the_command_line(tmp_path: Path, maps: tuple[NormalMap, NormalMap]) -> None:
    from plica.commands.main import run

    relaxed, contracted = (as_png(image) for image in maps)
    folded(tmp_path, DECLARED, **{"relaxed.png": relaxed, "contracted.png": contracted})
    spec, out = tmp_path / "wren.plica", tmp_path / "out"
    given = ["--target", "masks", "--option", "masks.size=128", "--option", "masks.still=turn=0.5"]
    assert run(["build", str(spec), "--out", str(out), *given, "--option", "masks.still=rest"]) == 0
    assert sorted(path.name for path in out.glob("*.still.*")) == ["wren.fur.still.1.png", "wren.fur.still.2.png"]
    first, second = ((out / f"wren.fur.still.{number}.png").read_bytes() for number in (1, 2))
    assert first != second
    assert run(["build", str(spec), "--out", str(out), *given, "--option", "masks.still=brow=1"]) == 1


def test_poses_through_the_command_line(
    tmp_path: Path, maps: tuple[NormalMap, NormalMap], capsys: pytest.CaptureFixture[str]
) -> None:
    """The head is turned by 32.5 of 5 to 60 degrees, as an amount, as an angle, and on the way to something else."""
    from plica.commands.main import run

    relaxed, contracted = (as_png(image) for image in maps)
    poses = (
        "pose halfway { at turn 0.5 }\n"
        "pose looking { at about y of head 32.5 deg }\n"
        "pose away { at about y of head -40 deg }\n"
        "driver peek { reads rotation about y of head span 5 deg .. 90 deg }\n"
        "pose torn { at turn 1, peek 0 }\n"
    )
    folded(tmp_path, DECLARED + poses, **{"relaxed.png": relaxed, "contracted.png": contracted})
    spec, out = tmp_path / "wren.plica", tmp_path / "out"
    given = ["build", str(spec), "--out", str(out), "--target", "masks", "--option", "masks.size=128"]
    asked = ("turn=0.5", "halfway", "looking", "away", "rest", "turn=1")
    assert run(given + [part for text in asked for part in ("--option", f"masks.still={text}")]) == 0
    files = [(out / f"wren.fur.still.{number}.png").read_bytes() for number in range(1, 7)]
    half, halfway, looking, away, rest, whole = files
    assert halfway == half
    assert looking == half
    assert away == rest
    assert len({half, rest, whole}) == 3
    capsys.readouterr()
    assert run([*given, "--option", "masks.still=torn"]) == 1
    assert "in this pose: with everything else as stated" in capsys.readouterr().out
    assert run([*given, "--option", "masks.still=lookin"]) == 1
    assert "did you mean `looking`" in capsys.readouterr().out
