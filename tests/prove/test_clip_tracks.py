"""Clips as tracks, and what is between their frames."""

from __future__ import annotations

import base64
import json
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline

from plica.diagnostics import Diagnostics
from plica.evaluate.poses import rest_poses
from plica.prove.clip_tracks import tracks_of
from plica.prove.proof import ProofSubject
from plica.prove.prover import Prover
from plica.prove.results import Result
from plica.prove.sweeps import PoseTrack
from plica.readers.bvh import read_bvh
from plica.readers.clip_reader import read_clips
from tests.commands.test_measure import CLIP, HEAD
from tests.support.arms import ELBOW, Arms, arms
from tests.support.texts import rig_of

# The elbow bends by 40 degrees at both keys, and swings out far beyond in between.
TIMES = np.array([0.0, 1.0])
BENT = np.array([0.0, 0.0, np.sin(np.radians(20.0)), np.cos(np.radians(20.0))])
SWING = np.array([0.0, 0.0, 1.6, -1.2])
KEYS = np.array([[-SWING, BENT, SWING], [-SWING, BENT, SWING]])
TEXT = ELBOW + 'expect left { stretch of forearm at most 20 % over clip "swing.gltf" }\n'


def clip_file(folder: Path, interpolation: str) -> Path:
    """A glTF file with one animation of the left elbow."""
    values = KEYS if interpolation == "CUBICSPLINE" else KEYS[:, 1]
    blocks = [array.astype("<f4").tobytes() for array in (TIMES, values.reshape(-1, 4))]
    starts = [0, len(blocks[0])]
    document = {
        "asset": {"version": "2.0"},
        "nodes": [{"name": "upperarm_lf", "children": [1]}, {"name": "lowerarm_lf", "translation": [0.4, 0, 0]}],
        "buffers": [
            {
                "uri": "data:;base64," + base64.b64encode(b"".join(blocks)).decode(),
                "byteLength": sum(map(len, blocks)),
            }
        ],
        "bufferViews": [
            {"buffer": 0, "byteOffset": start, "byteLength": len(block)}
            for start, block in zip(starts, blocks, strict=True)
        ],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": 2, "type": "SCALAR"},
            {"bufferView": 1, "componentType": 5126, "count": len(blocks[1]) // 16, "type": "VEC4"},
        ],
        "animations": [
            {
                "name": "swing",
                "samplers": [{"input": 0, "output": 1, "interpolation": interpolation}],
                "channels": [{"sampler": 0, "target": {"node": 1, "path": "rotation"}}],
            }
        ],
    }
    path = folder / "swing.gltf"
    path.write_text(json.dumps(document), "utf-8")
    return path


def clip_track(made: Arms, folder: Path, interpolation: str) -> PoseTrack:
    (track,) = tracks_of(made.rig, read_clips(clip_file(folder, interpolation)), "swing.gltf", Diagnostics())
    return track


def proven(made: Arms, track: PoseTrack) -> Result:
    (result,) = Prover(ProofSubject(made.rig, made.attached, {"swing.gltf": (track,)})).results()
    return result


def test_between_two_keys_a_clip_does_what_its_format_says(tmp_path: Path) -> None:
    """glTF 2.0 Appendix C.5, against scipy's Hermite spline."""
    made = arms(TEXT)
    track = clip_track(made, tmp_path, "CUBICSPLINE")
    assert track.between is not None
    np.testing.assert_allclose(track.places, np.linspace(0.0, 1.0, 25))
    places = np.linspace(0.0, 1.0, 9)
    poses = track.between(places)
    expected = CubicHermiteSpline(TIMES, KEYS[:, 1], [SWING, -SWING])(places)
    expected /= np.linalg.norm(expected, axis=1)[:, None]
    np.testing.assert_allclose(poses.rotations[:, poses.joints.index("lowerarm_lf")], expected, atol=1e-6)
    still = poses.rotations[:, poses.joints.index("upperarm_lf")]
    np.testing.assert_array_equal(still, rest_poses(made.rig, 9).rotations[:, 1])


def test_the_worst_between_two_keys_is_found(tmp_path: Path) -> None:
    """The middle of the clip is far worse than its keys; the figure there is that of the same pose given as a key."""
    made = arms(TEXT)
    result = proven(made, clip_track(made, tmp_path, "CUBICSPLINE"))
    assert result.frame is not None and result.frame.track == "clip swing.gltf"
    assert result.frame.place == pytest.approx(0.5, abs=0.13) and result.frame.place not in (0.0, 1.0)
    straight = proven(made, clip_track(made, tmp_path, "LINEAR"))
    assert result.worst is not None and straight.worst is not None
    assert result.worst > 1.5 * straight.worst
    assert result.frames == 1 + 25 + 6  # rest, 24 times a second, and once more around the worst


def test_nothing_is_made_up_between_the_frames_of_a_bvh(tmp_path: Path) -> None:
    (tmp_path / "kick.bvh").write_text(CLIP, "utf-8")
    rig = rig_of("", "")
    (track,) = tracks_of(rig, (read_bvh(tmp_path / "kick.bvh"),), "kick.bvh", Diagnostics())
    assert HEAD and track.between is None
    assert track.places.tolist() == [0.0, 0.5, 1.0, 1.5]


def test_what_does_not_fit_is_told_once(tmp_path: Path) -> None:
    made = arms(TEXT)
    told = Diagnostics()
    clips = read_clips(clip_file(tmp_path, "LINEAR"))
    (track,) = tracks_of(made.rig, clips, "swing.gltf", told)
    before = len(told.all)
    assert track.between is not None
    track.between(np.array([0.25]))
    assert len(told.all) == before
