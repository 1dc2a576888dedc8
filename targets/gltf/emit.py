"""The character's own file with its shapes, in one of the forms."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Final, NamedTuple

from plica.diagnostics import Diagnostics
from plica.diagnostics.place import counted
from plica.emit.build import Build
from plica.emit.output_file_names import safe_file_name
from plica.emit.source_model import located_model
from plica.mesh.attach import Attached
from plica.mesh.mesh_reader import mesh_of_rig
from plica.quantities import number
from plica.readers.clip import Clip
from plica.readers.clip_reader import find_clips
from plica.readers.gltf_arrays import GltfArrays
from plica.readers.gltf_clip import read_gltf_clips
from plica.readers.gltf_skeleton import skeleton_of_document
from plica.readers.model_outline import UnreadableModel
from plica.readers.model_reader import is_usd, tell
from plica.readers.usd_clip import read_usd_clips
from plica.rig.rig import Rig
from plica.targets.gltf.additions import Additions, Document
from plica.targets.gltf.baking import BakedClip, Baking, bake_own, baking_of
from plica.targets.gltf.carried_rig import carry_rig
from plica.targets.gltf.container import NamedFiles, SourceModel, files_of, named_files, read_source
from plica.targets.gltf.from_mesh import model_of_mesh, turning_of_mesh
from plica.targets.gltf.other_clips import bake_other
from plica.targets.gltf.own_channels import widen_channels
from plica.targets.gltf.placing import PlacedShapes, place_shapes
from plica.targets.gltf.turning import Turning, no_turning, turning_of

TARGET: Final = "gltf"


class GltfOptions(NamedTuple):
    """How the file is written: its form, whether tangents turn with normals; for `baked` files of clips beside the
    model's own, and how far a weight may be off; for `live` the animation that the file starts."""

    form: str = "plain"
    tangents: bool = False
    clips: tuple[str, ...] = ()
    error: float = 0.001
    starts: str = ""


class FinishedModel(NamedTuple):
    """A document that has its shapes, its clips and its rig, and where things stand in it.

    joints: the node of each joint of the rig, by the joint's name. `metres`: in one length of the document.
    """

    document: Document
    placed: PlacedShapes
    joints: Mapping[str, int]
    metres: float


Extend = Callable[[FinishedModel, Build, GltfOptions, Diagnostics], Document | None]
"""A form that adds to a finished document: the document to be written, with what was added; None, after diagnostics,
where that cannot be."""


def _as_it_is(finished: FinishedModel, _build: Build, _options: GltfOptions, _diagnostics: Diagnostics) -> Document:
    """Nothing is added."""
    return finished.document


def _live(finished: FinishedModel, build: Build, options: GltfOptions, diagnostics: Diagnostics) -> Document | None:
    """The drivers are added."""
    from plica.targets.gltf.live.driving import drive

    return drive(
        finished.document, build, finished.placed, finished.joints, finished.metres, options.starts, diagnostics
    )


FORMS: Final[dict[str, Extend]] = {"plain": _as_it_is, "baked": _as_it_is, "live": _live}
"""The forms, and what each adds to a document with shapes and, in the form `baked`, clips."""


def gltf_files(build: Build, options: GltfOptions, diagnostics: Diagnostics) -> dict[str, bytes]:
    """The model's file and all that it names, by path; nothing, after diagnostics, where that cannot be."""
    found = located_model(build, "gltf-without-model", diagnostics)
    if found is None:
        return {}
    path, file = found
    try:
        return _files(build, path, file, options, diagnostics)
    except UnreadableModel as error:
        tell(error, "gltf-not-written", file, build.span_of("character", build.rig.character.name), diagnostics)
        return {}


class _Opened(NamedTuple):
    """A model ready to get its shapes: its parts, what is added to it, and the mesh as it stands there.

    arrays: the file's own numbers; None where it was made of a mesh. `metres`: in one length of the document.
    """

    model: SourceModel
    additions: Additions
    attached: Attached | None
    turning: Turning
    arrays: GltfArrays | None
    joints: Mapping[str, int]
    metres: float


def _opened_gltf(build: Build, path: Path, options: GltfOptions) -> _Opened:
    model, arrays, geometry = read_source(path), GltfArrays(path), build.rig.character.geometry
    turning = turning_of(arrays, options.tangents) if build.normals else no_turning
    additions = Additions(model.document, model.new_buffer)
    joints = _joint_nodes(model.document, build.rig)
    metres = 1.0 if geometry is None or geometry.unit is None else geometry.unit
    return _Opened(model, additions, build.attached, turning, arrays, joints, metres)


def _opened_mesh(build: Build, path: Path, file: str, diagnostics: Diagnostics) -> _Opened:
    """A character of OpenUSD, as a document of its own skin and skeleton."""
    diagnostics.add("gltf-of-mesh", build.span_of("character", build.rig.character.name), file=file)
    mesh = mesh_of_rig(build.rig, path) if build.attached is None else build.attached.mesh
    made = model_of_mesh(build.rig, mesh, path.parent)
    attached = None if build.attached is None else replace(build.attached, mesh=made.mesh)
    joints = {joint.name: number for number, joint in enumerate(build.rig.skeleton)}
    turning = turning_of_mesh(mesh) if build.normals else no_turning
    return _Opened(made.model, made.additions, attached, turning, None, joints, 1.0)


def _files(build: Build, path: Path, file: str, options: GltfOptions, diagnostics: Diagnostics) -> dict[str, bytes]:
    build.step("reading the file")
    if is_usd(path):
        opened = _opened_mesh(build, path, file, diagnostics)
    else:
        opened = _opened_gltf(build, path, options)
    build.step("placing shapes")
    finished = _finished(build, path, opened, options, diagnostics)
    document = FORMS[options.form](finished, build, options, diagnostics)
    if document is None:
        return {}
    model = opened.model._replace(document=document)
    build.step("writing the file")
    beside = named_files(model)
    files = files_of(model, opened.additions, f"{safe_file_name(build.rig.character.name)}.rigged")
    _tell(build, finished.placed, beside, diagnostics)
    return {**beside.files, **files}


def _finished(
    build: Build, path: Path, opened: _Opened, options: GltfOptions, diagnostics: Diagnostics
) -> FinishedModel:
    document, rig, arrays = opened.model.document, build.rig, opened.arrays
    placed = place_shapes(document, rig, opened.attached, opened.additions, opened.turning)
    clips: list[BakedClip] = []
    if options.form == "baked" and opened.attached is not None:
        build.step("baking clips")
        baking = baking_of(document, rig, opened.attached, placed, opened.additions, options.error)
        if arrays is not None:
            clips = bake_own(baking, arrays, read_gltf_clips(path), diagnostics)
        else:
            clips = _carried(baking, opened, read_usd_clips(path), Diagnostics())
        for file in options.clips:
            clips += _carried(baking, opened, find_clips(Path(file), file, None, diagnostics), diagnostics)
        _tell_clips(clips, diagnostics)
    if arrays is not None:
        widen_channels(document, arrays, placed.grown, opened.additions, {clip.animation for clip in clips})
    sources = () if build.sources is None else build.sources.digests
    if not carry_rig(document, rig, options.form, placed, [clip.as_extras() for clip in clips], sources):
        diagnostics.add("gltf-extras-taken", None, what="the rig", place="the file and of its asset")
    return FinishedModel(document, placed, opened.joints, opened.metres)


def _carried(baking: Baking, opened: _Opened, clips: Iterable[Clip], diagnostics: Diagnostics) -> list[BakedClip]:
    """New animations of clips, but of those that move nothing."""
    made = (bake_other(baking, one, opened.joints, opened.metres, diagnostics) for one in clips if len(one.times))
    return [one for one in made if one is not None]


def _joint_nodes(document: Document, rig: Rig) -> dict[str, int]:
    geometry = rig.character.geometry
    found = skeleton_of_document(document, () if geometry is None else geometry.meshes)
    nodes = {joint.name: node for joint, node in zip(found.skeleton.joints, found.nodes, strict=True)}
    return {joint.name: nodes[joint.name] for joint in rig.skeleton}


def _tell_clips(clips: Iterable[BakedClip], diagnostics: Diagnostics) -> None:
    """How many keys each clip has now, and how far off they are: a note, or a warning where that is too far."""
    for clip in (one for one in clips if one.keys):
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
