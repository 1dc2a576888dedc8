"""The installing script on whole characters: Wren (ours) and the shared horse (armature scaled by 100).

The hosts of `tests/support` find out where the skin stands by glTF 2.0 and by OpenUSD's own baking.
"""

from __future__ import annotations

import re
import sys
from copy import deepcopy
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from plica.demo import demo_files
from plica.mesh.mesh_reader import mesh_of_rig
from tests.support.data import ROOT, shared_data
from tests.support.gltf_host import GltfHost, document_of
from tests.support.installed import loaded, put_out, sculpt
from tests.support.usd_arms import usd_arms
from tests.variants.model_file import read_model

PAGE = ROOT / "targets" / "python" / "hosts.md"
SINGLE = 1e-5  # strengths from joints that a stage keeps in single precision

WHOLE = """plica 1
character {name} {{
    geometry "{model}"
    left "*{left}"   right "*{right}"
}}
driver leg both {{ reads bend of {leg}   span 0 deg .. 60 deg }}
driver nod      {{ reads rotation about x of {head}   span 0 deg .. 30 deg }}
shape swell left {{ sculpt "swell.npz"   follows leg   inbetween 0.4 "half.npz" }}
shape raise      {{ sculpt "raise.npz"   follows nod }}
"""
WREN = {"name": "wren", "model": "wren.glb", "left": "_lf", "right": "_rt", "leg": "lowerarm", "head": "head"}
HORSE = {"name": "horse", "model": "horse.glb", "left": ".L", "right": ".R", "leg": "FrontLowerLeg", "head": "Head"}


def character(names: dict[str, str], content: bytes, folder: Path) -> tuple[Any, Path]:
    """A character with sculpts of its own, built below a folder."""
    (folder / names["model"]).write_bytes(content)
    total = sum(len(one.positions) for one in read_model(folder / names["model"]).primitives)
    for seed, name in enumerate(("swell", "half", "raise")):
        (folder / f"{name}.npz").write_bytes(sculpt(seed, 40, 0.02, total))
    (folder / "spec.plica").write_text(WHOLE.format(**names), "utf-8")
    return put_out(folder / "spec.plica")


@pytest.fixture(scope="module")
def wren(tmp_path_factory: pytest.TempPathFactory) -> tuple[Any, Path]:
    return character(WREN, demo_files()["wren.glb"], tmp_path_factory.mktemp("wren"))


def script_of_the_page() -> str:
    """The dozen lines."""
    (lines,) = [block for block in re.findall(r"```python\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)
                if "import Installation" in block]  # fmt: skip
    assert len(lines.splitlines()) <= 14
    return lines


@pytest.mark.parametrize("names", [WREN, HORSE], ids=["wren", "horse"])
def test_the_pages_script_installs_updates_proves_and_removes_in_gltf(
    names: dict[str, str],
    wren: tuple[Any, Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Within single precision, which the file's offsets have: a millionth of the body's size."""
    _, out = (
        wren
        if names is WREN
        else character(HORSE, shared_data("characters", "horse", "horse.glb").read_bytes(), tmp_path)
    )
    model = out.parent / names["model"]
    document = document_of(model)
    before = deepcopy(document)
    monkeypatch.setitem(sys.modules, "pond_host", ModuleType("pond_host"))
    monkeypatch.setattr(sys.modules["pond_host"], "PondHost", lambda: GltfHost(model, document), raising=False)
    monkeypatch.setitem(sys.modules, "wren_install", loaded(out, f"{names['name']}_install"))
    for arguments, expected in (
        ([], ["added left_swell on", "added left_swell at 0.4 on", "added raise on", "bound ", "holds: "]),
        ([], ["nothing to change", "holds: "]),
        (["--remove"], ["removed left_swell on", "removed left_swell at 0.4 on", "removed raise on", "released "]),
    ):
        monkeypatch.setattr(sys, "argv", ["install.py", *arguments])
        with pytest.raises(SystemExit) as ended:
            exec(script_of_the_page(), {})
        shown = capsys.readouterr().out
        assert ended.value.code == 0, shown
        for text in expected:
            assert text in shown
    assert document == before


def test_wren_is_proven_on_a_stage(wren: tuple[Any, Path]) -> None:
    """Against OpenUSD's own skinning, with its inbetweens; joints and points are in single precision there."""
    pytest.importorskip("pxr", reason="usd-core is not installed")
    from pxr import Usd

    from tests.support.usd_host import UsdHost

    made, out = wren
    stage = Usd.Stage.Open(str(usd_arms(out.parent, made.rig, mesh_of_rig(made.rig, out.parent / "wren.glb"))))
    before = stage.GetRootLayer().ExportToString()
    rig = loaded(out, "wren_install").Installation(UsdHost(stage, "skin"))
    rig.install()
    proof = rig.prove(strengths=SINGLE)
    assert proof.holds, proof
    assert proof.poses >= 16 and proof.vertices >= 256 and proof.every_position
    assert rig.install() == []
    rig.remove()
    assert stage.GetRootLayer().ExportToString() == before
