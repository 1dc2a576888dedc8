"""Animations of a glTF 2.0 file as clips (section 3.11, interpolation by Appendix C)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from plica.readers.between_keys import parts_between
from plica.readers.clip import SAMPLE_BYTES, SCALE_BYTES, WEIGHT_BYTES, Clip, MeshWeights, moved_apart, with_weights
from plica.readers.gltf_arrays import GltfArrays
from plica.readers.gltf_morphs import morphs_of_nodes
from plica.readers.gltf_skeleton import NodeSkeleton, animation_names, chosen_bind_pose, skeleton_of_document
from plica.readers.json_fields import Fields, fields, index, objects, text
from plica.readers.model_outline import UnreadableModel
from plica.skeleton.quaternions import normalised_rows, slerp
from plica.skeleton.skeleton import Skeleton

Array = NDArray[np.float64]
WIDTHS = {"rotation": 4, "translation": 3, "scale": 3}
INTERPOLATIONS = ("LINEAR", "STEP", "CUBICSPLINE")


class AnimationTrack(NamedTuple):
    """One channel: key times (n,), values (n, w); CUBICSPLINE (n, 3, w): tangent in, value, tangent out.

    `joint`: what it moves; for weights of morph targets the node that shows them.
    """

    joint: int
    path: str
    times: Array
    values: Array
    interpolation: str


class _Source(NamedTuple):
    """A file and what every animation asks of it: which joint a node is, how many nodes there are, and the names of the
    morph targets that a node shows."""

    arrays: GltfArrays
    found: NodeSkeleton
    joints: Mapping[int, int]
    nodes: int
    bind: Skeleton | None
    morphs: Mapping[int, tuple[str, ...]]
    is_rest_bound: bool


def read_gltf_clips(path: Path, rate: float | None = None) -> tuple[Clip, ...]:
    """A file's animations.

    Each is sampled at the union of its key times and, where it moves between keys that are far apart, in between
    (`between_keys`), or `rate` times a second from its first key to its last.
    Morph targets of one name count as one, whichever nodes show them, where the animation moves all that it moves of
    them alike. Raises UnreadableModel.
    """
    arrays = GltfArrays(path)
    result = skeleton_of_document(arrays.document)
    bind = chosen_bind_pose(arrays.document, path, (), result)
    names = animation_names(arrays.document)
    animations = objects(arrays.document, "animations", "the file")
    source = _Source(
        arrays,
        result,
        {node: joint for joint, node in enumerate(result.nodes)},
        len(objects(arrays.document, "nodes", "the file")),
        None if bind.same else bind.skeleton,
        {node: morphs.names for node, morphs in morphs_of_nodes(arrays.document).items()},
        bind.same,
    )
    return tuple(
        _clip(source, animation, f"animations[{number}]", names[number], rate)
        for number, animation in enumerate(animations)
    )


def sample(track: AnimationTrack, times: Array) -> Array:
    """A track's values (frames, w) at `times` (frames,), held before the first key and after the last."""
    keys, values = track.times, track.values
    after = np.clip(np.searchsorted(keys, times, side="right"), 1, max(len(keys) - 1, 1))
    before = after - 1
    after = np.minimum(after, len(keys) - 1)
    length = keys[after] - keys[before]
    inside = np.clip(times, keys[0], keys[-1]) - keys[before]
    share = np.divide(inside, length, out=np.zeros_like(inside), where=length > 0.0)
    if track.interpolation == "STEP":
        result = np.asarray(values[np.where(share >= 1.0, after, before)])
    elif track.interpolation == "CUBICSPLINE":
        result = _cubic(values, before, after, length, share)
    elif track.path == "rotation":
        return slerp(values[before], values[after], share)
    else:
        result = values[before] + (values[after] - values[before]) * share[:, None]
    numbers: Array = normalised_rows(result) if track.path == "rotation" else result
    return numbers


def _cubic(values: Array, before: NDArray[np.intp], after: NDArray[np.intp], length: Array, share: Array) -> Array:
    """The cubic of Appendix C.5, tangents scaled by the keys' distance."""
    t, duration = share[:, None], length[:, None]
    t2, t3 = t * t, t * t * t
    result: Array = (
        (2 * t3 - 3 * t2 + 1) * values[before, 1]
        + duration * (t3 - 2 * t2 + t) * values[before, 2]
        + (3 * t2 - 2 * t3) * values[after, 1]
        + duration * (t3 - t2) * values[after, 0]
    )
    return result


def _clip(source: _Source, animation: Fields, place: str, name: str, rate: float | None) -> Clip:
    tracks, weights = _tracks(source, animation, place)
    skeleton = source.found.skeleton
    joints = skeleton.joints
    scaled = any(track.path == "scale" for track in tracks)
    every = [*tracks, *weights]
    keys = np.unique(np.concatenate([track.times for track in every])) if every else np.zeros(1)
    parts = _parts(keys, every)
    frames = int(parts.sum()) + 1 if rate is None else int((keys[-1] - keys[0]) * rate + 1e-6) + 1
    # Even a clip of a skeleton without joints takes some time.
    each = SAMPLE_BYTES + (SCALE_BYTES if scaled else 0)
    shown, telling = sum(len(source.morphs[track.joint]) for track in weights) * WEIGHT_BYTES, _telling(weights)
    size = frames * (len(joints) + 1) * each + (frames + len(telling)) * shown
    source.arrays.take(size, f"{place}, {frames} frames of {len(joints)} joints,")
    apart = moved_apart(_weights(source, weights, telling))

    def at(times: Array) -> Clip:
        rotations = np.tile(np.array([joint.rotation for joint in joints]).reshape(-1, 4), (len(times), 1, 1))
        translations = np.tile(np.array([joint.translation for joint in joints]).reshape(-1, 3), (len(times), 1, 1))
        targets = {"rotation": rotations, "translation": translations}
        if scaled:
            targets["scale"] = np.tile(np.array([joint.scale for joint in joints]).reshape(-1, 3), (len(times), 1, 1))
        for track in tracks:
            targets[track.path][:, track.joint] = sample(track, times)
        clip = Clip(name, times, rotations, translations, skeleton, True, at, targets.get("scale"), source.bind)
        clip = replace(clip, is_rest_bound=source.is_rest_bound)
        return with_weights(clip, _weights(source, weights, times), apart)

    return at(_in_parts(keys, parts) if rate is None else keys[0] + np.arange(frames) / rate)


def _parts(keys: Array, tracks: Sequence[AnimationTrack]) -> NDArray[np.intp]:
    """For all key times (n,) but the last: into how many parts what follows is cut, 1 where nothing moves there."""
    parts = np.array([parts_between(length) for length in np.diff(keys).tolist()], dtype=np.intp)
    wide = np.flatnonzero(parts > 1)
    middles, moving = (keys[wide] + keys[wide + 1]) / 2, np.zeros(len(wide), dtype=bool)
    for track in tracks if len(wide) else ():
        before = np.searchsorted(track.times, middles) - 1
        inside = (before >= 0) & (before < len(track.times) - 1)
        moving[inside] |= _moves(track)[before[inside]]
    parts[wide[~moving]] = 1
    return parts


def _moves(track: AnimationTrack) -> NDArray[np.bool_]:
    """For all keys but the last, whether the value changes before the next one."""
    values = track.values.reshape(len(track.times), -1)
    if track.interpolation == "STEP":
        return np.zeros(len(values) - 1, dtype=bool)
    moves = (values[1:] != values[:-1]).any(axis=1)
    if track.interpolation == "CUBICSPLINE":
        moves |= track.values[:-1, 2].any(axis=1) | track.values[1:, 0].any(axis=1)
    return np.asarray(moves)


def _in_parts(keys: Array, parts: NDArray[np.intp]) -> Array:
    """The key times (n,), and those between that cut what follows a key into so many equal parts (n - 1,)."""
    numbers = np.arange(int(parts.sum())) - np.repeat(np.cumsum(parts) - parts, parts)
    between = np.repeat(keys[:-1], parts) + numbers * np.repeat(np.diff(keys) / parts, parts)
    return np.append(between, keys[-1])


def _weights(source: _Source, tracks: Iterable[AnimationTrack], times: Array) -> list[MeshWeights]:
    return [(source.morphs[track.joint], sample(track, times)) for track in tracks]


def _telling(tracks: Sequence[AnimationTrack]) -> Array:
    """Times at which tracks are alike only if they are alike throughout: all keys, and two places in between, as cubics
    that are the same at four places are the same."""
    if not tracks:
        return np.zeros(0)
    keys = np.unique(np.concatenate([track.times for track in tracks]))
    steps = np.diff(keys)
    return np.sort(np.concatenate([keys, keys[:-1] + steps / 3.0, keys[:-1] + steps * (2.0 / 3.0)]))


def _tracks(source: _Source, animation: Fields, place: str) -> tuple[list[AnimationTrack], list[AnimationTrack]]:
    """The channels that move joints, and those that move the weights of morph targets."""
    samplers = objects(animation, "samplers", place)
    tracks: dict[tuple[int, str], AnimationTrack] = {}
    weights: dict[int, AnimationTrack] = {}
    for number, channel in enumerate(objects(animation, "channels", place)):
        here = f"{place}.channels[{number}]"
        target = fields(channel.get("target"), f"{here}.target")
        node = index(target, "node", source.nodes, f"{here}.target")
        path = text(target, "path", f"{here}.target")
        sampler = index(channel, "sampler", len(samplers), here)
        if sampler is None:
            raise UnreadableModel(f"{here} has no sampler")
        if node is not None and node in source.joints and path in WIDTHS:
            key = (source.joints[node], path)
            if key in tracks:
                raise UnreadableModel(f"{here} moves what a channel before it moves already")  # section 3.11
            tracks[key] = track_of(source.arrays, samplers[sampler], key, WIDTHS[path], here)
        elif node is not None and node in source.morphs and path == "weights":
            if node in weights:
                raise UnreadableModel(f"{here} moves what a channel before it moves already")
            weights[node] = track_of(source.arrays, samplers[sampler], (node, path), len(source.morphs[node]), here)
    return list(tracks.values()), list(weights.values())


def track_of(arrays: GltfArrays, sampler: Fields, moved: tuple[int, str], width: int, place: str) -> AnimationTrack:
    """The track of what is moved, a joint or a node, and its path; `width` numbers belong to one key."""
    joint, path = moved
    interpolation = text(sampler, "interpolation", place) or "LINEAR"
    if interpolation not in INTERPOLATIONS:
        raise UnreadableModel(f"{place} has an interpolation that glTF 2.0 does not know")
    times = arrays.accessor(sampler.get("input"))
    values = arrays.accessor(sampler.get("output"))
    if times.ndim != 1 or times.dtype.kind != "f" or len(times) == 0 or np.any(np.diff(times) <= 0.0):
        raise UnreadableModel(f"the key times of {place} do not rise strictly")
    keys, cubic = len(times), interpolation == "CUBICSPLINE"
    if path == "weights" and values.ndim == 1:  # a list of scalars, as many for each key as there are targets
        values = values.reshape(-1, width) if len(values) % width == 0 else values
    if values.dtype.kind != "f" or values.shape != (keys * 3 if cubic else keys, width):
        raise UnreadableModel(f"the values of {place} do not match its {keys} key times")
    numbers = values.astype(np.float64)
    if cubic:
        numbers = numbers.reshape(keys, 3, width)
    elif path == "rotation":
        numbers = normalised_rows(numbers)
    return AnimationTrack(joint, path, times.astype(np.float64), numbers, interpolation)
