"""An axis handed to a library: by name, or as a vector in a text."""

from __future__ import annotations

from pathlib import Path

import pytest

from plica.kinds.readings import Rotation
from plica.pipeline import Compiled, compile_file
from plica.rig.strengths import Driver
from tests.support.data import ROOT

SKELETON = """plica 1
character one {
    skeleton {
        joint root at 0 mm, 0 mm, 0 mm
        joint "f_index.01.L" under root at 100 mm, 0 mm, 0 mm
        joint "f_ring.01.L" under root at 100 mm, 0 mm, 50 mm
        joint "f_index.01.R" under root at -100 mm, 0 mm, 0 mm
        joint "f_ring.01.R" under root at -100 mm, 0 mm, 50 mm
    }
    left  "*.L"
    right "*.R"
}
"""


def _compiled(folder: Path, use: str) -> Compiled:
    library = folder / "library"
    library.mkdir()
    for name in ("limb.plica", "hand.plica"):
        (library / name).write_text((ROOT / "specs" / "library" / name).read_text("utf-8"), "utf-8")
    spec = folder / "one.plica"
    spec.write_text(SKELETON + use, "utf-8")
    return compile_file(spec)


@pytest.mark.parametrize(
    ("axis", "expected"),
    [
        ('"-z"', (0.0, 0.0, -1.0)),
        ('"(0, 0.6, -0.8)"', (0.0, 0.6, -0.8)),
        ('"( 0 ,3, 4 )"', (0.0, 0.6, 0.8)),
        ('"x"', (1.0, 0.0, 0.0)),
    ],
)
def test_a_limb_takes_any_axis_and_any_name(axis: str, expected: tuple[float, float, float], tmp_path: Path) -> None:
    use = f'use "library/limb.plica" as finger with {{ joint = "f_index.01"   axis = {axis} }}\n'
    compiled = _compiled(tmp_path, use)
    assert {item.name for item in compiled.diagnostics} <= {"unused-strength"}
    assert compiled.rig is not None
    left = next(one for one in compiled.rig.strengths if isinstance(one, Driver) and one.side == "left")
    assert isinstance(left.reading, Rotation)
    assert left.reading.joint == "f_index.01.L"
    assert left.reading.axis == pytest.approx(expected)


@pytest.mark.parametrize("axis", ['"(0, 1)"', '"(0, 1, 2, 3)"', '"(1e9, 0, 0)"', "w", '"(0, 0, 0)"'])
def test_what_is_no_axis_is_one_diagnostic(axis: str, tmp_path: Path) -> None:
    use = f'use "library/limb.plica" as finger with {{ joint = "f_index.01"   axis = {axis} }}\n'
    names = [item.name for item in _compiled(tmp_path, use).diagnostics]
    assert ("null-axis" if "0, 0, 0)" in axis and "1" not in axis else "not-an-axis") in names


def test_a_hand_takes_any_naming(tmp_path: Path) -> None:
    given = 'fingers = index, ring   before = "f_"   after = ".01"   axis = "(0, 0.6, 0.8)"'
    use = f'use "library/hand.plica" with {{ {given} }}\n'
    assert {item.name for item in _compiled(tmp_path, use).diagnostics} == {"missing-folder"}  # the sculpts alone


def test_a_hand_of_another_naming_is_not_found(tmp_path: Path) -> None:
    use = 'use "library/hand.plica" with { fingers = index, ring }\n'
    assert "unknown-joint" in {item.name for item in _compiled(tmp_path, use).diagnostics}
