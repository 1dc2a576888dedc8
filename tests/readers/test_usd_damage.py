"""Damaged and hostile OpenUSD: whatever a file holds, the end is a sentence, and this process lives on."""

from __future__ import annotations

import random
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest

from plica.diagnostics import Diagnostics
from plica.limits import raised, using
from plica.mesh.mesh_reader import read_mesh
from plica.readers import usd_process
from plica.readers.model_outline import UnreadableModel
from plica.readers.model_reader import find_outline, read_outline
from tests.mesh.test_usd_mesh import STAGE

pytest.importorskip("pxr", reason="usd-core is not installed")


def read_all(path: Path) -> None:
    read_mesh(path, [joint.name for joint in read_outline(path).skeleton.joints])


def packaged(folder: Path) -> bytes:
    """The stage in the binary form, in a package."""
    from pxr import Sdf, UsdUtils

    (folder / "model.usda").write_text(STAGE, "utf-8")
    Sdf.Layer.FindOrOpen(str(folder / "model.usda")).Export(str(folder / "model.usdc"))
    assert UsdUtils.CreateNewUsdzPackage(str(folder / "model.usdc"), str(folder / "model.usdz"))
    return (folder / "model.usdz").read_bytes()


def mutated(data: bytes, chance: random.Random) -> bytes:
    """The data with some bytes changed, a number made huge, a stretch repeated, or the end cut off."""
    changed = bytearray(data)
    kind = chance.randrange(5)
    if kind == 0:
        return data[: chance.randrange(len(data))]
    if kind == 1:
        start, size = chance.randrange(len(data)), chance.choice((4, 8))
        changed[start : start + size] = chance.choice((b"\xff", b"\x7f", b"\x80", b"\0")) * size
    elif kind == 2:
        start, size = chance.randrange(len(data)), chance.randrange(1, 200)
        changed[start:start] = data[start : start + size]
    else:
        for _ in range(chance.randrange(1, 30)):
            changed[chance.randrange(len(changed))] = chance.randrange(256)
    return bytes(changed)


def test_a_whole_package_is_read(tmp_path: Path) -> None:
    packaged(tmp_path)
    text, package = (tmp_path / f"model.{ending}" for ending in ("usda", "usdz"))
    frames = [[joint.name for joint in read_outline(path).skeleton.joints] for path in (text, package)]
    assert frames[0] == frames[1] == ["hip", "knee", "tail"]
    one, other = (read_mesh(path, ["hip", "knee", "tail"]) for path in (text, package))
    np.testing.assert_array_equal(one.positions, other.positions)


def test_no_damaged_package_ends_the_command(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    data = packaged(tmp_path)
    refused = 0
    capfd.readouterr()
    with using(raised(["usd-memory-bytes=256MiB", "usd-seconds=10"])):
        for number in range(100):
            path = tmp_path / "damaged.usdz"
            path.write_bytes(mutated(data, random.Random(number)))
            try:
                read_all(path)
            except UnreadableModel as reason:
                refused += 1
                assert 0 < len(str(reason)) < 1000
    assert 25 < refused < 95
    assert capfd.readouterr() == ("", "")


def test_a_process_that_breaks_down_is_told_and_the_next_model_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A crash of native code, made certain: the process is killed while the library composes.
    (tmp_path / "sitecustomize.py").write_text(
        "import os, sys, signal\n"
        "def crash(event, arguments):\n"
        "    if event == 'open' and str(arguments[0]).endswith('statm'):\n"
        "        os.kill(os.getpid(), signal.SIGSEGV)\n"
        "sys.addaudithook(crash)\n"
    )
    for copies in {False, usd_process.COPIES}:
        path = tmp_path / f"model_{copies}.usda"
        path.write_text(STAGE, "utf-8")
        monkeypatch.setattr(usd_process, "COPIES", copies)
        usd_process._stop()
        with monkeypatch.context() as patch:
            patch.setenv("PYTHONPATH", str(tmp_path))
            diagnostics = Diagnostics()
            assert find_outline(path, "model.usda", None, diagnostics) is None
            (diagnostic,) = diagnostics.all
            assert "SIGSEGV" in diagnostic.message and "usd-memory-bytes" in diagnostic.message
        usd_process._stop()
        path.touch()
        read_all(path)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            "        float[] primvars:skel:jointWeights = [1,0, 1,0, 3,1, 1,0, 1,0] (\n"
            '            interpolation = "vertex"\n            elementSize = 2\n        )\n',
            "",
            "joint indices without weights",
        ),
        ("elementSize = 2", "elementSize = 0", "do not fit each other"),
        ("elementSize = 2", "elementSize = 1000000000", "do not fit each other|not one weight"),
        ("int[] primvars:skel:jointIndices", "float[] primvars:skel:jointIndices", "do not fit each other|whole"),
        ("float[] primvars:skel:jointWeights", "int[] primvars:skel:jointWeights", "floating-point"),
        ("float[] primvars:skel:jointWeights = [1,0,", "float[] primvars:skel:jointWeights = [nan,0,", "no numbers"),
        ("point3f[] points = [(0,0,0),", 'string[] points = ["a"] #', "`points` of /Root/skin .* no point3f"),
        ("point3f[] points = [(0,0,0),", "float2[] points = [(0,0)] #", "3 floating-point"),
        ("point3f[] points = [(0,0,0),", "double points = 3 #", "`points` of /Root/skin .* no point3f"),
        ("point3f[] points = [(0,0,0),", "point3f[] points = [(0,0,nan),", "no numbers"),
        ("int[] faceVertexCounts = [4, 3]", 'token[] faceVertexCounts = ["a"]', "`faceVertexCounts`"),
        ("int[] faceVertexCounts = [4, 3]", "float[] faceVertexCounts = [4, 3]", "whole numbers"),
        ("int[] faceVertexCounts = [4, 3]", "int[] faceVertexCounts = [2147483647, 3]", "do not add up"),
        ("int[] primvars:st:indices = [0,", "int[] primvars:st:indices = [9,", "indices of `primvars:st`"),
        ("uniform vector3f[] offsets", "uniform string[] offsets = [] #", "`offsets` of .* no vector3f"),
        ("uniform int[] pointIndices", "uniform int2[] pointIndices = [(1, 2)] #", "whole numbers"),
        ("uniform token[] skel:blendShapes", "uniform int[] skel:blendShapes = [1] #", "no token"),
        ("rel skel:blendShapeTargets = </Root/skin/smile>", "rel skel:blendShapeTargets = </Root/no>", "not there"),
        ('uniform token[] joints = ["hip",', "uniform int[] joints = [1] #", "no token"),
        ("uniform matrix4d[] bindTransforms = [", "uniform float[] bindTransforms = [] #", "no matrix4d|damaged"),
        ("metersPerUnit = 0.01", "metersPerUnit = nan", "no length"),
        ("metersPerUnit = 0.01", "metersPerUnit = 0", "."),
        ("metersPerUnit = 0.01", 'metersPerUnit = "much"', "damaged"),
    ],
)
def test_what_is_of_another_type_or_length_is_refused(old: str, new: str, told: str, tmp_path: Path) -> None:
    assert old in STAGE
    path = tmp_path / "model.usda"
    path.write_text(STAGE.replace(old, new), "utf-8")
    with pytest.raises(UnreadableModel, match=told):
        read_mesh(path, ["hip", "knee", "tail"])
    with suppress(UnreadableModel):
        read_outline(path)


def nested(levels: int) -> str:
    """Prims that refer twice to the next one."""
    text = "#usda 1.0\n"
    for level in range(levels):
        twice = (f' def "{name}" (references = </L{level + 1}>) {{\n }}\n' for name in "ab")
        text += f'def "L{level}" {{\n{"".join(twice)}}}\n'
    return text + f'def "L{levels}" {{\n def Mesh "m" {{\n  point3f[] points = [(0, 0, 0)]\n }}\n}}\n'


def test_references_in_references_are_refused_early(tmp_path: Path) -> None:
    path = tmp_path / "bomb.usda"
    path.write_text(nested(40), "utf-8")
    with pytest.raises(UnreadableModel, match=r"50000 prims.*usd-prims=NUMBER"):
        read_outline(path)
    with using(raised(["usd-prims=100"])), pytest.raises(UnreadableModel, match="100 prims"):
        read_outline(path)


def test_a_model_that_needs_more_memory_than_it_may_is_told_so(tmp_path: Path) -> None:
    if not usd_process.COPIES:
        pytest.skip("this system does not limit a process's memory")
    path = tmp_path / "large.usda"
    points = "(0, 0, 0)," * 2_000_000
    path.write_text(f'#usda 1.0\ndef Mesh "m" {{\n point3f[] points = [{points[:-1]}]\n}}\n', "utf-8")
    with using(raised(["usd-memory-bytes=48MiB"])), pytest.raises(UnreadableModel, match="usd-memory-bytes=SIZE"):
        read_outline(path)
    with using(raised(["model-bytes=1MiB"])), pytest.raises(UnreadableModel, match="larger than 1 MiB"):
        read_outline(path)
    assert read_outline(path).meshes[0].vertices == 2_000_000


def test_a_model_that_takes_too_long_is_told_so(tmp_path: Path) -> None:
    path = tmp_path / "bomb.usda"
    path.write_text(nested(16), "utf-8")
    with (
        using(raised(["usd-seconds=1", "usd-prims=100000000"])),
        pytest.raises(UnreadableModel, match=r"1 seconds.*usd-seconds=NUMBER"),
    ):
        read_outline(path)


def test_a_full_disk_is_not_taken_for_damage(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    full = Path("/dev/full")
    if not full.exists():
        pytest.skip("this system has no device that is always full")
    monkeypatch.setattr("plica.readers.usd_reader.TemporaryFile", lambda: full.open("w+b", buffering=0))
    path = tmp_path / "model.usda"
    path.write_text(STAGE, "utf-8")
    with pytest.raises(UnreadableModel, match="folder for temporary files"):
        read_outline(path)
