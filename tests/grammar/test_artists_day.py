"""Every command of the page about a sculpting day runs, in its order, on the demo character."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import numpy as np
import pytest

from plica.commands.main import run
from plica.mesh.obj_mesh import read_obj
from tests.support.data import ROOT
from tests.support.sculpted import bumped, obj
from tests.variants.model_file import read_model, write_model

PAGE = ROOT / "grammar" / "artists_day.md"
STEP = re.compile(r"```sh\n(?P<commands>.*?)```|<!-- (?P<act>sculpt|edit) (?P<file>\S+) -->", re.DOTALL)


def test_the_day(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    steps = list(STEP.finditer(PAGE.read_text("utf-8")))
    assert sum(step["act"] is not None for step in steps) == 2
    for step in steps:
        if step["act"] == "sculpt":
            mesh = read_obj(Path(step["file"]))
            middle = int(np.argmin(np.abs(mesh.positions - read_elbow(mesh.positions)).sum(axis=1)))
            Path(step["file"]).write_bytes(obj(bumped(mesh.positions, middle, 2.0, 0.4), mesh.triangles))
        elif step["act"] == "edit":
            model = read_model(Path(step["file"]))
            [skin] = [one for mesh in model.meshes for one in mesh.primitives]
            skin.positions[np.argsort(skin.positions[:, 1])[-30:]] += [0.0, 0.01, 0.0]
            write_model(model, Path(step["file"]))
        else:
            for line in step["commands"].strip().split("\n"):
                execute(line, capsys, monkeypatch)


def read_elbow(positions: np.ndarray) -> np.ndarray:
    """A place on the outer left of the body, which the bent arm reaches."""
    return np.asarray(positions[np.argsort(positions[:, 0])[-400]])


def execute(line: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    words = shlex.split(line)
    fails = words[0] == "!"
    name, *rest = words[1:] if fails else words
    if name == "cd":
        monkeypatch.chdir(rest[0])
    elif name == "cp":
        shutil.copyfile(*rest)
    else:
        assert name == "plica"
        assert run(rest) == (1 if fails else 0), (line, capsys.readouterr())
