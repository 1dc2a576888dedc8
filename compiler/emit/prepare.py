"""From what compiling gave to a Build: the mesh attached, where there is something to compute on it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.identity import sources_of
from plica.pipeline import Compiled
from plica.source import Span
from plica.workspace import Workspace

if TYPE_CHECKING:
    from plica.mesh.computed_cache import ComputedCache


def prepare(
    compiled: Compiled,
    folder: Path,
    allowed: Sequence[Path],
    diagnostics: Diagnostics,
    step: Callable[[str], None] = lambda text: None,
    normals: bool = False,
    memory: ComputedCache | None = None,
) -> Build | None:
    """A Build of a spec that compiled without errors, or None after diagnostics.

    `folder` is the spec's; `normals` also computes how the shapes change normals. `memory` holds what
    earlier runs computed on the mesh.
    """
    rig = compiled.rig
    if rig is None:
        return None
    from plica.mesh.computed_cache import ComputedCache

    locate, memory = Workspace(folder, allowed).locate, memory or ComputedCache(keeps=False)
    sources = sources_of(rig, locate, memory)  # before they are read, so that a change meanwhile is seen
    if rig.character.geometry is None or not (rig.folds or any(shape.source for shape in rig.shapes)):
        return Build(rig, compiled.origins, folder, allowed=tuple(allowed), sources=sources)
    from plica.mesh.attach import attach

    def span_of(kind: str, name: str) -> Span | None:
        if kind == "character" and compiled.spec is not None:
            return compiled.spec.character.span
        return compiled.origins.get((kind, name))

    attached = attach(rig, locate, diagnostics, span_of, step, normals, memory, sculpts=False)
    if diagnostics.has_errors:
        return None
    return Build(rig, compiled.origins, folder, attached, tuple(allowed), sources=sources, normals=normals)
