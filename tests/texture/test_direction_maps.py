"""Maps of the direction in which skin changes most: angles in the texture in closed form, and what a build writes."""

from __future__ import annotations

import io
import json
from hashlib import sha256
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from PIL import Image

from plica.diagnostics import Diagnostics
from plica.emit.artifacts import Request, build_targets
from plica.emit.prepare import prepare
from plica.mesh.arrays import Floats
from plica.pipeline import compile_file
from plica.rig.rig_schema import rig_schema
from plica.targets.masks.manifest import manifest_schema
from plica.texture.direction_maps import double_angles
from tests.support.meshes import bare_mesh
from tests.support.sheet import sheet, sheet_spec

SQUARE = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [1.0, 1.0, 0.0]])
CORNERS = np.array([[0, 1, 2], [1, 3, 2]])
WIDER = """
shape wider left { morph "wide_lf"   follows wide }
region found { lengthened by left wider   along (0.8, 0.6, 0) of head   peak of 50 cm2 }
region plain { skin of head }
detail fur { relaxed "r.png"   contracted "r.png" }
fold lines { in fur   area found   follows left wide   tolerance 10 % }
fold others { in fur   area plain   follows right wide }
"""


@pytest.mark.parametrize("turned", [0.0, 0.4, 2.0])
@pytest.mark.parametrize("flipped", [1.0, -1.0])
@pytest.mark.parametrize("scale", [1.0, 0.3])
def test_angles_are_counted_from_rising_u_to_the_top_of_the_picture(
    turned: float, flipped: float, scale: float
) -> None:
    """The texture is turned, mirrored and scaled against the skin: a direction at an angle on the skin has a known
    one in the picture, whatever its sign."""
    turn = np.array([[np.cos(turned), -np.sin(turned)], [np.sin(turned), np.cos(turned)]])
    picture = (SQUARE[:, :2] * (flipped, 1.0)) @ turn.T * scale
    mesh, uv = bare_mesh(SQUARE, CORNERS), picture * (1.0, -1.0)  # v runs down

    def expected(angle: float) -> Floats:
        x, y = turn @ (np.cos(angle) * flipped, np.sin(angle))
        return np.tile([x * x - y * y, 2.0 * x * y], (4, 1))

    for angle in (0.0, 0.7, 2.5):
        direction = np.tile([np.cos(angle), np.sin(angle), 0.0], (4, 1))
        for sign in (1.0, -0.5):
            np.testing.assert_allclose(double_angles(mesh, uv, sign * direction), expected(angle), atol=1e-12)
    assert not double_angles(mesh, uv, np.zeros((4, 3))).any()


def test_a_fold_in_a_found_area_has_a_map_of_its_directions(tmp_path: Path) -> None:
    sheet(tmp_path)
    Image.new("RGB", (8, 8), (128, 128, 255)).save(tmp_path / "r.png")
    diagnostics = Diagnostics()
    build = prepare(compile_file(sheet_spec(tmp_path, WIDER)), tmp_path, (), diagnostics)
    assert build is not None, diagnostics.all
    options = {"size": ["64"]}
    requests = [Request("masks", options), Request("materialx", options), Request("json"), Request("python")]
    files = build_targets(build, requests, diagnostics).files
    manifest = json.loads(files["sheet.masks.json"])
    jsonschema.Draft202012Validator(manifest_schema()).validate(manifest)
    (entry,) = manifest["directions"]
    assert entry["fold"] == "lines"
    assert entry["bytes_on_disk"] == len(files[entry["file"]])
    # Who reads the folds of another target finds the map by its name and knows it by its digest.
    named = {"file": entry["file"], "sha256": sha256(files[entry["file"]]).hexdigest()}
    expected = {"lines": {**named, "uv": entry["uv"], "stored_as": "double angle"}, "others": None}
    rig = json.loads(files["sheet.rig.json"])
    assert {fold["name"]: fold["directions"] for fold in rig["folds"]} == expected
    jsonschema.Draft202012Validator(rig_schema()).validate(rig)
    module: dict[str, Any] = {}
    exec(files["sheet_rig.py"], module)
    assert {name: fold["directions"] for name, fold in module["FOLDS"].items()} == expected
    assert f'value="{entry["file"]}"'.encode() in files["sheet.mtlx"]
    pixels = np.asarray(Image.open(io.BytesIO(files[entry["file"]])))
    size = entry["size"]
    assert pixels.shape == (size, size, 3)
    assert not pixels[:, :, 2].any()
    # The right half widens; u and v have the same scale, so that the axis keeps its angle. Half of v is covered.
    red, green = pixels[size // 2, int(size * 0.9), :2] / 127.5 - 1.0
    assert np.arctan2(green, red) / 2.0 == pytest.approx(np.arctan2(0.6, 0.8), abs=0.01)
    nothing = pixels[size // 2, int(size * 0.1), :2]
    assert (np.abs(nothing.astype(int) - 128) <= 1).all()
