"""What is taken from memory is what would be computed anew."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from plica.diagnostics import Diagnostics
from plica.mesh.attach import Attached, attach
from plica.mesh.computed_cache import ComputedCache
from plica.workspace import Workspace
from tests.support.wren import skinned

TEXT = """
driver elbow both { reads rotation about x of lowerarm span 0 deg .. 130 deg }
driver wrist both { reads bend of paw span 0 deg .. 60 deg }
region forearm both { skin of lowerarm feather 12 mm }
region cuff both { union of forearm, paw }
region paw both { skin of paw }
fold a both { in fur area cuff follows wrist }
detail fur { relaxed "masks/brow.png" contracted "masks/brow.png" }
"""


def attached(text: str, folder: Path, memory: ComputedCache | None) -> Attached:
    done = attach(skinned(text, folder).rig, Workspace(folder).locate, Diagnostics(), memory=memory)
    assert done is not None
    return done


@pytest.mark.parametrize(
    ("old", "new", "kept", "changed"),
    [
        ("60 deg", "61 deg", {"left_forearm", "left_cuff", "left_paw"}, set()),
        ("12 mm", "60 mm", {"left_paw"}, {"left_forearm", "left_cuff"}),
        ("skin of paw", "skin of paw and below", {"left_forearm"}, {"left_paw", "left_cuff"}),
    ],
)
def test_only_what_changed_is_computed(tmp_path: Path, old: str, new: str, kept: set[str], changed: set[str]) -> None:
    memory = ComputedCache()
    before = attached(TEXT, tmp_path, memory)
    after = attached(TEXT.replace(old, new), tmp_path, memory)
    anew = attached(TEXT.replace(old, new), tmp_path, None)
    assert after.mesh is before.mesh and after.symmetry is before.symmetry
    for name, weights in anew.regions.items():
        assert np.array_equal(after.regions[name], weights)
    same = {name for name in kept | changed if np.array_equal(after.regions[name], before.regions[name])}
    assert same == kept
