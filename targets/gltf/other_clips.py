"""Clips of other files as new animations of a document: the joints' motion, carried over to the character.

Each joint moves at the clip's frames, in straight lines (rotations along the shortest arc) between them; shapes follow
what a program then shows.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from plica.diagnostics import Diagnostics
from plica.emit.source_model import sample_times
from plica.evaluate.poses import Poses, whole_poses
from plica.evaluate.retarget import poses_from_clip
from plica.mesh.arrays import Floats
from plica.readers.clip import Clip
from plica.readers.gltf_clip import AnimationTrack, sample
from plica.readers.model_outline import UnreadableModel
from plica.targets.gltf.additions import Additions, Document
from plica.targets.gltf.baking import BakedClip, Baking
from plica.targets.gltf.placing import OwnTarget

_SAME: Final = 1e-6
"""What a joint may be away from where its node rests, as a share of what that is, without being moved."""
_PATHS: Final = {"rotation": 4, "translation": 3, "scale": 3}


def bake_other(
    baking: Baking, clip: Clip, joints: Mapping[str, int], unit: float, diagnostics: Diagnostics
) -> BakedClip | None:
    """A new animation with a clip's motion and the weights that shapes have in it.

    joints: the nodes of the rig's joints; unit: metres in a length of the document. None, and no animation, where it
    moves nothing. Raises UnreadableModel where nodes cannot be animated.
    """
    dense = clip if clip.between is None else clip.between(_single(sample_times(clip.times)))
    poses = poses_from_clip(baking.rig, dense, diagnostics)
    times = dense.times - min(float(dense.times[0]), 0.0)
    keys = np.unique(times.astype(np.float32))
    if len(keys) != len(times):
        raise UnreadableModel(f"the clip `{clip.name}` has frames that single precision cannot tell apart")
    tracks = _tracks(whole_poses(baking.rig, poses), keys.astype(np.float64))
    animation: Document = {"name": clip.name, "channels": [], "samplers": []}
    baking.document.setdefault("animations", []).append(animation)
    _write(animation, tracks, baking.document, joints, unit, baking.additions, keys.astype(np.dtype("<f4")))
    number = len(baking.document["animations"]) - 1

    def shown(places: Floats) -> Poses:
        rotations, translations, scales = (
            np.empty((len(places), len(poses.joints), width)) for width in _PATHS.values()
        )
        for column, joint in enumerate(poses.joints):
            for path, parts in zip(_PATHS, (rotations, translations, scales), strict=True):
                parts[:, column] = sample(tracks[joint, path], places)
        controls = np.empty((len(places), len(poses.control_names)))
        for column, values in enumerate(poses.controls.T):
            controls[:, column] = np.interp(places, keys, values)
        return Poses(poses.joints, rotations, translations, poses.control_names, controls, scales)

    def own(target: OwnTarget, places: Floats) -> Floats:
        moved = dense.weights.get(target.name)
        return np.zeros(len(places)) if moved is None else np.interp(places, keys, moved)

    baked: BakedClip = baking.channels(number, clip.name, keys.astype(np.float64), shown, own)
    if not animation["channels"]:
        _take_away_last(baking.document)
        return None
    return baked


def _take_away_last(document: Document) -> None:
    """The last animation was added, and holds nothing; a list of none is no glTF."""
    document["animations"].pop()
    if not document["animations"]:
        del document["animations"]


def _single(times: Floats) -> Floats:
    """Times that single precision can tell apart, in order."""
    return np.unique(times.astype(np.float32)).astype(np.float64)


def _tracks(poses: Poses, times: Floats) -> dict[tuple[str, str], AnimationTrack]:
    """What every joint does, in single precision, as the file will have it."""
    parts = {"rotation": poses.rotations, "translation": poses.translations, "scale": poses.scales}
    return {
        (joint, path): AnimationTrack(
            number, path, times, values[:, number].astype(np.float32).astype(np.float64), "LINEAR"
        )
        for number, joint in enumerate(poses.joints)
        for path, values in parts.items()
        if values is not None
    }


def _write(
    animation: Document,
    tracks: Mapping[tuple[str, str], AnimationTrack],
    document: Document,
    joints: Mapping[str, int],
    unit: float,
    additions: Additions,
    keys: np.ndarray[tuple[int, ...], np.dtype[np.float32]],
) -> None:
    """A channel for whatever moves, or stands otherwise than the node rests."""
    inputs: dict[int, int] = {}
    for (joint, path), track in tracks.items():
        node: Document = document["nodes"][joints[joint]]
        values = (track.values / unit if path == "translation" else track.values).astype(np.dtype("<f4"))
        default = {"rotation": (0.0, 0.0, 0.0, 1.0), "translation": (0.0,) * 3, "scale": (1.0,) * 3}[path]
        rest = np.array(node.get(path, default))
        if np.abs(values - rest).max(initial=0.0) <= _SAME * max(1.0, float(np.abs(rest).max())):
            continue
        if "matrix" in node:
            raise UnreadableModel(f"node {joints[joint]} has a matrix, so that nothing can animate it (section 3.11)")
        count = 1 if np.all(values == values[0]) else len(values)
        if count not in inputs:
            inputs[count] = additions.dense(keys[:count], bounds=True)
        output = additions.dense(values[:count])
        animation["samplers"].append({"input": inputs[count], "interpolation": "LINEAR", "output": output})
        target = {"node": joints[joint], "path": path}
        animation["channels"].append({"sampler": len(animation["samplers"]) - 1, "target": target})
