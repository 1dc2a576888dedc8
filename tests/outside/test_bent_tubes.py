"""What `plica start` says of a bent tube, against an independent computation.

The tube is posed here by the formula of linear blend skinning (glTF 2.0 section 3.7.3) with turns by
`scipy.spatial.transform.Rotation`; volumes are those of trimesh, stretches the singular values of
`scipy.linalg.svd` of each triangle's map from the plane of its rest edges.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import svd
from scipy.spatial.transform import Rotation

from plica.mesh.arrays import Floats
from plica.start.bent_skin import bent_skins
from plica.start.skin_figures import SHARE
from tests.support.arms import ELBOW_AT, Arms, arms

DEGREES = 150.0
TEXT = f"""region elbow both {{ skin of upperarm, lowerarm }}
driver elbow both {{ reads rotation about z of lowerarm   span 0 deg .. {DEGREES:g} deg }}
"""


@pytest.fixture(name="made", scope="module")
def made_arms() -> Arms:
    return arms(TEXT, shapes={})


def _posed(made: Arms, share: float) -> tuple[Floats, Floats]:
    """The left arm's tube at rest and bent by a share of the span: the lower arm turns about z at the elbow."""
    mesh = made.attached.mesh
    left = mesh.positions[:, 0] > 0.0
    rest, follows = mesh.positions[left], mesh.weights[left, 1]
    pivot = np.array([ELBOW_AT, 0.0, 0.0])
    turned = Rotation.from_euler("z", share * DEGREES, degrees=True).apply(rest - pivot) + pivot
    return rest, (1.0 - follows)[:, None] * rest + follows[:, None] * turned


def _triangles(made: Arms) -> Floats:
    mesh = made.attached.mesh
    number = np.cumsum(mesh.positions[:, 0] > 0.0) - 1
    return np.asarray(number[mesh.triangles[(mesh.positions[mesh.triangles, 0] > 0.0).all(axis=1)]])


def _figure(made: Arms, kind: str) -> float:
    (bent,) = bent_skins(made.rig, made.attached, [("elbow", "elbow")])
    (figure,) = (one for one in bent.figures if one.kind == kind)
    assert figure.worst is not None
    return figure.worst


def test_the_volume_that_is_lost(made: Arms) -> None:
    trimesh = pytest.importorskip("trimesh", reason="trimesh is not installed")
    triangles = _triangles(made)

    def volume(positions: Floats) -> float:
        return float(trimesh.Trimesh(positions, triangles, process=False).volume)

    changes = []
    for share in np.linspace(0.0, 1.0, 33):
        rest, bent = _posed(made, share)
        changes.append(volume(bent) / volume(rest) - 1.0)
    worst = min(changes)
    assert worst < -0.05
    # Between the poses of a sweep prove looks closer at the worst one; the volume falls to the end.
    assert changes.index(worst) == 32
    assert _figure(made, "volume") == pytest.approx(worst, abs=1e-9)


@pytest.mark.parametrize("kind", ["stretch", "squeeze"])
def test_how_far_nearly_all_of_the_skin_is_stretched_and_squeezed(made: Arms, kind: str) -> None:
    triangles = _triangles(made)
    steps = 33 if kind in _stated(made) else 5
    worst = max(_kept_to(made, triangles, share, kind) for share in np.linspace(0.0, 1.0, steps))
    figure = _figure(made, kind)
    if steps == 5:
        assert figure == pytest.approx(worst, abs=1e-9)
    else:  # the closer look can only find more, and finds a little
        assert worst - 1e-9 <= figure <= worst + 0.005


def _stated(made: Arms) -> list[str]:
    from plica.start.skin_figures import stated_of

    (bent,) = bent_skins(made.rig, made.attached, [("elbow", "elbow")])
    return [figure.kind for figure in stated_of(bent.figures)]


def _kept_to(made: Arms, triangles: Floats, share: float, kind: str) -> float:
    """The least figure that triangles of 95 % of the area keep to."""
    rest, bent = _posed(made, share)
    values, areas = [], []
    for corners in triangles:
        edges = np.stack([rest[corners[1]] - rest[corners[0]], rest[corners[2]] - rest[corners[0]]], axis=1)
        plane, shape = np.linalg.qr(edges)
        moved = np.stack([bent[corners[1]] - bent[corners[0]], bent[corners[2]] - bent[corners[0]]], axis=1)
        singular = svd(moved @ np.linalg.inv(shape), compute_uv=False)
        values.append(singular[0] - 1.0 if kind == "stretch" else 1.0 - singular[1])
        areas.append(0.5 * np.linalg.norm(np.cross(edges[:, 0], edges[:, 1])))
        assert plane.shape == (3, 2)
    order = np.argsort(values)
    reached = np.cumsum(np.array(areas)[order]) >= SHARE * np.sum(areas) * (1.0 - 1e-12)
    return float(np.array(values)[order][reached.argmax()])
