"""Files that results are written to: whole or not at all."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from plica.diagnostics import Diagnostic, Diagnostics


def write_whole(files: Mapping[str, bytes], folder: Path) -> tuple[Diagnostic, ...]:
    """Write files, by path relative to a folder, all or none; what stands in the way is given as diagnostics."""
    from plica.emit.writer import write

    diagnostics = Diagnostics()
    write(files, folder, diagnostics)
    return diagnostics.all
