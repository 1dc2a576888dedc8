"""Small clips and models that stand for much: refused, or read in memory and time in proportion to their size."""

from __future__ import annotations

import base64
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from plica import limits
from plica.diagnostics import Diagnostics
from plica.readers.allowance import OverLimit
from plica.readers.bvh import parse_bvh
from plica.readers.clip_reader import find_clips, read_clips
from plica.readers.gltf_arrays import GltfArrays
from plica.readers.gltf_document import read_document
from plica.readers.model_outline import UnreadableModel
from plica.readers.model_reader import read_outline
from tests.support.bounded import MIB, in_bounds, peak

MOST = limits.Limits().unpacked_bytes


def clip_text(joints: str, frames: int | str, values: str) -> str:
    return f"HIERARCHY\nROOT hip\n{{\nOFFSET 0 0 0\n{joints}}}\nMOTION\nFrames: {frames}\nFrame Time: 0.01\n{values}"


def still(count: int) -> str:
    """Joints that nothing moves, below one that a channel turns."""
    return "CHANNELS 1 Xrotation\n" + "JOINT a { OFFSET 0 0 0 CHANNELS 0 }\n" * count


def model(folder: Path, data: bytes = b"", **document: Any) -> Path:
    """A glTF file whose one buffer and buffer view are `data`."""
    if data:
        uri = "data:;base64," + base64.b64encode(data).decode()
        document |= {"buffers": [{"uri": uri, "byteLength": len(data)}]}
        document.setdefault("bufferViews", [{"buffer": 0, "byteLength": len(data)}])
    path = folder / "model.gltf"
    path.write_text(json.dumps({"asset": {"version": "2.0"}, **document}), "utf-8")
    return path


def test_frames_without_channels_are_no_motion() -> None:
    text = clip_text("CHANNELS 0\n", 80_000_000, "")

    def read() -> None:
        with pytest.raises(UnreadableModel, match="no motion"):
            parse_bvh(text, "walk")

    assert peak(read) < MIB


def test_frames_that_the_text_cannot_hold_are_not_made_room_for() -> None:
    text = clip_text("CHANNELS 1 Xrotation\n", 999_999_999, "0\n0\n")

    def read() -> None:
        with (
            limits.using(limits.Limits()._replace(unpacked_bytes=1 << 50)),
            pytest.raises(UnreadableModel, match="2 fr"),
        ):
            parse_bvh(text, "walk")

    assert peak(read) < MIB


def test_joints_that_stay_count_in_every_frame() -> None:
    text = clip_text(still(2_000), 3_000, "0\n" * 3_000)

    def read() -> None:
        with pytest.raises(OverLimit, match="the motion of 2001 joints"):
            parse_bvh(text, "walk")

    assert peak(read) < 16 * MIB
    with limits.using(limits.Limits()._replace(unpacked_bytes=2 * MOST + 80 * MIB)):
        assert parse_bvh(text, "walk").rotations.shape == (3_000, 2_001, 4)


def test_more_joints_than_any_skeleton_has_are_refused() -> None:
    with pytest.raises(OverLimit, match=r"has 10001 joints.*--limit joints="):
        parse_bvh(clip_text(still(10_000), 1, "0\n"), "walk")


def test_a_clip_on_one_line_takes_time_in_proportion() -> None:
    """Words were taken off a list's front before: a minute for 4 MB."""
    joint = "JOINT a { OFFSET 0 0 0 CHANNELS 0 } "
    body = f"""
text = "HIERARCHY ROOT hip {{ OFFSET 0 0 0 CHANNELS 1 Xrotation " + {joint!r} * 110_000
text += "}}\\nMOTION\\nFrames: 1\\nFrame Time: 1\\n0"
with limits.using(limits.Limits()._replace(joints=1_000_000)):
    print(len(parse_bvh(text, "walk").joints))
"""
    assert (
        in_bounds("from plica import limits\nfrom plica.readers.bvh import parse_bvh", body, 512 * MIB, 30) == "110001"
    )


@pytest.mark.parametrize("frames", ["2\x1f", "2\x1c", "\u0662", "\u00b2", "+2", "2_0", "1e1", "9" * 10])
def test_numbers_of_frames_are_plain_digits(frames: str) -> None:
    with pytest.raises(UnreadableModel, match="line 8"):
        parse_bvh(clip_text("CHANNELS 1 Xrotation\n", frames, "0\n0\n"), "walk")


@pytest.mark.parametrize("word", ["1_0", "nan", "inf", "0x1", "\u0661", "1\x1f", "1e999", "1e50", "--1", "9" * 5_000])
def test_values_are_plain_numbers(word: str) -> None:
    with pytest.raises(UnreadableModel, match="line 11"):
        parse_bvh(clip_text("CHANNELS 1 Xrotation\n", 2, f"0\n{word}\n"), "walk")
    with pytest.raises(UnreadableModel, match="line 4"):
        parse_bvh(clip_text("CHANNELS 1 Xrotation\n", 1, "0\n").replace("OFFSET 0 0 0", f"OFFSET 0 {word} 0"), "walk")


def test_a_name_that_is_no_text_is_not_guessed(tmp_path: Path) -> None:
    path = tmp_path / "walk.bvh"
    path.write_bytes(clip_text("CHANNELS 1 Xrotation\n", 1, "0\n").encode().replace(b"hip", b"h\xfcfte"))
    with pytest.raises(UnreadableModel, match="not UTF-8 text"):
        read_clips(path)


# ---- glTF -------------------------------------------------------------------------------------------

NO_DATA = {"count": 44_000_000, "componentType": 5126, "type": "VEC3"}


def test_an_accessor_without_data_is_zeros_up_to_a_limit(tmp_path: Path) -> None:
    arrays = GltfArrays(model(tmp_path, accessors=[NO_DATA, {**NO_DATA, "count": 1_000_000}]))
    assert not arrays.accessor(1).any()

    def read() -> None:
        with pytest.raises(OverLimit, match=r"accessors\[0\]"):
            arrays.accessor(0)

    assert peak(read) < MIB


def test_what_is_used_again_and_again_counts_each_time(tmp_path: Path) -> None:
    accessor = {"bufferView": 0, "count": 100_000, "componentType": 5126, "type": "VEC3"}
    arrays = GltfArrays(model(tmp_path, b"\0" * 1_200_000, accessors=[accessor]))
    with pytest.raises(OverLimit):
        for _ in range(1_000):
            arrays.accessor(0)


def test_a_model_of_any_size_may_take_memory_in_proportion(tmp_path: Path) -> None:
    """The allowance grows with buffers in files of their own, also those that are not read yet."""
    (tmp_path / "skin.bin").write_bytes(b"\0" * (4 * MIB))
    buffers = [{"uri": "skin.bin", "byteLength": 4 * MIB}, {"uri": "skin.bin", "byteLength": 12}]
    views = [{"buffer": 0, "byteLength": 4 * MIB}, {"buffer": 1, "byteLength": 12}]
    path = model(tmp_path, accessors=[{**NO_DATA, "count": 8 * MIB}], buffers=buffers, bufferViews=views)
    arrays = GltfArrays(path)
    assert len(arrays.accessor(0)) == 8 * MIB  # 192 MiB of numbers
    with pytest.raises(OverLimit):
        arrays.accessor(0)


def animated(folder: Path, joints: int, keys: int, animations: int = 1, **sampler: int) -> Path:
    data = np.arange(keys, dtype="<f4").tobytes() + np.tile(np.array([0, 0, 0, 1], "<f4"), (keys, 1)).tobytes()
    views = [{"buffer": 0, "byteLength": keys * 4}, {"buffer": 0, "byteOffset": keys * 4, "byteLength": keys * 16}]
    accessors = [
        {"bufferView": 0, "count": keys, "componentType": 5126, "type": "SCALAR"},
        {"bufferView": 1, "count": keys, "componentType": 5126, "type": "VEC4"},
    ]
    moving = {
        "channels": [{"sampler": 0, "target": {"node": 0, "path": "rotation"}}],
        "samplers": [{"input": 0, "output": 1, **sampler}],
    }
    nodes = [{"name": f"joint_{number}"} for number in range(joints)]
    result = [moving, *[{} for _ in range(animations - 1)]]
    return model(folder, data, nodes=nodes, accessors=accessors, bufferViews=views, animations=result)


def test_keys_times_joints_are_counted_before_they_are_sampled(tmp_path: Path) -> None:
    path = animated(tmp_path, joints=2_000, keys=3_000)

    def read() -> None:
        with pytest.raises(OverLimit, match="3000 frames of 2000 joints"):
            read_clips(path)

    assert peak(read) < 8 * MIB
    assert len(read_clips(animated(tmp_path, joints=20, keys=3_000))[0].times) == 3_000


def test_a_rate_that_a_clip_of_hours_is_sampled_at_is_counted(tmp_path: Path) -> None:
    with pytest.raises(OverLimit, match="5998001 frames"):
        read_clips(animated(tmp_path, joints=2, keys=3_000), rate=2_000.0)


def test_many_clips_share_one_allowance(tmp_path: Path) -> None:
    with pytest.raises(OverLimit, match="1 frames of 2000 joints"):
        read_clips(animated(tmp_path, joints=2_000, keys=2, animations=2_000))


def test_two_channels_for_one_value_are_refused(tmp_path: Path) -> None:
    """glTF 2.0, section 3.11: different channels of an animation do not have the same target."""
    path = animated(tmp_path, joints=2, keys=2)
    document = json.loads(path.read_text("utf-8"))
    document["animations"][0]["channels"] *= 2
    path.write_text(json.dumps(document), "utf-8")
    with pytest.raises(UnreadableModel, match="moves what a channel before it moves"):
        read_clips(path)


def test_more_nodes_than_any_skeleton_has_are_refused(tmp_path: Path) -> None:
    path = model(tmp_path, nodes=[{"children": [number + 1]} for number in range(20_000)] + [{}])
    with pytest.raises(OverLimit, match="20001 joints"):
        read_outline(path)
    with limits.using(limits.Limits()._replace(joints=30_000)):
        assert len(read_outline(path).skeleton.joints) == 20_001


def test_a_document_is_measured_before_it_is_read(tmp_path: Path) -> None:
    path = model(tmp_path)
    with path.open("r+b") as stream:
        stream.truncate(300 * MIB)  # takes no room on the disk

    def read() -> None:
        with pytest.raises(OverLimit, match="model-json-bytes"):
            read_document(path)

    assert peak(read) < MIB


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('{"asset": {"version": "2.0"}, "nodes": [], "nodes": [{}]}', "`nodes` twice"),
        ('{"asset": {"version": "2.0"}, "\\ud800": 1, "\\ud800": 2}', "not valid Unicode"),
        ('{"asset": {"version": "2.0", "a": %s}}' % ("9" * 5_000), "too long"),
        ('{"asset": {"version": "2.0"}, "nodes": %s}' % ("[" * 100_000), "too deeply"),
    ],
)
def test_odd_documents_are_told(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "model.gltf"
    path.write_text(text, "utf-8")
    with pytest.raises(UnreadableModel, match=words):
        read_outline(path)


@pytest.mark.parametrize("value", [np.nan, np.inf, 3e38])
def test_numbers_that_cannot_be_meant_are_refused(tmp_path: Path, value: float) -> None:
    data = np.array([0.0, value, 1.0], "<f4").tobytes()
    accessor = {"bufferView": 0, "count": 3, "componentType": 5126, "type": "SCALAR"}
    with pytest.raises(UnreadableModel, match="no usable numbers"):
        GltfArrays(model(tmp_path, data, accessors=[accessor])).accessor(0)


def test_a_limit_is_told_with_the_name_that_raises_it(tmp_path: Path) -> None:
    diagnostics = Diagnostics()
    assert find_clips(animated(tmp_path, joints=2_000, keys=3_000), "walk.gltf", None, diagnostics) == ()
    (told,) = diagnostics.all
    assert told.name == "over-limit"
    assert "`walk.gltf`: animations[0], 3000 frames of 2000 joints, has 321 MiB" in told.message
    assert told.hint is not None and "--limit unpacked-bytes=VALUE" in told.hint
