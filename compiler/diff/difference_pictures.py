"""Pictures of what a change does to the skin: before and after in the pose in which it differs most, and by how much.

Poses that are looked at: the neutral stance, each strength half way and all the way, alone, and each declared pose, all
of the new state; in the old one joints move since its own neutral stance as they do in the new one. Where the meshes
differ in their vertices there is nothing to take differences of, and that is said.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Final, NamedTuple

import numpy as np

from plica.diagnostics import Diagnostics
from plica.diff.character_state import CharacterState
from plica.diff.comparison import Versions
from plica.diff.report import DrawnChange
from plica.diff.skin_states import PosableSkin, in_other_state, posable_skin
from plica.evaluate.evaluator import Evaluator
from plica.evaluate.poses import Poses, rest_poses
from plica.mesh.computed_cache import ComputedCache
from plica.mesh.deform import Deformer
from plica.picture.files import content_of
from plica.picture.page import LabelledView, contact_sheet
from plica.picture.standpoints import front_of
from plica.picture.studio import Figure, Studio, tint_scale
from plica.prove.declared_poses import declared_poses
from plica.prove.sweeps import Sweeper
from plica.quantities import length
from plica.rig.rig import Rig
from plica.texture.skin_details import SkinDetails
from plica.workspace import Refused, located_bytes

SIZE: Final = (420, 420)
LEAST: Final = 1e-6
"""Metres: skin that moves by less has not changed."""
_LEAST_SHOWN: Final = 0.12
"""A view shows at least this share of the body's size."""
_PLACES: Final = ((0.5, "half way"), (1.0, "all the way"))
_SHARE: Final = 0.1
"""Skin that differs by more than this share of the most is what the views are about."""


class _Pose(NamedTuple):
    words: str
    poses: Poses


def drawn_changes(
    old: Versions, new: Versions, step: Callable[[str], None] = lambda text: None
) -> Iterator[tuple[DrawnChange, bytes]]:
    """For each character that both sides have, what its picture shows and the PNG file, no bytes for none."""
    taken: set[str] = set()
    for key in sorted({*old} & {*new}):
        before, after = old[key], new[key]
        if not isinstance(before, CharacterState) or not isinstance(after, CharacterState):
            continue
        name = after.rig.character.name
        step(f"drawing what changed of {name}")
        words, content = _drawn(before, after)
        yield DrawnChange(name, _file(name, taken) if content else "", words), content


def _file(name: str, taken: set[str]) -> str:
    """A file name of the character's own."""
    plain = re.sub(r"[^A-Za-z0-9_-]+", "_", name)[:80] or "character"
    result, number = f"{plain}.png", 2
    while result.casefold() in taken:
        result, number = f"{plain}_{number}.png", number + 1
    taken.add(result.casefold())
    return result


def _drawn(before: CharacterState, after: CharacterState) -> tuple[str, bytes]:
    """What the picture shows, and the file; or why there is none."""
    memory = ComputedCache()
    states = [posable_skin(state, memory) for state in (before, after)]
    for state, skin in zip(("old", "new"), states, strict=True):
        if isinstance(skin, str):
            return f"{state} state: {skin}", b""
    one, other = (skin for skin in states if isinstance(skin, PosableSkin))
    meshes = [skin.attached.mesh for skin in (one, other)]
    if meshes[0].vertex_count != meshes[1].vertex_count:
        return "the mesh has other vertices now, so there is no difference to show", b""
    most, chosen = 0.0, None
    for pose in _poses(other.rig):
        apart = _apart(one, other, pose.poses)
        if apart > most:
            most, chosen = apart, pose
    if chosen is None or most < LEAST:
        return "the skin is the same in every pose that was looked at", b""
    details = [_details(state, skin) for state, skin in ((before, one), (after, other))]
    return f"{chosen.words}: at most {length(most)} apart", _picture((one, other), details, chosen, most)


def _details(state: CharacterState, skin: PosableSkin) -> SkinDetails:
    """The details of a state's skin; what is wrong with their maps is told by a build."""

    def read(file: str) -> bytes | Refused:
        assert state.locate is not None
        return located_bytes(state.locate, file, "image_bytes")

    return SkinDetails(skin.rig, skin.attached.mesh, skin.attached.regions, read, Diagnostics())


def _poses(rig: Rig) -> Iterator[_Pose]:
    """The poses that are looked at, with words for them."""
    yield _Pose("at rest", rest_poses(rig))
    sweeper = Sweeper(rig)
    for strength in rig.strengths:
        track = sweeper.sweep(strength.name)
        assert track.between is not None
        poses = track.between(np.array([place for place, _ in _PLACES]))
        for row, (_, words) in enumerate(_PLACES):
            yield _Pose(f"{strength.name} {words}", poses[row])
    for track in declared_poses(rig, Diagnostics(), {}).values():
        yield _Pose(track.name, track.poses)


def _apart(one: PosableSkin, other: PosableSkin, poses: Poses) -> float:
    """How far apart a vertex is at most, metres."""
    positions = [skin.positions(poses, other.rig)[0] for skin in (one, other)]
    return float(np.linalg.norm(positions[1] - positions[0], axis=1).max(initial=0.0))


def _figure(skin: PosableSkin, details: SkinDetails, pose: _Pose, of: Rig) -> Figure:
    """The skin in a pose of a rig, with its details and folds."""
    evaluator = Evaluator(skin.rig)
    strengths = evaluator.strengths(in_other_state(pose.poses, of, skin.rig))[0].tolist()
    positions = skin.positions(pose.poses, of)[0]
    return Figure(positions, relief=details.posed(positions, dict(zip(evaluator.names, strengths, strict=True))))


def _picture(skins: Sequence[PosableSkin], details: Sequence[SkinDetails], pose: _Pose, most: float) -> bytes:
    other = skins[-1]
    mesh = other.attached.mesh
    before, after = (_figure(skin, own, pose, other.rig) for skin, own in zip(skins, details, strict=True))
    bare = Deformer(mesh, other.rig, {})
    neutral = np.asarray(next(iter(bare.positions(rest_poses(other.rig)))).positions[0])
    studio = Studio(mesh, neutral, front_of(other.rig))
    apart = np.linalg.norm(after.positions - before.positions, axis=1)
    places = studio.places([before, after], apart > _SHARE * most)
    camera = studio.camera(places, studio.standpoint(places), SIZE, _LEAST_SHOWN)
    figures = (before, after, replace(after, tint=apart / most))
    words = ("before", "after", "how far apart")
    views = [LabelledView(studio.view(one, camera, SIZE), said) for one, said in zip(figures, words, strict=True)]
    lines = [f"{pose.words}: at most {length(most)} apart", f"squares on the ground: {length(studio.square)}"]
    lines += [f"without the detail {name}: its maps cannot be shown" for name in details[-1].left_out]
    title = other.rig.character.title or other.rig.character.name
    return content_of([contact_sheet(views, len(views), title, lines, tint_scale(most, "apart:"))], ".png")
