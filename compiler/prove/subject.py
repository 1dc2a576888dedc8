"""Reading what is proven: a rig with its mesh, the clips that its expectations name, and its declared poses."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from plica.diagnostics import Diagnostics
from plica.evaluate.clip_parts import WHOLE_CLIP, ClipPart
from plica.mesh.arrays import Mesh
from plica.mesh.attach import Attached, attach
from plica.mesh.computed_cache import ComputedCache
from plica.mesh.deform import own_morphs
from plica.prove.clip_tracks import tracks_of
from plica.prove.declared_poses import declared_poses
from plica.prove.kept_masks import KeptMasks
from plica.prove.proof import ProofSubject
from plica.prove.sweeps import PoseTrack
from plica.readers.clip import Clip
from plica.readers.clip_reader import find_clips
from plica.readers.model_outline import listed
from plica.rig.rig import Rig
from plica.rig.surfaces import Morph
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
    memory: ComputedCache | None = None,
    kept_masks: KeptMasks | None = None,
) -> ProofSubject | None:
    """The rig with its mesh, clips and poses; None, after diagnostics, where a file of them cannot be used.

    motion: files of motion, wherever they lie, that every expectation goes over as well. origins: where entries
    were declared. `step` is called with what is done next. memory, kept_masks: what earlier runs computed on the mesh.
    """
    attached, memory = None, memory or ComputedCache(keeps=False)
    if rig.character.geometry is not None:
        attached = attach(
            rig,
            workspace.locate,
            diagnostics,
            lambda kind, name: origins.get((kind, name)),
            step,
            memory=memory,
            sculpts=False,
        )
        if attached is None or diagnostics.has_errors:
            return None
    step("reading clips")
    moved = _Moved(rig, attached, diagnostics, memory)
    clips = _named_clips(moved, workspace, origins)
    extra = [track for file in motion.files for track in _extra_tracks(moved, file, motion.part)]
    poses = declared_poses(rig, diagnostics, origins)
    if diagnostics.has_errors:
        return None
    return ProofSubject(
        rig,
        attached,
        clips,
        extra,
        poses,
        lambda file: located_bytes(workspace.locate, file, "image_bytes"),
        kept_masks or KeptMasks(),
    )


class _Moved(NamedTuple):
    """What clips move: a rig and its mesh; and where to report what does not fit."""

    rig: Rig
    attached: Attached | None
    diagnostics: Diagnostics
    memory: ComputedCache

    def clips(self, path: Path, shown: str, span: Span | None = None) -> Sequence[Clip]:
        """The clips of a file, read once for what is in it."""
        key = ("clips", path, self.memory.digest(path))
        return self.memory.recall(key, self.diagnostics, lambda: find_clips(path, shown, span, self.diagnostics))

    def tracks(self, clips: Sequence[Clip], shown: str, span: Span | None = None) -> Sequence[PoseTrack]:
        """A track for each clip of a file, which the user calls `shown`."""
        for clip in clips:
            hidden = () if self.attached is None else unshown_morphs(self.rig, self.attached.mesh, clip)
            if hidden:
                self.diagnostics.add("clip-morphs-not-shown", span, clip=clip.name, morphs=listed(hidden))
        return tracks_of(self.rig, clips, shown, self.diagnostics, span)


def unshown_morphs(rig: Rig, mesh: Mesh, clip: Clip) -> list[str]:
    """The morph targets of the mesh that a clip moves and the measured skin does not show; none of a shape's own."""
    shaped = {shape.source.name for shape in rig.shapes if isinstance(shape.source, Morph)}
    moved = {name for name, weights in clip.weights.items() if weights.any()}
    shown = own_morphs(rig, mesh).keys() - set(clip.weights_apart)
    return sorted((moved | set(clip.weights_apart)) & mesh.morphs.keys() - shaped - shown)


def _named_clips(
    moved: _Moved, workspace: Workspace, origins: Mapping[tuple[str, str], Span]
) -> dict[str, Sequence[PoseTrack]]:
    """The tracks of every file that an expectation names."""
    clips: dict[str, Sequence[PoseTrack]] = {}
    for index, expectation in enumerate(moved.rig.expectations):
        for file in expectation.over_clips:
            path = workspace.locate(file)
            span = origins.get(("expect", str(index)))
            if isinstance(path, Refused):
                moved.diagnostics.add_filled(path.name, span, path.values)
            elif file not in clips:
                clips[file] = moved.tracks(moved.clips(path, file, span), file, span)
    return clips


def _extra_tracks(moved: _Moved, file: str, part: ClipPart) -> Sequence[PoseTrack]:
    whole = moved.clips(Path(file), file)
    clips = [part.of(clip) for clip in whole]
    if whole and not any(len(clip.times) for clip in clips):
        moved.diagnostics.add("no-frames", None, clips=file)
    return moved.tracks(clips, file)
