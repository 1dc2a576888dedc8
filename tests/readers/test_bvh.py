"""Motion capture text: channel orders, faults with their lines."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from plica.readers.bvh import parse_bvh
from plica.readers.clip import Clip
from plica.readers.model_outline import UnreadableModel

TEXT = """HIERARCHY
ROOT Hips
{
  OFFSET 0 1 0
  CHANNELS 6 Xposition Yposition Zposition Zrotation Xrotation Yrotation
  JOINT Upper Arm
  {
    OFFSET 1 2 3
    CHANNELS 3 Yrotation Zrotation Xrotation
    End Site
    {
      OFFSET 0 0 1
    }
  }
  JOINT Fixed {
    OFFSET -1 0 0
    CHANNELS 0
  }
}
MOTION
Frames: 2
Frame Time: 0.5
1 2 3 10 20 30 40 50 60
4 5 6 0 0 0 0 0 0
"""


def test_joints_offsets_and_times() -> None:
    clip = parse_bvh(TEXT, "walk")
    assert clip.name == "walk"
    assert clip.joints == ("Hips", "Upper Arm", "Fixed")
    assert [joint.parent for joint in clip.rest.joints] == [None, 0, 0]
    assert clip.times.tolist() == [0.0, 0.5]
    assert clip.translations[0].tolist() == [[1, 2, 3], [1, 2, 3], [-1, 0, 0]]
    assert clip.translations[1, 0].tolist() == [4, 5, 6]
    assert not clip.in_metres


def test_rotations_are_made_in_the_order_of_the_channels() -> None:
    # scipy's capital letters: turns about axes that the turns before have turned
    clip = parse_bvh(TEXT, "walk")
    for joint, order, angles in ((0, "ZXY", (10, 20, 30)), (1, "YZX", (40, 50, 60))):
        expected = Rotation.from_euler(order, angles, degrees=True).as_matrix()
        result = Rotation.from_quat(clip.rotations[0, joint]).as_matrix()
        np.testing.assert_allclose(result, expected, atol=1e-14)
    assert clip.rotations[0, 2].tolist() == [0, 0, 0, 1]


def test_repeated_names_become_distinct() -> None:
    clip = parse_bvh(TEXT.replace("Fixed", "Hips"), "walk")
    assert clip.joints == ("Hips", "Upper Arm", "Hips_2")


def _without(line: str) -> str:
    return TEXT.replace(line + "\n", "")


FAULTS = {
    "empty": ("", "line 0"),
    "no hierarchy": ("MOTION\n", "line 1: `MOTION` stands where HIERARCHY"),
    "no brace": (_without("{"), "line 3: `OFFSET`"),
    "offset": (TEXT.replace("1 2 3\n    CH", "1 two 3\n    CH"), "line 8: `two`"),
    "infinite offset": (TEXT.replace("OFFSET 1 2 3", "OFFSET 1 inf 3"), "line 8: `inf`"),
    "channel": (TEXT.replace("3 Yrotation", "3 Wrotation"), "line 9: `Wrotation`"),
    "channel twice": (TEXT.replace("3 Yrotation", "3 Zrotation"), "line 9: `Zrotation`"),
    "channel count": (TEXT.replace("CHANNELS 3", "CHANNELS many"), "line 9: `many`"),
    "ends early": (TEXT[:120], "ends within"),
    "no frames": (_without("Frames: 2"), "line 22: `Frames: ...`"),
    "zero frames": (TEXT.replace("Frames: 2", "Frames: 0"), "no frames"),
    "frame time": (TEXT.replace("0.5", "-1"), "line 22: the frame time"),
    "short frame": (TEXT.replace("4 5 6 0", "4 5 6"), "line 24: the frame has 8 values"),
    "word in frame": (TEXT.replace("4 5 6", "4 five 6"), "line 24: `five`"),
    "not finite": (TEXT.replace("4 5 6", "4 nan 6"), "line 24: `nan`"),
    "too few": (TEXT.replace("Frames: 2", "Frames: 3"), "2 frames are there of 3"),
    "too many": (TEXT.replace("Frames: 2", "Frames: 1"), "line 24: there are more"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_faults_name_their_line(name: str) -> None:
    text, words = FAULTS[name]
    with pytest.raises(UnreadableModel, match=words):
        parse_bvh(text, "walk")


def test_a_clip_keeps_its_length_when_written_with_other_line_ends() -> None:
    one, other = parse_bvh(TEXT, "a"), parse_bvh(TEXT.replace("\n", "\r\n"), "a")
    assert isinstance(one, Clip)
    np.testing.assert_array_equal(one.rotations, other.rotations)
