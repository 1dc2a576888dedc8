"""A first look at a model: everything that a first spec is made from."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from plica.mesh.arrays import Mesh
from plica.mesh.mesh_reader import read_mesh, resized, unit_as_read
from plica.readers.model_outline import ModelOutline, UnreadableModel
from plica.skeleton.body import Body, body_of
from plica.skeleton.joint_words import words_of
from plica.skeleton.planes import Plane, find_plane
from plica.skeleton.side_patterns import FoundSides
from plica.start.bending_joints import FoundJoints, found_joints
from plica.start.clip_motion import ClipMotion, motion_of
from plica.start.stance import FirstStance, first_stance
from plica.start.subjects import base_names, followed_joints, subjects_of
from plica.start.verdicts import Witnesses, wanted_turns


class FirstLook(NamedTuple):
    """What was found of a model.

    `stance`: the neutral stance, its skeleton and sides; `bases`: the joints' names without side; `mesh`: None where
    nothing is skinned or the mesh cannot be read; `followed`: for each joint whether skin follows it; `motion`: of its
    clips.
    """

    outline: ModelOutline
    stance: FirstStance
    plane: Plane | None
    body: Body
    bases: list[str]
    found: FoundJoints
    motion: ClipMotion
    mesh: Mesh | None
    followed: list[bool]


def first_look(path: Path, outline: ModelOutline, stem: str) -> FirstLook:
    """Look at a model whose outline is known; `stem` is its file's name, which may tell the side of a single hand."""
    stance = first_stance(outline)
    skeleton, sides = stance.skeleton, stance.sides
    mesh = _mesh(path, outline, [joint.name for joint in outline.skeleton.joints])
    followed = followed_joints(skeleton, mesh)
    body = body_of(skeleton, sides.sides, _only_side(stem, sides), followed)
    bases = base_names(skeleton, sides.sides)
    plane = sides.plane or find_plane(skeleton, list(sides.sides.pairs.values()))
    subjects = subjects_of(body, sides.sides, followed)
    motion = motion_of(path, skeleton, wanted_turns(body, subjects)) if outline.animations else ClipMotion({}, 0)
    found = found_joints(subjects, bases, Witnesses(body, plane, motion))
    return FirstLook(outline, stance, plane, body, bases, found, motion, mesh, followed)


def _mesh(path: Path, outline: ModelOutline, joints: list[str]) -> Mesh | None:
    if not outline.skinned_meshes:
        return None
    try:
        return resized(read_mesh(path, joints), outline.unit / unit_as_read(path))
    except UnreadableModel:
        return None  # a check of the spec says what is wrong with it


def _only_side(stem: str, sides: FoundSides) -> float:
    """The side that the file's name tells, for a model of one hand or leg."""
    words = set(words_of(stem))
    left, right = bool(words & {"left", "l", "lf"}), bool(words & {"right", "r", "rt"})
    return 0.0 if sides.sides.pairs or left == right else 1.0 if left else -1.0
