"""What figures depend on, told as digests: the same digest, the same figure, to the last bit."""

from __future__ import annotations

import platform
import sys
from collections.abc import Iterable
from functools import cache
from hashlib import sha256
from importlib.resources import files
from typing import Final

import numpy as np
import scipy

from plica import __version__
from plica.mesh.arrays import Mesh, Offsets
from plica.mesh.deform import Motion
from plica.mesh.inbetweens import Inbetweens
from plica.rig.region_sources import regions_of
from plica.rig.rig import Expectation, Rig
from plica.values import NOTHING_SAID

COMPUTED_BY: Final = (
    "plica.evaluate",
    "plica.kinds",
    "plica.measure",
    "plica.mesh",
    "plica.prove.measures",
    "plica.rig",
    "plica.skeleton",
)
"""The packages whose code computes figures; of others it is the modules of `_OWN`."""
_OWN: Final = {"plica.prove": ("results.py", "skin.py", "skin_parts.py"), "plica.prove.execution": ("work.py",)}


def digest(*parts: object) -> str:
    """A digest of arrays (their type, shape and bytes) and of whatever says all that it is in its `repr`: numbers,
    texts, tuples and named tuples."""
    made = sha256()
    for part in parts:
        if isinstance(part, np.ndarray):
            made.update(f"{part.dtype.str} {part.shape} ".encode())
            made.update(np.ascontiguousarray(part).data)
        else:
            made.update(f"{part!r} ".encode("utf-8", "surrogatepass"))
    return made.hexdigest()


@cache
def code_digest() -> str:
    """What computes: the code itself, so that no change of it is forgotten, and the versions of what it runs on.

    Where Plica is installed without its sources, its version stands for them.
    """
    made = sha256(repr((__version__, np.__version__, scipy.__version__)).encode())
    made.update(repr((sys.version_info[:2], platform.machine(), sys.byteorder)).encode())
    for package in (*COMPUTED_BY, *_OWN):
        for entry in sorted(files(package).iterdir(), key=lambda one: one.name):
            if entry.name.endswith(".py") and (package in COMPUTED_BY or entry.name in _OWN[package]):
                made.update(f"{package} {entry.name} ".encode())
                made.update(entry.read_bytes())
    return made.hexdigest()


def mesh_digest(mesh: Mesh) -> str:
    """The arrays of a mesh that measures look at: all but its normals and morph targets."""
    layouts = [item for name in sorted(mesh.uvs) for item in (name, mesh.uvs[name])]
    return digest(
        mesh.positions,
        mesh.triangles,
        mesh.points,
        mesh.joints,
        mesh.weights,
        mesh.bind_joints,
        mesh.inverse_binds,
        *layouts,
    )


def shape_digest(shape: Inbetweens) -> str:
    """A shape's offsets and inbetweens."""
    return digest(shape.at, *(part for column in shape.columns for part in (column.indices, column.offsets)))


def offsets_digest(offsets: Offsets) -> str:
    """What a morph target of the model moves."""
    return digest(offsets.indices, offsets.offsets)


def motion_digest(motion: Motion, shapes: Iterable[str], morphs: Iterable[str] = ()) -> str:
    """Poses as the skin sees them: its matrices, and the strengths of those shapes and the weights of those morph
    targets that are on in any frame.

    `shapes` are the digests of the columns of `strengths`, `morphs` those of the columns of `weights`. What else
    changes about a rig does not count: a new curve changes the digest of those poses only in which it gives another
    strength.
    """
    parts: list[object] = [motion.skins]
    for column, shape in enumerate(shapes):
        strengths = motion.strengths[:, column]
        if strengths.any():
            parts += [shape, strengths]
    for column, morph in enumerate(() if motion.weights is None else morphs):
        assert motion.weights is not None
        weights = motion.weights[:, column]
        if weights.any():
            parts += ["morph", morph, weights]
    return digest(*parts)


def expectation_digest(rig: Rig, expectation: Expectation, body: str, regions: Iterable[np.ndarray]) -> str:
    """What a measure is prepared from: the expectation's own fields, without the poses that it goes over, the `body`
    (a digest of code, mesh and rest pose) and the weights and sources of its regions."""
    own = expectation._replace(over=(), over_clips=(), over_poses=(), over_everything=False, about=NOTHING_SAID)
    sources = {region.name: region.source for region in rig.regions}
    pending = [name for name in (*expectation.of, expectation.against) if name in sources]
    made_of: dict[str, object] = {}
    while pending:
        name = pending.pop()
        made_of[name] = sources[name]
        pending += [other for other in regions_of(sources[name]) if other not in made_of]
    joints = tuple(joint[:5] for joint in rig.skeleton)
    return digest(body, own, sorted(made_of.items()), joints, *regions)
