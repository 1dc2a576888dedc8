"""Pictures of what a change does to the skin, on a cloth with a bump."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import plica
import tests.support.cloth
from plica.mesh.npz import arrays_of, written
from tests.support.cloth import SPEC, cloth


@pytest.fixture
def states(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Path, Path]:
    """The cloth twice, its bump a tenth higher in the second, in the working folder."""
    monkeypatch.chdir(tmp_path)
    old, new = cloth(tmp_path / "old"), cloth(tmp_path / "new")
    for file in sorted(new.parent.glob("*.npz")):
        arrays = arrays_of(file.read_bytes())
        arrays["offsets"] = (arrays["offsets"] * 1.1).astype(arrays["offsets"].dtype)
        file.write_bytes(written(arrays))
    return old, new


def test_the_picture_shows_where_and_how_far_the_skin_is_apart(states: tuple[Path, Path]) -> None:
    comparison = plica.compare_characters(*states, pictures=Path("my pictures"))
    assert comparison.report is not None and not comparison.diagnostics
    [drawn] = comparison.report.pictures
    assert drawn.file == f"my pictures/{drawn.character}.png"
    assert "lift all the way: at most " in drawn.words and drawn.words.endswith(" mm apart")
    assert f"![{drawn.character}: " in comparison.rendered("markdown")
    assert f"](my%20pictures/{drawn.character}.png)" in comparison.rendered("markdown")
    assert f"{drawn.file}: {drawn.character}, " in comparison.rendered("text")
    assert json.loads(comparison.rendered("json"))["pictures"] == [drawn._asdict()]
    with Image.open(drawn.file) as image:
        before, after, apart = (np.asarray(image).astype(int)[50:440, left : left + 420] for left in (20, 460, 900))
    assert (before != after).any()
    blue = [int((view[..., 2] - view[..., 0] > 40).sum()) for view in (before, after, apart)]
    assert blue[:2] == [0, 0] and blue[2] > 100


def test_why_there_is_no_picture(states: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    old, new = states
    alike = plica.compare_characters(old, old, pictures="pictures")
    assert alike.report is not None
    assert alike.report.pictures[0].words == "the skin is the same in every pose that was looked at"
    assert "No picture of cloth: the skin" in alike.rendered("markdown")
    monkeypatch.setattr(tests.support.cloth, "ACROSS", 30)
    monkeypatch.setattr(tests.support.cloth, "COUNT", 31 * 21)
    cloth(new.parent, SPEC.replace('sculpt "bump.npz"   ', ""))
    other = plica.compare_characters(old, new, pictures="pictures").report
    assert other is not None and "other vertices" in other.pictures[0].words
    assert not Path("pictures").exists()
