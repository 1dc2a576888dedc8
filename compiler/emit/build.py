"""The Build: what targets emit from."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from plica.rig.rig import Rig
from plica.source import Span

if TYPE_CHECKING:
    from plica.diagnostics.record import Diagnostic
    from plica.emit.identity import BuildSources
    from plica.mesh.attach import Attached
    from plica.texture.mask_set import MaskOptions, MaskSet

# The kind and the output name of an entry. Kinds are the words of the language that declare it: control, driver,
# combine, field, region, shape, detail, fold; `sample` for the strengths of a field.
EntryOrigin = tuple[str, str]


def _silent(step: str) -> None:
    """Nobody watches."""


@dataclass
class ComputedMasks:
    """The masks that a build made last, of which rig, mesh and options, and what was found while they were made."""

    rig: Rig
    attached: Attached
    options: MaskOptions
    masks: MaskSet | None
    diagnostics: tuple[Diagnostic, ...]


@dataclass
class ComputedOffsets:
    """The offsets file that a build made last, of which mesh and build."""

    attached: Attached
    build: str | None
    content: bytes


@dataclass
class Computed:
    """What one target of a build has computed and others need too."""

    masks: ComputedMasks | None = None
    offsets: ComputedOffsets | None = None


@dataclass(frozen=True)
class Build:
    """A Rig, and where its entries were written, for diagnostics; `folder` is the folder of the spec.

    `attached`: the mesh and what was computed on it; None where there is no mesh, or nothing to compute. `allowed`:
    folders besides the spec's that files may lie in. `mask_options`: how masks are made in this build; None where no
    target of it writes any. `sources`: the files that all this is computed from, None where it is from none; `normals`:
    whether shapes change normals too. `step` is called with what is done next, for whoever watches. `computed`: what
    targets share; builds that `replace` makes of this one share it too.
    """

    rig: Rig
    origins: Mapping[EntryOrigin, Span] = field(default_factory=dict)
    folder: Path = Path()
    attached: Attached | None = None
    allowed: tuple[Path, ...] = ()
    mask_options: MaskOptions | None = None
    sources: BuildSources | None = None
    normals: bool = False
    step: Callable[[str], None] = field(default=_silent, compare=False)
    computed: Computed = field(default_factory=Computed, compare=False, repr=False)

    def span_of(self, kind: str, name: str) -> Span | None:
        """Where an entry was written; None for a Rig that was not made from text."""
        return self.origins.get((kind, name))
