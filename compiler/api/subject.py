"""A character as it is measured: its rig with its mesh, clips and poses."""

from __future__ import annotations

from collections.abc import Callable

from plica.api.character import Character, usable_rig, with_shown_weights
from plica.diagnostics import Diagnostics
from plica.mesh.computed_cache import ComputedCache
from plica.prove.kept_masks import KeptMasks
from plica.prove.proof import ProofSubject
from plica.prove.subject import ExtraClips, read_subject
from plica.workspace import Workspace


def subject_of(
    character: Character,
    workspace: Workspace,
    motion: ExtraClips,
    diagnostics: Diagnostics,
    progress: Callable[[str], None],
    memory: ComputedCache | None = None,
    kept_masks: KeptMasks | None = None,
    *,
    warnings: bool = False,
) -> ProofSubject | None:
    """The subject; None, after diagnostics, where the spec or its files have errors.

    motion, memory, kept_masks: as for `read_subject`. warnings: also what compiling warned of is a diagnostic.
    """
    rig = usable_rig(character, diagnostics, warnings)
    if rig is None:
        return None
    shown = with_shown_weights(character, rig)
    return read_subject(shown, workspace, character.origins, motion, diagnostics, progress, memory, kept_masks)
