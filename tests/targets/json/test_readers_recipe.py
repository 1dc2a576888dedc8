"""The page "a second studio's reader in ten lines": its lines run with a reader that was written from the pages."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import plica
from plica.mesh.npz import written
from tests.support.cloth import COUNT, SPEC, cloth
from tests.support.data import ROOT
from tests.targets.json.interpreter import strengths
from tests.targets.json.skin_reader import SkinReader
from tests.variants.model_file import read_model

PAGE = ROOT / "targets" / "json" / "reader.md"


def test_the_pages_lines_read_and_prove_a_character(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = SPEC.split("detail")[0].replace("follows lift", 'follows lift   inbetween 0.3 "half.npz"')
    spec = cloth(tmp_path, text.replace("90 deg }", "90 deg   unclamped }"))
    rows = np.arange(10, 50, dtype="<i4")
    moved = np.full((40, 3), 0.01, "<f4")
    (tmp_path / "half.npz").write_bytes(written({"indices": rows, "offsets": moved, "vertex_count": np.array(COUNT)}))
    for name, content in plica.build_files(plica.compile_file(spec), ["json"]).files.items():
        (tmp_path / name).write_bytes(content)
    page: dict[str, Any] = {}
    for block in re.findall(r"```python\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL):
        exec(block, page)
    rig, vectors, offsets = page["opened"](tmp_path / "cloth")
    reader = SkinReader(rig, read_model(tmp_path / "cloth.gltf"), offsets)
    for strength in (-0.5, 0.0, 0.1, 0.3, 0.9, 1.0, 1.7):
        found = page["moves"](rig, offsets, {"lift": strength})
        np.testing.assert_allclose(
            found, reader._offsets({"lift": strength}), rtol=0, atol=2e-9
        )  # single precision of 0.02
    monkeypatch.setattr(reader, "_offsets", lambda given: page["moves"](rig, offsets, given))
    page["check"](vectors, lambda pose: strengths(rig, pose), reader.positions)
    with pytest.raises(AssertionError):
        page["check"](vectors, lambda pose: strengths(rig, {**pose, "joints": {}}), reader.positions)
    with pytest.raises(AssertionError):
        page["check"](vectors, lambda pose: strengths(rig, pose), lambda pose, _: reader.positions(pose, {"lift": 0.0}))
    vectors["build"] = "another"
    (tmp_path / "cloth.vectors.json").write_text('{"build": "another"}')
    with pytest.raises(AssertionError):
        page["opened"](tmp_path / "cloth")
