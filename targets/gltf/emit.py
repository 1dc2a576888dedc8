"""The character's own file with its shapes, in one of the forms."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Final, NamedTuple

from plica.diagnostics import Diagnostics
from plica.diagnostics.place import counted
from plica.emit.build import Build
from plica.emit.output_file_names import safe_file_name
from plica.quantities import number
from plica.readers.clip_reader import find_clips
from plica.readers.gltf_arrays import GltfArrays
from plica.readers.gltf_clip import read_gltf_clips
from plica.readers.gltf_skeleton import skeleton_of_document
from plica.readers.model_outline import UnreadableModel
from plica.readers.model_reader import tell
from plica.rig.rig import Rig
from plica.targets.gltf.additions import Additions, Document
from plica.targets.gltf.baking import BakedClip, Baking, bake_own, baking_of
from plica.targets.gltf.carried_rig import carry_rig
from plica.targets.gltf.container import NamedFiles, SourceModel, files_of, named_files, read_source
from plica.targets.gltf.other_clips import bake_other
from plica.targets.gltf.own_channels import widen_channels
from plica.targets.gltf.placing import PlacedShapes, place_shapes
from plica.targets.gltf.turning import no_turning, turning_of
from plica.workspace import Refused, Workspace

TARGET: Final = "gltf"


class GltfOptions(NamedTuple):
    """How the file is written: its form, whether tangents turn with normals, and for `baked` files of clips beside the
    model's own, and how far a weight may be off."""

    form: str = "plain"
    tangents: bool = False
    clips: tuple[str, ...] = ()
    error: float = 0.001


class FinishedModel(NamedTuple):
    """A document that has everything of the form `plain`, and where things stand in it.

    joints: the node of each joint of the rig, by the joint's name.
    """

    document: Document
    placed: PlacedShapes
    joints: Mapping[str, int]


Extend = Callable[[FinishedModel, Rig], Document]
"""A form that adds to a finished document: the document to be written, with what was added."""


def _as_it_is(finished: FinishedModel, rig: Rig) -> Document:
    """Nothing is added."""
    return finished.document


FORMS: Final[dict[str, Extend]] = {"plain": _as_it_is, "baked": _as_it_is}
"""The forms, and what each adds to a document with shapes and, in the form `baked`, clips."""


def gltf_files(build: Build, options: GltfOptions, diagnostics: Diagnostics) -> dict[str, bytes]:
    """The model's file and all that it names, by path; nothing, after diagnostics, where that cannot be."""
    character, geometry = build.rig.character, build.rig.character.geometry
    span = build.span_of("character", character.name)
    if geometry is None:
        diagnostics.add("gltf-without-model", span, character=character.name)
        return {}
    path = Workspace(build.folder, build.allowed).locate(geometry.file)
    if isinstance(path, Refused):
        diagnostics.add_filled(path.name, None, path.values)
        return {}
    try:
        return _files(build, path, options, diagnostics)
    except UnreadableModel as error:
        tell(error, "gltf-not-written", geometry.file, span, diagnostics)
        return {}


def _files(build: Build, path: Path, options: GltfOptions, diagnostics: Diagnostics) -> dict[str, bytes]:
    build.step("reading the file")
    model = read_source(path)
    build.step("placing shapes")
    additions = Additions(model.document, model.new_buffer)
    finished = _finished(build, path, model, options, additions, diagnostics)
    model = model._replace(document=FORMS[options.form](finished, build.rig))
    build.step("writing the file")
    beside = named_files(model)
    files = files_of(model, additions, f"{safe_file_name(build.rig.character.name)}.rigged")
    _tell(build, finished.placed, beside, diagnostics)
    return {**beside.files, **files}


def _finished(
    build: Build, path: Path, model: SourceModel, options: GltfOptions, additions: Additions, diagnostics: Diagnostics
) -> FinishedModel:
    document, rig = model.document, build.rig
    arrays = GltfArrays(path)
    turning = turning_of(arrays, options.tangents) if build.normals else no_turning
    placed = place_shapes(document, rig, build.attached, additions, turning)
    finished = FinishedModel(document, placed, _joint_nodes(document, rig))
    clips: list[BakedClip] = []
    if options.form == "baked" and build.attached is not None:
        build.step("baking clips")
        baking = baking_of(document, rig, build.attached, placed, additions, options.error)
        own = read_gltf_clips(path) if document.get("animations") else ()
        clips = bake_own(baking, arrays, own, diagnostics)
        clips += _other_clips(build, baking, finished, options.clips, diagnostics)
        _tell_clips(clips, diagnostics)
    widen_channels(document, arrays, placed.grown, additions, {clip.animation for clip in clips})
    if not carry_rig(document, rig, options.form, placed, [clip.as_extras() for clip in clips]):
        diagnostics.add("gltf-extras-taken", None, what="the rig", place="the file and of its asset")
    return finished


def _joint_nodes(document: Document, rig: Rig) -> dict[str, int]:
    geometry = rig.character.geometry
    found = skeleton_of_document(document, () if geometry is None else geometry.meshes)
    nodes = {joint.name: node for joint, node in zip(found.skeleton.joints, found.nodes, strict=True)}
    return {joint.name: nodes[joint.name] for joint in rig.skeleton}


def _other_clips(
    build: Build, baking: Baking, finished: FinishedModel, files: Iterable[str], diagnostics: Diagnostics
) -> list[BakedClip]:
    geometry = build.rig.character.geometry
    unit = 1.0 if geometry is None or geometry.unit is None else geometry.unit
    result = []
    for file in files:
        for clip in find_clips(Path(file), file, None, diagnostics):
            if len(clip.times):
                result.append(bake_other(baking, clip, finished.joints, unit, diagnostics))
    return result


def _tell_clips(clips: Iterable[BakedClip], diagnostics: Diagnostics) -> None:
    """How many keys each clip has now, and how far off they are: a note, or a warning where that is too far."""
    for clip in clips:
        rule = "gltf-clip-baked" if clip.largest_error <= clip.error else "gltf-clip-inexact"
        largest, error = number(clip.largest_error), number(clip.error)
        diagnostics.add(rule, None, clip=clip.name, keys=counted(clip.most_keys, "key"), largest=largest, error=error)


def _tell(build: Build, placed: PlacedShapes, beside: NamedFiles, diagnostics: Diagnostics) -> None:
    for mesh in placed.unnamed:
        diagnostics.add("gltf-extras-taken", None, what="names of morph targets", place=f"meshes[{mesh}]")
    for uri, reason in beside.missing:
        diagnostics.add("gltf-file-left-out", None, file=uri, reason=reason)
    if build.rig.folds:
        folds = counted(len(build.rig.folds), "fold")
        diagnostics.add("gltf-without-folds", build.span_of("fold", build.rig.folds[0].name), folds=folds)
