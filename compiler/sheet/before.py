"""An earlier state of the character in a page: what is as it is now is taken from the present one, not packed again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from plica.diff.report import Report
from plica.mesh.arrays import Floats, Offsets
from plica.mesh.attach import Attached
from plica.rig.rig import Rig
from plica.sheet.array_pack import ArrayPack
from plica.sheet.detail_pictures import DetailLayout, SpecFiles, pack_details
from plica.sheet.kept import Kept
from plica.sheet.most_different import ComparedSkins
from plica.sheet.motion_data import controls_data, joints_data
from plica.sheet.page_rig import with_readings
from plica.sheet.record import BeforeData, BeforeSkin, FoldData
from plica.sheet.skin_arrays import pack_skin, packed_offsets, packed_regions, skin_columns
from plica.texture.mask_set import MaskSet

BEFORE: Final = "before "
"""What the names of the earlier state's own arrays and files begin with."""
_NOTHING: Final = "export const inbetweenWeights = null;\nexport const values = null;\n"
_SAME: Final = """import { inbetweenWeights as sameWeights, values as sameValues } from "./rig.js";
export const inbetweenWeights = sameWeights;
export const values = sameValues;
"""
_TAKEN: Final = ("offset vertices", "offsets", "region vertices", "region weights")


class PresentSkin(NamedTuple):
    """The present state, as far as the earlier one may be like it."""

    rig: Rig
    attached: Attached


@dataclass(frozen=True, eq=False)
class EarlierState:
    """An earlier state that compiles: joints called as they are now, with the controls of the morph targets that the
    skin shows. attached: None where its skin cannot be shown.
    """

    rig: Rig
    attached: Attached | None
    masks: MaskSet | None
    files: SpecFiles


class Earlier(NamedTuple):
    """What a sheet compares with.

    given: what the user calls it; state: None where it does not compile; skins: both states', or why there is no
    difference to show.
    """

    given: str
    report: Report
    state: EarlierState | None
    skins: ComparedSkins | str


def pack_before(earlier: Earlier, present: PresentSkin | None, pack: ArrayPack) -> BeforeData | None:
    """Add an earlier state to a pack that holds the present one; None for one that does not compile."""
    state = earlier.state
    if state is None:
        return None
    rig, own = state.rig, ArrayPack()
    skin, details = None, tuple[DetailLayout, ...]()
    if state.attached is not None:
        uv_sets = list(state.attached.mesh.uvs)
        layout = pack_skin(rig, state.attached, uv_sets, own, Kept())
        details = pack_details(rig, state.masks, uv_sets, state.files, own, Kept())
        columns, regions = _like_now(state, present)
        _add_own(state, columns, regions, pack)
        called = _take_what_differs(own, pack)
        details = tuple(_renamed(detail, called) for detail in details)
        skin = BeforeSkin(layout, tuple(columns), tuple(regions))
    return BeforeData(
        rig.character.skinning,
        tuple(strength.name for strength in rig.strengths),
        skin,
        joints_data(rig),
        controls_data(rig),
        details,
        tuple(FoldData(fold.name, fold.follows, fold.detail, fold.area, "") for fold in rig.folds),
        isinstance(earlier.skins, ComparedSkins),
    )


def _like_now(state: EarlierState, present: PresentSkin | None) -> tuple[list[int], list[int]]:
    """For each column of offsets and for each region the number of the same one of the present state, -1 for none."""
    assert state.attached is not None
    columns, weights = skin_columns(state.rig, state.attached), [*state.attached.regions.values()]
    if present is None:
        return [-1] * len(columns), [-1] * len(weights)
    known = {_column_key(one): number for number, one in enumerate(skin_columns(*present))}
    regions = {_region_key(one): number for number, one in enumerate(present.attached.regions.values())}
    return [known.get(_column_key(one), -1) for one in columns], [regions.get(_region_key(one), -1) for one in weights]


def _column_key(one: Offsets) -> tuple[bytes, bytes]:
    return one.indices.astype(np.int64).tobytes(), one.offsets.tobytes()


def _region_key(weights: Floats) -> bytes:
    return np.rint(weights * 255.0).astype(np.uint8).tobytes()


def _add_own(state: EarlierState, columns: Sequence[int], regions: Sequence[int], pack: ArrayPack) -> None:
    """Add offsets and regions that the present state lacks."""
    assert state.attached is not None
    count = state.attached.mesh.vertex_count
    offsets = [one for one, like in zip(skin_columns(state.rig, state.attached), columns, strict=True) if like < 0]
    weights = {name: one for (name, one), like in zip(state.attached.regions.items(), regions, strict=True) if like < 0}
    for part in (packed_offsets(offsets, count).pack, packed_regions(weights, count).pack):
        for name, place in part.arrays.items():
            pack.add_stored(BEFORE + name, part.stored(name), place)


def _take_what_differs(own: ArrayPack, pack: ArrayPack) -> Mapping[str, str]:
    """Add the arrays that are not those of the same name, and files that are none of those in the pack; what files are
    called there.
    """
    for name, place in own.arrays.items():
        there = pack.arrays.get(name)
        alike = there is not None and there._replace(at=place.at) == place
        if name not in _TAKEN and not (alike and pack.stored(name) == own.stored(name)):
            pack.add_stored(BEFORE + name, own.stored(name), place)
    known = {pack.stored(name): name for name in pack.files}
    called = {}
    for name, file in own.files.items():
        content = own.stored(name)
        if content not in known:
            pack.add_file(BEFORE + name, content, file.type)
        called[name] = known.get(content, BEFORE + name)
    return called


def _renamed(detail: DetailLayout, called: Mapping[str, str]) -> DetailLayout:
    maps = None if detail.maps is None else called[detail.maps]
    return detail._replace(maps=maps, textures=tuple(called[name] for name in detail.textures))


def earlier_module(state: EarlierState | None, present: str) -> str:
    """The module of JavaScript with the earlier state's strengths; `present`: the text of the present state's."""
    from plica.targets.javascript import module_text

    if state is None:
        return _NOTHING
    text: str = module_text(with_readings(state.rig)[0], program=False)
    return _SAME if text == present else text
