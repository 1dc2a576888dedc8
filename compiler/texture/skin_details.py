"""The details of a character's skin for pictures of it, in any pose."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from plica.diagnostics import Diagnostics
from plica.mesh.arrays import Floats, Mesh
from plica.mesh.region_sources import Read
from plica.rig.rig import Rig
from plica.rig.surfaces import Detail
from plica.source import Span
from plica.texture.normal_diagnostics import readable_normal_map
from plica.texture.skin_relief import DetailSkin, Reliefs


class SkinDetails:
    """The details whose maps can be read and for which the mesh has texture coordinates; left_out: names of others."""

    def __init__(
        self,
        rig: Rig,
        mesh: Mesh,
        regions: Mapping[str, Floats],
        read: Read | None,
        diagnostics: Diagnostics,
        span_of: Callable[[str], Span | None] = lambda detail: None,
    ) -> None:
        """regions: weights (v,) by name. read: gives the files of maps, None where there are none. span_of: where a
        detail was declared.
        """
        self._rig, self._mesh, self._regions = rig, mesh, regions
        self._follows = {fold.name: fold.follows for fold in rig.folds if fold.follows is not None}
        found = {one.name: self._skin(one, read, span_of(one.name), diagnostics) for one in rig.details}
        self._skins = [skin for skin in found.values() if skin is not None]
        self.left_out = tuple(name for name, skin in found.items() if skin is None)

    def posed(self, positions: Floats, strengths: Mapping[str, float]) -> Reliefs | None:
        """What is finer than the mesh at positions (v, 3), folds as far on as the strengths that they follow."""
        on = {name: strengths[follows] for name, follows in self._follows.items() if follows in strengths}
        return Reliefs(tuple(one.posed(positions, on) for one in self._skins)) if self._skins else None

    def _skin(
        self, detail: Detail, read: Read | None, span: Span | None, diagnostics: Diagnostics
    ) -> DetailSkin | None:
        uvs = self._mesh.uvs
        if read is None or not uvs or (detail.uv is not None and detail.uv not in uvs):
            return None
        maps = [readable_normal_map(file, read, span, diagnostics) for file in (detail.relaxed, detail.contracted)]
        if maps[0] is None or maps[1] is None:
            return None
        areas = {fold.name: self._regions[fold.area] for fold in self._rig.folds if fold.detail == detail.name}
        return DetailSkin(detail, maps[0], maps[1], areas, self._mesh)
