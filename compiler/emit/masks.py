"""A Build's masks: made once for all targets that emit or name them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from plica.diagnostics import Diagnostics
from plica.emit.build import Build, ComputedMasks
from plica.emit.output_file_names import safe_file_name
from plica.workspace import Refused, Workspace, located_bytes

if TYPE_CHECKING:
    from plica.mesh.attach import Attached
    from plica.rig.rig import Rig
    from plica.rig.surfaces import DirectionMapPlace, MaskPlace
    from plica.texture.mask_set import MaskOptions, MaskSet


def masks(build: Build, diagnostics: Diagnostics, options: MaskOptions | None = None) -> MaskSet | None:
    """The masks of all folds, with what is to be told about them; None after errors, or where there are no folds."""
    from plica.texture.masks import DEFAULT

    wanted = DEFAULT if options is None else options
    if not build.rig.folds:
        return None
    if build.attached is None:
        span = build.span_of("fold", build.rig.folds[0].name)
        diagnostics.add("masks-without-mesh", span, character=build.rig.character.name)
        return None
    made = build.computed.masks
    if made is None or made.attached is not build.attached or (made.rig, made.options) != (build.rig, wanted):
        made = build.computed.masks = _made(build, build.attached, wanted)
    diagnostics.extend(made.diagnostics)
    return made.masks


def mask_places(build: Build, diagnostics: Diagnostics, options: MaskOptions | None = None) -> Mapping[str, MaskPlace]:
    """The texture and the channel of each fold's mask, by the fold's name; empty where there are no masks."""
    made = masks(build, diagnostics, options)
    return {} if made is None else made.places


def direction_places(
    build: Build, diagnostics: Diagnostics, options: MaskOptions | None = None
) -> Mapping[str, DirectionMapPlace]:
    """The map of directions of each fold that has one, by the fold's name."""
    made = masks(build, diagnostics, options)
    return {} if made is None else {one.fold: one.place for one in made.directions}


def with_places(build: Build) -> Rig:
    """The build's rig, whose folds tell where a target of this build writes their masks and maps of directions.

    They are not made for the sake of their names: what is named is there. Where no target writes any, or fails to,
    nothing is named. What is to be told, that target tells.
    """
    if build.mask_options is None or build.attached is None:
        return build.rig
    places = mask_places(build, Diagnostics(), build.mask_options)
    directions = direction_places(build, Diagnostics(), build.mask_options)
    folds = (
        fold._replace(mask=places.get(fold.name), directions=directions.get(fold.name)) for fold in build.rig.folds
    )
    return build.rig._replace(folds=tuple(folds))


def _made(build: Build, attached: Attached, options: MaskOptions) -> ComputedMasks:
    from plica.texture.masks import masks_of

    workspace = Workspace(build.folder, build.allowed)

    def read(file: str) -> bytes | Refused:
        return located_bytes(workspace.locate, file, "image_bytes")

    diagnostics = Diagnostics()
    stem = safe_file_name(build.rig.character.name)
    made = masks_of(build.rig, attached, read, diagnostics, build.span_of, options, stem, build.step)
    return ComputedMasks(build.rig, attached, options, made, diagnostics.all)
