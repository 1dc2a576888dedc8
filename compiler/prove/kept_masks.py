"""The masks of folds, made once for what they are made of, however often a character is proven."""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import sha256
from typing import TYPE_CHECKING

from plica.diagnostics import Diagnostics, Severity
from plica.mesh.attach import Attached
from plica.mesh.computed_cache import without_words
from plica.mesh.region_sources import Read
from plica.prove.cache.keys import digest, mesh_digest
from plica.rig.region_sources import files_in
from plica.rig.rig import Rig

if TYPE_CHECKING:
    from plica.texture.mask_set import MaskSet


@dataclass(eq=False)
class KeptMasks:
    """The masks that were made last, and a digest of what they were made of."""

    _made_of: str = ""
    _made: MaskSet | str = ""

    def masks(self, rig: Rig, attached: Attached, read: Read) -> MaskSet | str:
        """The masks of a rig's folds, or why there are none."""
        made_of = _made_of(rig, attached, read)
        if made_of != self._made_of:
            self._made, self._made_of = _masks(rig, attached, read), made_of
        return self._made


def _made_of(rig: Rig, attached: Attached, read: Read) -> str:
    """Everything that making masks looks at: the mesh, regions with their weights, folds, details, painted images."""
    words = [without_words(item) for item in (*rig.folds, *rig.regions)]
    files = [file for region in rig.regions for file in files_in(region.source)]
    images = [sha256(content).digest() if isinstance(content := read(file), bytes) else content for file in files]
    weights = [part for name, values in sorted(attached.regions.items()) for part in (name, values)]
    sides = (rig.symmetry, rig.skeleton, rig.character.geometry, attached.fingerprint)
    return digest(mesh_digest(attached.mesh), sides, words, rig.details, images, *weights)


def _masks(rig: Rig, attached: Attached, read: Read) -> MaskSet | str:
    from plica.texture.masks import masks_of

    diagnostics = Diagnostics()
    made = masks_of(rig, attached, read, diagnostics)
    if made is not None:
        return made
    return next(one.message for one in diagnostics.all if one.severity is Severity.ERROR)
