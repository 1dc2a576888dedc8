"""The target `table`: what pyarrow reads of it is what Plica computes over the same clips."""

from __future__ import annotations

import csv
import io
import json
import math
import sys
from collections.abc import Mapping
from pathlib import Path
from shutil import copy
from typing import Any

import numpy as np
import pytest

import plica
from plica.rig.rig import SourceFile
from plica.targets.table import TARGET
from plica.targets.table.motion import Column, MotionTable
from tests.support.data import SMALL_DATA
from tests.targets.rigs import whole_rig

pyarrow = pytest.importorskip("pyarrow", reason="pyarrow (the extra `table`) is not installed")
parquet = pytest.importorskip("pyarrow.parquet")

SPEC = """plica 1
character bar {{ geometry "{model}" }}
driver bent  {{ reads bend of joint_2   span 0 deg .. 90 deg   curve smooth }}
driver apart {{ reads gap of joint_2 from joint_1   span 0 mm .. 10 mm   unclamped }}
combine both = product(bent, apart)
"""
BVH = """HIERARCHY
ROOT joint_1
{
    OFFSET 0 0 0
    CHANNELS 3 Zrotation Xrotation Yrotation
    JOINT joint_2
    {
        OFFSET 0 1 0
        CHANNELS 3 Zrotation Xrotation Yrotation
        End Site
        {
            OFFSET 0 1 0
        }
    }
}
MOTION
Frames: 3
Frame Time: 0.5
0 0 0 0 0 0
0 0 0 45 0 0
0 0 0 90 0 0
"""


def character(folder: Path) -> plica.Character:
    """A bar of two joints whose file has a clip of its own (Khronos, glTF-Sample-Models, SimpleSkin)."""
    copy(SMALL_DATA / "SimpleSkin.gltf", folder)
    made = plica.compile_text(SPEC.format(model="SimpleSkin.gltf"), folder=folder)
    assert made.ok, made.diagnostics
    return made


def built(made: plica.Character, **options: Any) -> plica.BuiltFiles:
    return plica.build_files(made, ["table"], options={"table": options})


def read(files: Mapping[str, bytes]) -> Any:
    return parquet.read_table(io.BytesIO(files["bar.strengths.parquet"]))


def test_the_models_own_clip_is_what_it_is_by_itself(tmp_path: Path) -> None:
    made = character(tmp_path)
    files = built(made, readings="yes").files
    assert sorted(files) == ["bar.strengths.csv", "bar.strengths.parquet"]
    table = read(files)
    (clip,) = plica.read_clips(made, tmp_path / "SimpleSkin.gltf").clips
    expected = plica.compute_strengths(made, clip.poses)
    assert table.column_names == [
        "clip name",
        "frame number",
        "time in s",
        *made.strengths,
        "reading of apart",
        "reading of bent",
    ]
    assert table.column("clip name").to_pylist() == ["SimpleSkin.gltf"] * len(clip.times)
    assert table.column("frame number").to_pylist() == list(range(len(clip.times)))
    np.testing.assert_array_equal(table.column("time in s").to_numpy(), clip.times)
    for name in made.strengths:
        np.testing.assert_allclose(table.column(name).to_numpy(), expected[name], rtol=0, atol=1e-12)
    bent = table.column("reading of bent").to_numpy()
    assert bent.max() > 0.5
    share = np.clip(bent / math.radians(90.0), 0.0, 1.0)
    np.testing.assert_allclose(table.column("bent").to_numpy(), share * share * (3.0 - 2.0 * share), atol=1e-9)


def test_types_units_and_what_it_was_made_from_are_in_the_metadata(tmp_path: Path) -> None:
    made = character(tmp_path)
    files = plica.build_files(made, ["table", "json"], options={"table": {"readings": "yes"}})
    table = read(files.files)
    units = {field.name: field.metadata[b"unit"].decode() for field in table.schema if b"unit" in field.metadata}
    assert units == {
        "frame number": "1",
        "time in s": "s",
        "apart": "1",
        "bent": "1",
        "both": "1",
        "reading of apart": "m",
        "reading of bent": "rad",
    }
    assert {str(field.type) for field in table.schema} == {"string", "int32", "double"}
    assert not any(field.nullable for field in table.schema)
    told, rig = json.loads(table.schema.metadata[b"plica"]), json.loads(files.files["bar.rig.json"])
    assert (told["format"], told["version"], told["character"]) == ("plica-table", 1, "bar")
    assert (told["build"], told["made_from"]) == (rig["build"], rig["made_from"])
    assert told["clips"] == rig["made_from"]["sources"]


def test_csv_has_the_same_rows(tmp_path: Path) -> None:
    files = built(character(tmp_path)).files
    table = read(files)
    rows = list(csv.reader(io.StringIO(files["bar.strengths.csv"].decode("utf-8"))))
    assert rows[0] == table.column_names
    assert [[row[0], *map(float, row[1:])] for row in rows[1:]] == [list(row.values()) for row in table.to_pylist()]


def test_several_files_of_clips_and_a_rate(tmp_path: Path) -> None:
    """Files of one name are told apart; glTF clips are sampled at the rate; others are carried over."""
    made = character(tmp_path)
    (tmp_path / "other").mkdir()
    for folder in (tmp_path, tmp_path / "other"):
        (folder / "=up.bvh").write_text(BVH, "utf-8")
    clips = [str(tmp_path / "=up.bvh"), str(tmp_path / "other" / "=up.bvh"), str(tmp_path / "SimpleSkin.gltf")]
    table = read(built(made, clip=clips, rate="4", form="parquet").files)
    names = table.column("clip name").to_pylist()
    assert list(dict.fromkeys(names)) == ["'=up.bvh", "'=up.bvh_2", "SimpleSkin.gltf"]
    assert table.column("bent").to_pylist()[:3] == pytest.approx([0.0, 0.5, 1.0], abs=1e-6)
    times = table.column("time in s").to_numpy()[6:]
    np.testing.assert_allclose(np.diff(times)[:-1], 0.25, atol=1e-9)


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ({"form": "sheet"}, "PL603"),
        ({"rate": "-1"}, "PL603"),
        ({"clip": "gone.bvh"}, "unreadable-clip"),
    ],
)
def test_mistakes_are_told(options: Mapping[str, str], told: str, tmp_path: Path) -> None:
    result = built(character(tmp_path), **options)
    assert not result.files
    assert told in [word for one in result.diagnostics for word in (one.code, one.name)]


def test_without_clips_or_pyarrow_nothing_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = "plica 1\ncharacter bare {\n    skeleton {\n        joint hips  at 0 m, 1 m, 0 m\n    }\n}\n"
    bare = plica.compile_text(text, folder=tmp_path)
    assert bare.ok, bare.diagnostics
    assert [one.code for one in built(bare).diagnostics] == ["PL651"]
    made = character(tmp_path)
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    monkeypatch.delitem(sys.modules, "plica.targets.table.files", raising=False)
    assert [one.code for one in built(made).diagnostics] == ["PL650"]


def test_what_is_not_a_number_stays_so() -> None:
    """In Parquet it is no missing value, and in CSV no empty cell."""
    from plica.targets.table.files import arrow_table, csv_bytes, parquet_bytes

    column = Column("bent", "strength", "1", "", np.array([0.5, float("nan")]))
    motion = MotionTable(
        np.array(["a", "a"]), np.arange(2, dtype=np.int32), np.arange(2.0), (column,), (SourceFile("a.bvh", "ab"),)
    )
    table = arrow_table(whole_rig(), motion)
    back = parquet.read_table(io.BytesIO(parquet_bytes(table)))
    assert back.column("bent").null_count == 0
    assert math.isnan(back.column("bent").to_pylist()[1])
    assert csv_bytes(table).decode().splitlines()[2] == '"a",1,1,nan'


def test_the_same_bytes_on_every_run(tmp_path: Path) -> None:
    made = character(tmp_path)
    assert built(made).files == built(made).files
    assert TARGET.options()[1].default == "csv, parquet"
