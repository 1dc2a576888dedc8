"""The computed layer of a sculpt that `plica draft` made, and what it was computed from.

A drafted sculpt's NPZ file holds, beside the sculpt (`indices`, `offsets`), `drafted_from`: JSON of texts and digests,
one for each thing that the draft hangs on. Where something was made by hand over it, the layer that was computed stands
there too (`drafted_indices`, `drafted_offsets`, in the same pose), and what the sculpt has beyond it is the hand's;
without these all of the sculpt is computed. Offsets are in single precision, which is finer than a draft is rounded.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from hashlib import sha256
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plica.mesh.arrays import Floats, Mesh, Offsets
from plica.mesh.npz import ArchiveError, sparse_offsets
from plica.mesh.offsets import chosen, lengths, summed
from plica.plain_data import UnreadableDataError, json_of
from plica.quantities import number
from plica.values import DraftFacts

VERSION: Final = 1
KEY: Final = "drafted_from"
LONGEST: Final = 4000  # characters
STEP: Final = 1e-6  # metres and shares: what differs by less is the same; the last digits differ between processors
UNMOVED: Final = 1.5e-9  # metres: what files round off
FREE: Final = 0.5
"""The weight of a region from which on its skin is drafted freely."""
NAMES: Final[Mapping[str, str]] = {
    "mesh": "the undeformed mesh",
    "weights": "the skin weights",
    "pose": "the pose, or what is on in it",
    "region": "the region",
    "facts": "what the spec says of the draft, or which volumes it expects",
}
"""What a draft hangs on, in the words for people."""


@dataclass(frozen=True)
class DraftInputs:
    """What a draft is computed from, each as a short text: equal texts mean equal inputs."""

    mesh: str
    weights: str
    pose: str
    region: str
    facts: str

    def text(self) -> str:
        """As a line of JSON."""
        return json.dumps({"plica_draft": VERSION, **self.__dict__}, ensure_ascii=True)

    def with_wishes(self, region: Floats | None, facts: DraftFacts | None, expected: str) -> DraftInputs:
        """With another region (v,), None where it is found, other facts of the spec, and which volumes it expects
        (`plica.rig.expected_volumes`)."""
        stated = (facts or DraftFacts())._asdict().items()
        said = [f"{name} {number(value)}" for name, value in stated if value is not None]
        return replace(
            self,
            region="found" if region is None else _digest(region >= FREE),
            facts=" ".join([*said, expected] if expected else said),
        )

    def changed(self, now: DraftInputs) -> tuple[str, ...]:
        """What is different now, in words."""
        return tuple(said for name, said in NAMES.items() if getattr(self, name) != getattr(now, name))


@dataclass(frozen=True, eq=False)
class DraftLayer:
    """offsets: the computed layer, in the pose of its file."""

    offsets: Offsets
    inputs: DraftInputs


def by_hand(offsets: Offsets, drafted: Offsets, vertex_count: int) -> Offsets:
    """What a sculpt has beyond its computed layer, both in the pose of its file."""
    difference = summed([(offsets, 1.0), (drafted, -1.0)], vertex_count)
    return chosen(difference, lengths(difference.offsets) > UNMOVED)


def draft_inputs(mesh: Mesh, fingerprint: str, skins: Floats, earlier: Floats | None) -> DraftInputs:
    """What a draft hangs on beside its region and the facts of the spec (`DraftInputs.with_wishes`).

    fingerprint: of the mesh; skins (binds, 3, 4): the skin matrices of the pose; earlier (v, 3): what shapes that are
    on add to the mesh.
    """
    added = None if earlier is None or not earlier.any() else _steps(earlier)
    return DraftInputs(
        mesh=fingerprint,
        weights=_digest(mesh.joints.astype("<i8"), _steps(mesh.weights)),
        pose=_digest(_steps(skins), *([] if added is None else [added])),
        region="",
        facts="",
    )


def draft_arrays(layer: DraftLayer, sculpt: Offsets) -> dict[str, NDArray[Any]]:
    """What the NPZ file of a sculpt with this layer holds: once what both say, in place of the sculpt's own arrays."""
    arrays: dict[str, NDArray[Any]] = {
        "indices": sculpt.indices.astype("<i4"),
        "offsets": sculpt.offsets.astype("<f4"),
        KEY: np.array(layer.inputs.text(), np.str_),
    }
    computed = {"indices": layer.offsets.indices.astype("<i4"), "offsets": layer.offsets.offsets.astype("<f4")}
    if all(np.array_equal(array, arrays[name]) for name, array in computed.items()):
        return arrays
    return arrays | {f"drafted_{name}": array for name, array in computed.items()}


def read_draft(arrays: Mapping[str, NDArray[Any]], vertex_count: int, sculpt: Offsets) -> DraftLayer | None:
    """The computed layer in the arrays of a sculpt; None where it was not computed. Raises ArchiveError."""
    if KEY not in arrays:
        return None
    inputs = _inputs(arrays[KEY])
    if not any(f"drafted_{name}" in arrays for name in ("indices", "offsets")):
        return DraftLayer(sculpt, inputs)
    return DraftLayer(sparse_offsets(arrays, vertex_count, "drafted_"), inputs)


def _inputs(stated: NDArray[Any]) -> DraftInputs:
    if stated.shape != () or stated.dtype.kind != "U" or stated.dtype.itemsize > 4 * LONGEST:
        raise ArchiveError(f"`{KEY}` is not a short text")
    try:
        plain = json_of(str(stated))
    except UnreadableDataError:
        plain = None
    if not isinstance(plain, dict) or plain.get("plica_draft") != VERSION:
        raise ArchiveError(f"`{KEY}` does not say what the sculpt was computed from")
    texts = {name: plain.get(name) for name in NAMES}
    if not all(isinstance(text, str) for text in texts.values()):
        raise ArchiveError(f"`{KEY}` does not say what the sculpt was computed from")
    return DraftInputs(**{name: str(text) for name, text in texts.items()})


def _steps(values: Floats) -> NDArray[np.int64]:
    return np.rint(values / STEP).astype("<i8")


def _digest(*arrays: NDArray[Any]) -> str:
    digest = sha256()
    for one in arrays:
        digest.update(np.ascontiguousarray(one).tobytes())
    return digest.hexdigest()[:16]
