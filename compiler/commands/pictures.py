"""`plica prove --pictures`: the worst places of the expectations, drawn into a folder."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from plica.commands.progress import Step
from plica.diagnostics import Diagnostics

if TYPE_CHECKING:
    from plica.prove.proof import ProofSubject
    from plica.prove.results import Result


def drawn(
    subject: ProofSubject, results: Sequence[Result], folder: str, diagnostics: Diagnostics, step: Step
) -> list[Result]:
    """The results with the names of their pictures, which are written to the folder; as they were after diagnostics."""
    from plica.emit.writer import write
    from plica.prove.report.pictures import pictures_of

    files: dict[str, bytes] = {}
    shown = {result.index: result for result in results}
    for result, content in pictures_of(subject, results):
        step(f"drawing {result.picture}")
        files[result.picture] = content
        shown[result.index] = result
    if not files or write(files, Path(folder), diagnostics) is None:
        return list(results)
    return [shown[result.index] for result in results]
