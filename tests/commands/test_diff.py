"""`plica diff`."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from plica.commands.main import run
from plica.mesh.npz import arrays_of, written
from tests.support.cloth import SPEC as CLOTH
from tests.support.cloth import bump, cloth
from tests.support.compared import replaced
from tests.support.repositories import git


def test_nothing_changed(repository: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["diff", "git:HEAD", "wren.plica"]) == 0
    assert capsys.readouterr().out == "no changes; version step: none\n"


def test_one_library_line_shows_every_character_and_side(repository: Path, capsys: pytest.CaptureFixture[str]) -> None:
    replaced("limb.plica", "130 deg", "100 deg")
    assert run(["diff", "git:HEAD", "."]) == 1
    shown = capsys.readouterr().out
    assert "\n  pip, wren: driver knee_bend (both sides)  limb.plica:3:" in shown
    # Linear over 0..130 against 0..100 degrees: at 100 degrees 1 against 100/130.
    assert "at most 0.2308, at 100 deg; the extreme moved from 130 deg to 100 deg" in shown
    assert shown.endswith("\n1 risky; version step: minor\n")


def test_a_dropped_expectation_and_a_moved_rest_are_said_loudly(
    repository: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    replaced("wren.plica", "expect { rest }\n", "")
    replaced("wren.plica", "span 0 .. 1", "span 1 .. 0")
    assert run(["diff", "git:HEAD:wren.plica", "wren.plica", "--format", "json"]) == 1
    document = json.loads(capsys.readouterr().out)
    assert (document["format"], document["version"], document["step"]) == ("plica-diff", 1, "major")
    rest, frown = document["changes"]
    assert frown["effect"]["flipped"] and frown["effect"]["rest"] == [0.0, 1.0]
    assert "EXPECTATION DROPPED" in rest["verdicts"][0]["text"]


def test_accepted_changes_do_not_count_and_unused_ones_are_told(
    repository: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    replaced("limb.plica", "130 deg", "100 deg")
    run(["diff", "git:HEAD", "wren.plica"])
    fingerprint = re.findall(r"fingerprint (\w+)", capsys.readouterr().out)[0]
    Path("accepted.toml").write_text(f'{fingerprint} = "stiffer boots"\n{"0" * 16} = "long ago"\n', "utf-8")
    assert run(["diff", "git:HEAD", "wren.plica", "--accept", "accepted.toml"]) == 0
    shown = capsys.readouterr()
    assert "stiffer boots" in shown.out and "version step: none" in shown.out
    assert "PL917" in shown.err and "long ago" in shown.err


def test_other_forms(repository: Path, capsys: pytest.CaptureFixture[str]) -> None:
    replaced("limb.plica", "130 deg", "100 deg")
    assert run(["diff", "git:HEAD", "wren.plica", "--format", "sarif"]) == 1
    result = json.loads(capsys.readouterr().out)["runs"][0]["results"][0]
    assert result["ruleId"] == "PL911" and "plicaChange/v1" in result["partialFingerprints"]
    assert run(["diff", "git:HEAD", "wren.plica", "--format", "github"]) == 1
    assert capsys.readouterr().out.startswith("::warning file=limb.plica,line=3,")
    assert run(["diff", "git:HEAD", "wren.plica", "--format", "markdown"]) == 1
    assert "```mermaid" in capsys.readouterr().out


def test_what_cannot_be_compared(repository: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["diff", "git:nowhere", "wren.plica"]) == 2
    assert "PL914" in capsys.readouterr().err
    assert run(["diff", "limb.plica", "wren.plica"]) == 2
    assert "PL918" in capsys.readouterr().err
    Path("odd.json").write_text("{}", "utf-8")
    assert run(["diff", "odd.json", "wren.plica"]) == 2
    assert "PL915" in capsys.readouterr().err


def test_a_declaration_that_moved_to_a_library_is_only_written_otherwise(
    repository: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    moved = "driver frown { reads control mood   span 0 .. 1 }\n"
    replaced("wren.plica", moved, 'use "face.plica" with { mood = mood }\n')
    Path("face.plica").write_text(
        f"plica 1\nparameter mood\n{moved.replace('control mood', 'control {mood}')}", "utf-8"
    )
    assert run(["diff", "git:HEAD", "wren.plica", "--format", "json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert {(one["kind"], one["harm"]) for one in told["changes"]} == {("text", "cosmetic")} and told["step"] == "patch"
    assert {one["verdicts"][0]["text"] for one in told["changes"]} == {"written otherwise, to the same effect"}


def test_two_built_rigs(repository: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Offsets stand in the built files: nothing is measured anew, and the meshes need not be there."""
    cloth(Path("old"))
    cloth(Path("new"), CLOTH.replace("90 deg", "60 deg"))
    bump(Path("new/bump.npz"), 30, 0.003)
    for state in ("old", "new"):
        assert run(["build", f"{state}/cloth.plica", "--out", f"{state}.built", "--target", "json"]) == 0
    capsys.readouterr()
    pair = [f"{state}.built/cloth.rig.json" for state in ("old", "new")]
    assert run(["diff", *pair, "--format", "json"]) == 1
    told = {change["kind"]: change for change in json.loads(capsys.readouterr().out)["changes"]}
    assert told["driver"]["effect"]["largest"] == pytest.approx(1 / 3, abs=1e-9)
    assert "30 vertices move, by at most 1 mm" in told["offsets"]["verdicts"][0]["text"]
    assert run(["diff", pair[0], pair[0]]) == 0
    assert run(["diff", "old/cloth.plica", pair[0]]) == 0  # a spec and what was built from it


ADDED = """driver turn { reads rotation about y of tip   span 0 deg .. 90 deg }
shape dent { sculpt "bump.npz"   follows turn }
fold crow { in weave   area far   follows turn }
region near { skin of base }
control mood { range 0 .. 1   rest 0 }
pose high { at lift 1 }
"""


@pytest.fixture
def built(repository: Path) -> Path:
    """Two builds: `old`, and `new` with something added of each kind."""
    for state, spec in (("old", CLOTH), ("new", CLOTH + ADDED)):
        cloth(Path(state), spec)
        assert run(["build", f"{state}/cloth.plica", "--out", state, "--target", "json"]) == 0
    return repository


def test_what_was_added_between_two_builds(built: Path, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    assert run(["diff", "old/cloth.rig.json", "new/cloth.rig.json"]) == 1
    shown = capsys.readouterr().out
    for name in ("driver turn", "shape dent", "fold crow", "region near", "control mood", "pose high"):
        assert f"  {name}\n    added" in shown
    assert run(["diff", "new/cloth.rig.json", "old/cloth.rig.json", "--format", "json"]) == 1
    told = json.loads(capsys.readouterr().out)["changes"]
    assert {change["name"] for change in told if change["what"] == "removed"} >= {"turn", "dent", "crow", "near"}


@pytest.fixture
def large(repository: Path) -> Path:
    """A build with a shape that is too large to be listed, in two folders."""
    for state in ("old", "new"):
        cloth(Path(state))
        bump(Path(state, "bump.npz"), 600, 0.002)
        assert run(["build", f"{state}/cloth.plica", "--out", state, "--target", "json"]) == 0
    assert json.loads(Path("old/cloth.rig.json").read_text("utf-8"))["offsets"]["shapes"][0]["listed"] is None
    return repository


PAIR = ["old/cloth.rig.json", "new/cloth.rig.json"]


@pytest.mark.parametrize("damage", ["cut", "flipped", "empty", "another mesh", "another shape", "fewer vertices"])
def test_a_damaged_file_of_offsets_is_an_error(large: Path, capsys: pytest.CaptureFixture[str], damage: str) -> None:
    capsys.readouterr()
    assert run(["diff", *PAIR]) == 0
    file = Path("new/cloth.offsets.npz")
    held = file.read_bytes()
    arrays = arrays_of(held)
    if damage == "another mesh":
        arrays["vertex_count"] += 1
    elif damage == "another shape":
        arrays = {name.replace("bump", "dent"): values for name, values in arrays.items()} | {
            "shapes": np.array(["dent"])
        }
    elif damage == "fewer vertices":
        arrays |= {f"bump/{name}": arrays[f"bump/{name}"][1:] for name in ("indices", "offsets")}
    changed = {"cut": held[:-30], "flipped": held[:300] + b"?" + held[301:], "empty": b""}
    file.write_bytes(changed.get(damage) if damage in changed else written(arrays))
    for pair in (PAIR, PAIR[::-1]):
        capsys.readouterr()
        assert run(["diff", *pair]) == 2
        shown = capsys.readouterr()
        assert "PL919 unreadable-offsets" in shown.err and "cloth.offsets.npz" in shown.err
        assert shown.out == ""


def test_a_file_of_offsets_that_is_not_there_leaves_the_offsets_unknown(
    large: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("new/cloth.offsets.npz").unlink()
    capsys.readouterr()
    assert run(["diff", *PAIR]) == 2
    shown = capsys.readouterr().out
    assert "new state: `cloth.offsets.npz` is not there, so of offsets only the sums were compared" in shown
    assert shown.endswith("no changes in what could be compared; version step: unknown\n")
    text = Path(PAIR[1]).read_text("utf-8")
    Path(PAIR[1]).write_text(text.replace('"vertices": 600', '"vertices": 601'), "utf-8")
    assert run(["diff", *PAIR]) == 1
    assert "600 → 601 vertices" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("option", "content"),
    [
        ("accept", "a = " + "[" * 100_000),
        ("accept", "0123456789abcdef = " + "9" * 5000),
        ("accept", "0123456789abcdef = 1e999"),
        ("accept", "0123456789abcdef = nan"),
        ("accept", "0123456789abcdef = [1, 2]"),
        ("accept", 'twice = "a"\ntwice = "b"'),
        ("rig", "[" * 100_000),
        ("rig", "9" * 5000),
        ("rig", '{"format": "plica-rig", "version": 1e999}'),
        ("rig", '{"format": "plica-rig", "version": 1, "character": {"name": "\\ud800"}}'),
    ],
)
def test_data_that_cannot_be_used_is_told(
    repository: Path, capsys: pytest.CaptureFixture[str], option: str, content: str
) -> None:
    Path("odd.toml").write_text(content, "utf-8")
    Path("odd.json").write_text(content, "utf-8")
    given = ["git:HEAD", "wren.plica", "--accept", "odd.toml"] if option == "accept" else ["odd.json", "wren.plica"]
    assert run(["diff", *given]) == 2
    assert f"error {'PL916' if option == 'accept' else 'PL915'}" in capsys.readouterr().err


def test_a_revision_gives_the_spec_and_all_that_it_uses(repository: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Model, sculpt and library are those of the revision, also where the working tree has lost them."""
    spec = cloth(Path("cloth"), CLOTH + 'use "../limb.plica" as tip with { joint = tip }\n')
    replaced("limb.plica", "bend both", "bend")
    git("add", ".")
    git("commit", "--quiet", "-m", "second")
    bump(Path("cloth/bump.npz"), 30, 0.003)
    assert run(["diff", "git:HEAD", str(spec), "--allow", "."]) == 1
    shown = capsys.readouterr().out
    assert "file bump.npz" in shown and "30 vertices move, by at most 1 mm" in shown
    for file in (spec, spec.parent / "cloth.gltf", spec.parent / "bump.npz", Path("limb.plica")):
        file.unlink()
    assert run(["diff", "git:HEAD:cloth/cloth.plica", "git:HEAD:./cloth/cloth.plica", "--allow", "."]) == 0


def test_measuring_can_be_left_out(repository: Path, capsys: pytest.CaptureFixture[str]) -> None:
    cloth(Path("old"))
    cloth(Path("new"), CLOTH.replace("skin of tip", "skin of base"))
    assert run(["diff", "old", "new"]) == 1
    assert "on the mesh: covers 1 m² → 1 m², 50 % → 50 % of the skin; differs on 1 m²" in capsys.readouterr().out
    assert run(["diff", "old", "new", "--no-measure"]) == 1
    assert "on the mesh" not in capsys.readouterr().out


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_models_buffer_elsewhere_is_not_opened(repository: Path) -> None:
    """A pipe that nobody writes to: opening it would never end.

    Without the buffer nothing is known of the bind pose, so neither state has readings that could be compared.
    """
    os.mkfifo("pipe.bin")
    spec = cloth(Path("deep/down/cloth"))
    model = spec.parent / "cloth.gltf"
    document = json.loads(model.read_bytes())
    document["buffers"][0]["uri"] = "../../../pipe.bin"
    model.write_text(json.dumps(document), "utf-8")
    changed = cloth(Path("deep/down/changed"), CLOTH.replace("skin of tip", "skin of base"))
    (changed.parent / "cloth.gltf").write_bytes(model.read_bytes())
    command = [sys.executable, "-m", "plica", "diff", str(spec), str(changed), "--format", "json"]
    done = subprocess.run(command, timeout=600, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    broken = json.loads(done.stdout)["broken"]
    assert [(one["state"], one["diagnostics"][0]["code"]) for one in broken] == [("old", "PL510"), ("new", "PL510")]
