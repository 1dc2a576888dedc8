"""From a rig's folds and its attached mesh to packed textures of masks."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from plica.diagnostics import Diagnostics
from plica.mesh.attach import Attached, SpanOf, Step
from plica.mesh.painting import Paintings
from plica.mesh.region_sources import Read
from plica.rig.rig import Rig
from plica.rig.surfaces import Detail, Fold, Painted
from plica.texture.areas import Areas
from plica.texture.atlas import atlas_of
from plica.texture.budgets import tell_budgets
from plica.texture.direction_maps import direction_maps
from plica.texture.mask_set import Mask, MaskOptions, MaskSet, Placed, Texture
from plica.texture.mask_sizes import Sizer
from plica.texture.overlap import tell_overlaps
from plica.texture.packing import Bin, PackingRequest, packed
from plica.texture.png import png, with_build
from plica.texture.skin_points import measured_points
from plica.texture.texture_diagnostics import tell_precision, tell_uvs
from plica.texture.texture_memory import stored_channels

DEFAULT: Final = MaskOptions()


def masks_of(
    rig: Rig,
    attached: Attached,
    read: Read,
    diagnostics: Diagnostics,
    span_of: SpanOf = lambda kind, name: None,
    options: MaskOptions = DEFAULT,
    stem: str = "character",
    step: Step = lambda text: None,
) -> MaskSet | None:
    """The masks of all folds; None after errors.

    `read` gives the bytes of painted images; textures are named after `stem` and their number.
    """
    made = _Making(rig, attached, read, diagnostics, span_of, options, step)
    errors = diagnostics.count_of_errors
    masks = made.masks()
    if diagnostics.count_of_errors > errors:
        return None
    wanted = [PackingRequest(mask.fold, (mask.fold.detail, mask.uv), mask.size) for mask in masks.values()]
    step("packing masks")
    bins = packed(rig, wanted, options.channels)
    textures = tuple(
        _texture(one, masks, f"{stem}.masks.{number + 1}.png", rig.build) for number, one in enumerate(bins)
    )
    placed = {
        fold: Placed(number, channel) for number, one in enumerate(bins) for channel, fold in enumerate(one.folds)
    }
    vertices = measured_points(attached.mesh.triangles).vertices(attached.mesh.triangles)
    directions = direction_maps(rig, attached, masks, stem)
    whole = MaskSet(masks, {fold: placed[fold] for fold in masks}, textures, vertices, directions)
    tell_budgets(rig, whole, diagnostics, span_of)
    tell_overlaps(rig, attached, whole, diagnostics, span_of)
    return whole


def _texture(one: Bin, masks: dict[str, Mask], file: str, build: str | None) -> Texture:
    channels = stored_channels(len(one.folds))
    content = png([masks[fold].sized.images[one.size] for fold in one.folds], channels)
    return Texture(file, one.kind[0], one.kind[1], one.size, channels, one.folds, with_build(content, build))


@dataclass(eq=False)
class _Making:
    rig: Rig
    attached: Attached
    read: Read
    diagnostics: Diagnostics
    span_of: SpanOf
    options: MaskOptions
    step: Step
    paintings: Paintings = field(default_factory=Paintings)

    def masks(self) -> dict[str, Mask]:
        """The masks of all folds, in the order of the rig."""
        by_uv: dict[str, list[Fold]] = {}
        for fold in self.rig.folds:
            uv = self._uv_of(fold)
            if uv is not None:
                by_uv.setdefault(uv, []).append(fold)
        made = {name: mask for uv, folds in by_uv.items() for name, mask in self._of_sheet(uv, folds).items()}
        return {fold.name: made[fold.name] for fold in self.rig.folds if fold.name in made}

    def _uv_of(self, fold: Fold) -> str | None:
        """The uv set of a fold's mask: that of the image where its area is painted, else that of its detail."""
        region = next(one for one in self.rig.regions if one.name == fold.area)
        detail: Detail = next(one for one in self.rig.details if one.name == fold.detail)
        wanted = region.source.uv if isinstance(region.source, Painted) else detail.uv
        uvs = self.attached.mesh.uvs
        if uvs and (wanted is None or wanted in uvs):
            return next(iter(uvs)) if wanted is None else wanted
        having = ", ".join(f"`{name}`" for name in uvs) or "none"
        asked = "texture coordinates" if wanted is None else f"the uv set `{wanted}`"
        self.diagnostics.add(
            "mask-without-uv", self.span_of("fold", fold.name), fold=fold.name, wanted=asked, having=having
        )
        return None

    def _of_sheet(self, uv: str, folds: list[Fold]) -> dict[str, Mask]:
        """The masks of folds over one uv set."""
        mesh = self.attached.mesh
        places = mesh.uvs[uv]
        self.step(f"covering the texture layout {uv}")
        sheet = atlas_of(places, mesh.triangles, self.options.size)
        tell_uvs(uv, sheet.raster.report, self.diagnostics, self.span_of("character", self.rig.character.name))
        sizer = Sizer(sheet, places, mesh.triangles)
        areas = Areas(self.rig, self.attached, self.read, self.diagnostics, self.span_of, sheet, places, self.paintings)
        result = {}
        for number, area in enumerate(areas.areas(folds)):
            self.step(f"mask {number + 1} of {len(folds)}: {area.fold.name}")
            mask = Mask(area.fold, uv, sizer.sized(area.values, area.fold.tolerance), area.mirrored)
            tell_precision(mask, self.attached, self.diagnostics, self.span_of("fold", area.fold.name))
            result[area.fold.name] = mask
        return result
