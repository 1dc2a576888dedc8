"""The details of skin in pictures: folds as far on as what they follow, and none whose maps cannot be read."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from PIL import Image

import plica
from plica.diagnostics import Diagnostics
from plica.texture.skin_details import SkinDetails
from tests.support.cloth import cloth


def test_folds_follow_their_strengths_and_what_cannot_be_read_is_named(tmp_path: Path) -> None:
    character = plica.compile_file(cloth(tmp_path))
    rig, mesh = character.rig, plica.attach_mesh(character)
    assert rig is not None and rig.folds
    flat, found = io.BytesIO(), Diagnostics()
    Image.new("RGB", (8, 8), (128, 128, 255)).save(flat, "PNG")
    details = SkinDetails(rig, mesh.mesh, mesh.regions, lambda file: flat.getvalue(), found)
    assert details.left_out == () and found.all == ()
    fold = rig.folds[0]
    assert fold.follows is not None
    factors = []
    for strength in (0.0, 0.5, 1.0):
        relief = details.posed(mesh.positions, {fold.follows: strength})
        assert relief is not None
        factors.append(relief.parts[0].factors)
    area = mesh.regions[fold.area]
    assert area.max() > 0.5 and not factors[0].any()
    np.testing.assert_allclose(factors[1], 0.5 * area, atol=1e-12)
    np.testing.assert_allclose(factors[2], area, atol=1e-12)

    damaged = SkinDetails(rig, mesh.mesh, mesh.regions, lambda file: b"no picture", found)
    assert damaged.left_out == tuple(detail.name for detail in rig.details)
    assert damaged.posed(mesh.positions, {}) is None
    assert {one.name for one in found.all} == {"unreadable-normal-map"}
