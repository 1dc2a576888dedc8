"""A sculpt's pose can be a declared one."""

from __future__ import annotations

import plica
from plica.rig.surfaces import Sculpt, Shape

HEAD = """plica 1
character wren {
    left "*_lf"   right "*_rt"
    skeleton {
        joint hips at 0 m, 1 m, 0 m
        joint arm_lf under hips at 20 cm, 0 m, 0 m
        joint arm_rt under hips at -20 cm, 0 m, 0 m
    }
}
driver lift both { reads rotation about z of arm   span 0 deg .. 90 deg }
pose reach both { at lift 1, about x of arm 10 deg }
pose bow { at about x of hips 30 deg }
"""


def shapes(fact: str, side: str = "both") -> list[Shape]:
    """The shapes of a sculpt with this fact; no file is looked for."""
    text = f'{HEAD}shape swell {side} {{ sculpt "swell.npz"  posed at {fact}   follows lift }}\n'
    character = plica.compile_text(text)
    assert character.rig is not None, character.diagnostics
    return list(character.rig.shapes)


def poses(fact: str, side: str = "both") -> list[object]:
    return [one.source.pose for one in shapes(fact, side) if isinstance(one.source, Sculpt)]


def test_a_declared_pose_says_what_it_holds_for_each_side() -> None:
    assert poses("pose reach") == poses("lift 1, about x of arm 10 deg")
    assert poses("pose reach")[0] != poses("pose reach")[1]


def test_poses_and_items_stand_side_by_side() -> None:
    assert poses("pose bow, lift 0.5, about z of hips 5 deg") == poses(
        "about x of hips 30 deg, lift 0.5, about z of hips 5 deg"
    )
    assert poses("pose left reach", "right") == poses("left lift 1, about x of left arm 10 deg", "right")


def test_a_pose_that_is_not_there() -> None:
    character = plica.compile_text(f'{HEAD}shape s both {{ sculpt "s.npz" posed at pose reech   follows lift }}\n')
    [found] = [one for one in character.diagnostics if not one.name.startswith("not-")]
    assert "reech" in found.message and "reach" in f"{found.hint}{found.message}"
