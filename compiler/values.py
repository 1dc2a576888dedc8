"""What specs and rigs both hold as it is: what is said for people, names of files, response curves."""

from __future__ import annotations

from typing import Literal, get_args

from plica.distinct import distinct
from plica.named_tuples import NamedTuple

Side = Literal["left", "right", "none"]
Sided = Literal["one-sided", "two-sided"]
"""Whether a sculpt of both sides shows one of them, or both at once."""
SkinningMethod = Literal["linear", "dual quaternion"]
"""How a skin follows its joints: linear blend (glTF 2.0 section 3.7.3), or dual quaternions (Kavan and others 2007)."""
Stance = Literal["bind", "rest"]
"""Which pose of a model is its neutral stance: the one in which the skin was bound, or the file's rest transforms."""


class Photo(NamedTuple):
    """A reference photograph, as a path from the spec's folder, and what it shows."""

    file: str
    caption: str = ""


class About(NamedTuple):
    """What is said about a declaration for people and for the diff."""

    notes: tuple[str, ...] = ()
    photos: tuple[Photo, ...] = ()
    renamed_from: str | None = None


NOTHING_SAID = About()


class Alias(NamedTuple):
    """What a clip calls a joint."""

    clip_name: str
    joint: str


class Geometry(NamedTuple):
    """The model file, from the spec's folder, and the meshes of it that are the skin, or nodes that show them.

    No meshes: whatever a skin or a joint moves. `unit`: how many metres one length of the file is; None where the file
    was not read.
    """

    file: str
    meshes: tuple[str, ...] = ()
    unit: float | None = None


class DraftFacts(NamedTuple):
    """What a spec says of a sculpt that `plica draft` computes; None where it leaves the choice.

    volume: the share of the volume that is kept. nearness: how strongly the skin holds to where skinning puts it, over
    how strongly to its form at rest. border (metres): over which it passes into the skin around it. gap (metres): what
    stays free between parts that meet. inbetweens: how many.
    """

    volume: float | None = None
    nearness: float | None = None
    border: float | None = None
    gap: float | None = None
    inbetweens: int | None = None


# ---- curves: 0..1 to 0..1 ---------------------------------------------------------------------------


class Linear(NamedTuple):
    """The straight line: strength equals share of the span."""

    kind: Literal["linear"] = "linear"


class Points(NamedTuple):
    """Straight lines between points (x, y), x rising from 0 to 1."""

    points: tuple[tuple[float, float], ...]
    kind: Literal["points"] = "points"


class Hermite(NamedTuple):
    """Cubics between knots (x, y, slope), x rising from 0 to 1; `method` tells where the slopes come from."""

    method: Literal["smooth", "monotone", "harmonic"]
    knots: tuple[tuple[float, float, float], ...]
    kind: Literal["hermite"] = "hermite"


class Bezier(NamedTuple):
    """The cubic-bezier(x1, y1, x2, y2) of CSS Easing Functions Level 1."""

    controls: tuple[float, float, float, float]
    kind: Literal["bezier"] = "bezier"


Curve = Linear | Points | Hermite | Bezier
distinct(*get_args(Curve))
LINEAR = Linear()
