"""Reading what is proven: a rig with its mesh, the clips that its expectations name, and its declared poses."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from plica.diagnostics import Diagnostics
from plica.evaluate.clip_parts import WHOLE_CLIP, ClipPart
from plica.mesh.attach import attach
from plica.prove.clip_tracks import tracks_of
from plica.prove.declared_poses import declared_poses
from plica.prove.proof import ProofSubject
from plica.prove.sweeps import PoseTrack
from plica.readers.clip_reader import find_clips
from plica.rig.rig import Rig
from plica.source import Span
from plica.workspace import Refused, Workspace, located_bytes


class ExtraClips(NamedTuple):
    """Files of motion, wherever they lie, and the part of each of their clips that is looked at."""

    files: Sequence[str] = ()
    part: ClipPart = WHOLE_CLIP


def read_subject(
    rig: Rig,
    workspace: Workspace,
    origins: Mapping[tuple[str, str], Span],
    motion: ExtraClips,
    diagnostics: Diagnostics,
    step: Callable[[str], None] = lambda text: None,
) -> ProofSubject | None:
    """The rig with its mesh, clips and poses; None, after diagnostics, where a file of them cannot be used.

    motion: files of motion, wherever they lie, that every expectation goes over as well. origins: where entries
    were declared. `step` is called with what is done next.
    """
    attached = None
    if rig.character.geometry is not None:
        attached = attach(rig, workspace.locate, diagnostics, lambda kind, name: origins.get((kind, name)), step)
        if attached is None or diagnostics.has_errors:
            return None
    step("reading clips")
    clips = _named_clips(rig, workspace, origins, diagnostics)
    extra = [track for file in motion.files for track in _extra_tracks(rig, file, motion.part, diagnostics)]
    poses = declared_poses(rig, diagnostics, origins)
    if diagnostics.has_errors:
        return None
    return ProofSubject(
        rig, attached, clips, extra, poses, lambda file: located_bytes(workspace.locate, file, "image_bytes")
    )


def _named_clips(
    rig: Rig, workspace: Workspace, origins: Mapping[tuple[str, str], Span], diagnostics: Diagnostics
) -> dict[str, Sequence[PoseTrack]]:
    """The tracks of every file that an expectation names."""
    clips: dict[str, Sequence[PoseTrack]] = {}
    for index, expectation in enumerate(rig.expectations):
        for file in expectation.over_clips:
            path = workspace.locate(file)
            span = origins.get(("expect", str(index)))
            if isinstance(path, Refused):
                diagnostics.add_filled(path.name, span, path.values)
            elif file not in clips:
                clips[file] = _tracks(rig, path, file, span, diagnostics)
    return clips


def _extra_tracks(rig: Rig, file: str, part: ClipPart, diagnostics: Diagnostics) -> Sequence[PoseTrack]:
    whole = find_clips(Path(file), file, None, diagnostics)
    clips = [part.of(clip) for clip in whole]
    if whole and not any(len(clip.times) for clip in clips):
        diagnostics.add("no-frames", None, clips=file)
    return tracks_of(rig, clips, file, diagnostics)


def _tracks(rig: Rig, path: Path, shown: str, span: Span | None, diagnostics: Diagnostics) -> Sequence[PoseTrack]:
    return tracks_of(rig, find_clips(path, shown, span, diagnostics), shown, diagnostics, span)
