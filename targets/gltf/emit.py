"""The character's own file with its shapes, in one of the forms."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Final, NamedTuple

from plica.diagnostics import Diagnostics
from plica.diagnostics.place import counted
from plica.emit.build import Build
from plica.emit.output_file_names import safe_file_name
from plica.readers.gltf_arrays import GltfArrays
from plica.readers.gltf_skeleton import skeleton_of_document
from plica.readers.model_outline import UnreadableModel
from plica.readers.model_reader import tell
from plica.rig.rig import Rig
from plica.targets.gltf.additions import Additions, Document
from plica.targets.gltf.carried_rig import carry_rig
from plica.targets.gltf.container import NamedFiles, SourceModel, files_of, named_files, read_source
from plica.targets.gltf.own_channels import widen_channels
from plica.targets.gltf.placing import PlacedShapes, place_shapes
from plica.targets.gltf.turning import no_turning, turning_of
from plica.workspace import Refused, Workspace

TARGET: Final = "gltf"


class GltfOptions(NamedTuple):
    """How the file is written: its form, and whether tangents turn with normals."""

    form: str = "plain"
    tangents: bool = False


class FinishedModel(NamedTuple):
    """A document that has everything of the form `plain`, and where things stand in it.

    joints: the node of each joint of the rig, by the joint's name.
    """

    document: Document
    placed: PlacedShapes
    joints: Mapping[str, int]


Extend = Callable[[FinishedModel, Rig], Document]
"""A form that adds to a finished document: the document to be written, with what was added."""
FORMS: Final[dict[str, Extend]] = {"plain": lambda finished, rig: finished.document}
"""The forms, and what each adds."""


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
    document, geometry = model.document, build.rig.character.geometry
    arrays = GltfArrays(path)
    found = skeleton_of_document(document, () if geometry is None else geometry.meshes)
    joints = {joint.name: node for joint, node in zip(found.skeleton.joints, found.nodes, strict=True)}
    turning = turning_of(arrays, options.tangents) if build.normals else no_turning
    placed = place_shapes(document, build.rig, build.attached, additions, turning)
    widen_channels(document, arrays, placed.grown, additions)
    if not carry_rig(document, build.rig, options.form, placed):
        diagnostics.add("gltf-extras-taken", None, what="the rig", place="the file and of its asset")
    return FinishedModel(document, placed, {joint.name: joints[joint.name] for joint in build.rig.skeleton})


def _tell(build: Build, placed: PlacedShapes, beside: NamedFiles, diagnostics: Diagnostics) -> None:
    for mesh in placed.unnamed:
        diagnostics.add("gltf-extras-taken", None, what="names of morph targets", place=f"meshes[{mesh}]")
    for uri, reason in beside.missing:
        diagnostics.add("gltf-file-left-out", None, file=uri, reason=reason)
    if build.rig.folds:
        folds = counted(len(build.rig.folds), "fold")
        diagnostics.add("gltf-without-folds", build.span_of("fold", build.rig.folds[0].name), folds=folds)
