"""The same character gives the same: what is said of a variation, what Plica makes of it, and how far that is from the
character's own."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

import plica
from plica.diagnostics import Severity
from plica.evaluate import Poses
from tests.variants.characters import FRAMES, model_of, motion_of, sculpt_of
from tests.variants.model_file import Floats, write_model
from tests.variants.variation import Variation

UP = np.array((0.0, 1.0, 0.0))
ROLES = ("upperarm", "forearm", "hand", "shin", "foot")
LENGTHS = ("clearance", "size")  # figures that are metres
MODEL, SCULPT, REST_SCULPT = "model.glb", "swell.npz", "flat.npz"

SPEC = """plica 1

character c {{
    geometry  "{model}"
{character}
}}

region forearm  both {{ skin of {forearms}   feather {feather!r} mm }}
region hand     both {{ skin of {hand} and below }}
region upperarm both {{ skin of {upperarm} }}

driver elbow both {{ reads rotation about {up} in model of {forearm}   span 0 deg .. 90 deg   curve 0 0, 0.5 0.3, 1 1 }}
driver own   both {{ reads rotation about x of {forearm}   span 0 deg .. 60 deg }}
driver lift  both {{ reads swing toward {up} in model of {upperarm} along {out} in model   span 0 deg .. 60 deg }}
driver wrist both {{ reads bend of {hand}{from_forearm}   span 0 deg .. 70 deg }}
driver roll  both {{ reads euler x order xyz of {hand}{from_forearm}   span 0 deg .. 60 deg }}
driver ankle both {{ reads rotation about {side} in model of {foot}{from_shin}   span 0 deg .. 60 deg }}
driver near  both {{ reads gap of {hand} from {head}   span 0 mm .. {near!r} mm }}
driver slide both {{ reads offset {up} in model of {hand}{from_forearm}   span 0 mm .. {slide!r} mm }}
driver nod        {{ reads rotation about {side} in model of {head}   span 0 deg .. 30 deg }}

field wave both {{
    reads   rotation of {upperarm}
    sample  raised   at about {side} in model 60 deg
    sample  forward  at about {up} in model -50 deg
}}

shape swell both {{ sculpt "{sculpt}"  posed at elbow 1   follows elbow }}
shape flat  both {{ sculpt "{rest_sculpt}"   follows wrist }}
shape bulge both {{ morph "bulge"   follows lift }}

expect both {{ volume of forearm within 90 %         over elbow }}
expect both {{ stretch of forearm at most 900 %      over elbow }}
expect both {{ clearance of hand from upperarm at least 1 mm   over elbow }}
expect      {{ rest }}
"""


NEAR, SLIDE = 200.0, 20.0  # mm
STEEPEST = np.radians(30.0) / 2.0  # of the drivers of angles; a curve or a field may rise twice as fast as a span


def span_of(strength: str, size: float) -> float:
    """Over which part of the body's size, or how many radians, a strength rises from 0 to 1, at its steepest."""
    lengths = {"near": NEAR, "slide": SLIDE}
    span = next((length for name, length in lengths.items() if strength.endswith(name)), None)
    return STEEPEST if span is None else span / 1000.0 / size


@dataclass(frozen=True, eq=False)
class Outcome:
    """What Plica makes of a variation, in the character's model space, metres, one row for each vertex of its own.

    errors, warnings: names of diagnostics. strengths: by name (frames,); skin, moved (frames, v, 3): the bare skin, and
    what shapes add to it; regions: by name (v,); figures: the worst value by expectation, and the largest move by
    shape; lost: vertices of the character that the variation does not show. Without a rig or a mesh there are only
    diagnostics.
    """

    errors: tuple[str, ...]
    warnings: tuple[str, ...]
    strengths: dict[str, Floats]
    skin: Floats
    moved: Floats
    regions: dict[str, Floats]
    figures: dict[str, float]
    lost: int = 0

    @property
    def size(self) -> float:
        """The diagonal of the box around the character, metres."""
        return float(np.linalg.norm(np.ptp(self.skin[0], axis=0)))


def spec_of(variation: Variation) -> str:
    """The character's spec with the edits that the variation allows."""
    character = variation.character
    base = model_of(character)
    lines = [f"    {fact}" for fact in variation.facts]
    across = np.eye(3)["xyz".index(character.across)]
    left_hand = motion_of(character)[base.node(character.joint(character.hand)), 0, :3, 3]
    out = variation.direction(across * np.sign(across @ left_hand))
    if variation.placed:
        lines.append(f"    pairs by position with left toward {_axis(out)}")
    elif variation.stated:
        for left, right, shared in character.pairs(base):
            names = (variation.name_of(base.node(name)) for name in (left, right))
            role = next((role for role in ROLES if getattr(character, role) == shared), None)
            lines.append(f"    pair {', '.join(_quoted(name) for name in names)}" + (f" as {role}" if role else ""))
    else:
        lines += [f"    left {_quoted(variation.left)}", f"    right {_quoted(variation.right)}"]
    lengths = 1.0 if variation.facts else variation.scale
    roles = {role: _quoted(_called(variation, role)) for role in ROLES}
    return SPEC.format(
        model=MODEL,
        sculpt=SCULPT,
        rest_sculpt=REST_SCULPT,
        character="\n".join(lines),
        forearms=", ".join((roles["forearm"], *map(_quoted, variation.forearm))),
        **roles,
        head=_quoted(variation.name_of(base.node(character.head))),
        up=_vector(variation.direction(UP)),
        out=_vector(out),
        side=_vector(variation.direction(across)),
        from_forearm=f" from {roles['forearm']}" if variation.hung else "",
        from_shin=f" from {roles['shin']}" if variation.hung else "",
        feather=90.0 * lengths,
        near=-NEAR * lengths,
        slide=SLIDE * lengths,
    )


def _called(variation: Variation, role: str) -> str:
    """What the spec calls a pair of joints; one that is found by position is called as its left joint is."""
    shared = str(getattr(variation.character, role))
    if variation.placed:
        return variation.name_of(model_of(variation.character).node(variation.character.joint(shared)))
    return role if variation.stated else shared


def _axis(direction: Floats) -> str:
    """The axis that is nearest to a direction, with its sign."""
    column = int(np.argmax(np.abs(direction)))
    return ("-" if direction[column] < 0 else "") + "xyz"[column]


def _quoted(name: str) -> str:
    return f'"{name}"'


def _vector(vector: Floats) -> str:
    return "(" + ", ".join(f"{value + 0.0:.12g}" for value in vector.round(12)) + ")"


def write_variation(variation: Variation, folder: Path) -> None:
    """The model and its sculpts, made in the variation's own model space."""
    write_model(variation.model, folder / MODEL)
    offsets = sculpt_of(variation.character, model_of(variation.character))
    source = sources(variation)
    moved = np.where(source[:, None] >= 0, offsets[source], 0.0) @ variation.place[:3, :3].T
    moving = np.flatnonzero(moved.any(axis=1))
    if variation.facts:
        moved = moved / variation.scale
    for file, factor in ((SCULPT, 1.0), (REST_SCULPT, 0.5)):
        np.savez(folder / file, indices=moving, offsets=factor * moved[moving], vertex_count=np.int64(len(source)))


def sources(variation: Variation) -> Floats:
    """For each vertex of the variation as Plica counts them the character's (v,), -1 for none.

    A mesh that several nodes show with one skin stands in one place, and counts once.
    """
    model = variation.model
    shown = sorted((node.mesh, number) for number, node in enumerate(model.nodes) if node.mesh is not None)
    once = {}
    for mesh, number in shown:
        skin = model.nodes[number].skin
        once.setdefault((mesh, skin, number if skin is None else None), mesh)
    return np.concatenate([primitive.source for mesh in once.values() for primitive in model.meshes[mesh].primitives])


def outcome_of(variation: Variation, folder: Path, text: str | None = None) -> Outcome:
    """What Plica makes of it."""
    write_variation(variation, folder)
    character = plica.compile_text(text or spec_of(variation), folder=folder)
    if character.rig is None:
        return _refused(character.diagnostics)
    mesh = plica.attach_mesh(character)
    told = (*character.diagnostics, *mesh.diagnostics)
    source = sources(variation)
    if not mesh.ok or len(mesh.positions) != len(source):
        return _refused(told, lost=len(source))
    poses = poses_of(variation, character)
    strengths = plica.compute_strengths(character, poses)
    bare = plica.deform_mesh(mesh, poses, shapes=False).positions
    skin = plica.deform_mesh(mesh, poses).positions
    first, lost = _first(source, variation)
    unit = 1.0 if variation.facts else variation.scale
    back = np.linalg.inv(variation.place)[:3, :3] * (variation.scale / unit)
    start = np.linalg.inv(variation.place)[:3, 3]
    proof = plica.prove_expectations(character, cache=False, workers=1)
    figures = {result.title: result.worst for result in proof.results if result.worst is not None}
    figures |= {f"size of {name}": size.largest for name, size in mesh.attached.sizes.items()}
    lengths = {name: float(value) / (unit if name.startswith(LENGTHS) else 1.0) for name, value in figures.items()}
    return Outcome(
        _names(told, Severity.ERROR),
        _names(told, Severity.WARNING),
        {name: np.asarray(strengths[name]) for name in character.strengths},
        bare[:, first] @ back.T + start,
        (skin - bare)[:, first] @ back.T,
        {name: np.asarray(weights)[first] for name, weights in mesh.regions.items()},
        lengths,
        lost,
    )


def _refused(told: tuple[plica.Diagnostic, ...], lost: int = 0) -> Outcome:
    nothing = np.zeros((FRAMES, 0, 3))
    return Outcome(_names(told, Severity.ERROR), _names(told, Severity.WARNING), {}, nothing, nothing, {}, {}, lost)


def _names(told: tuple[plica.Diagnostic, ...], severity: Severity) -> tuple[str, ...]:
    return tuple(sorted({one.name for one in told if one.severity is severity}))


def _first(source: Floats, variation: Variation) -> tuple[Floats, int]:
    """Where each of the character's vertices first stands, and how many stand nowhere."""
    count = sum(len(primitive.source) for primitive in model_of(variation.character).primitives)
    first = np.full(count, -1)
    rows = np.flatnonzero(source >= 0)[::-1]
    first[source[rows]] = rows
    return first, int((first < 0).sum())


def poses_of(variation: Variation, character: plica.Character) -> Poses:
    """The variation's motion as poses of its character, in metres where the spec says the unit."""
    given = variation.poses()
    names = [name for name in given if name in character.joints]
    unit = variation.scale if variation.facts else 1.0
    return plica.poses_from_arrays(
        character,
        joints=names,
        rotations=np.stack([given[name][0] for name in names], axis=1),
        translations=np.stack([given[name][1] / unit for name in names], axis=1),
        scales=np.stack([given[name][2] for name in names], axis=1),
    )
