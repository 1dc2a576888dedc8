"""Which meshes of a glTF document are the skin, and which of its nodes are joints because they move a mesh."""

from __future__ import annotations

from typing import Any

import pytest

from plica.readers.gltf_shown import Shown, shown_meshes
from plica.readers.gltf_skeleton import outline_of_document

FACES: dict[str, Any] = {"primitives": [{"attributes": {"POSITION": 0}}]}
WIRES: dict[str, Any] = {"primitives": [{"attributes": {"POSITION": 0}, "mode": 1}]}


def document(**more: Any) -> dict[str, Any]:
    """A body with a skin; a badge on the hand, a wheel on a crane beside the joints, a floor, wires on the hand."""
    nodes: list[dict[str, Any]] = [
        {"name": "scene", "children": [1, 3, 4, 6, 8]},
        {"name": "hip", "children": [2]},
        {"name": "hand", "children": [5, 9]},
        {"name": "body_node", "mesh": 0, "skin": 0},
        {"name": "crane", "children": [7]},
        {"name": "badge_node", "mesh": 1},
        {"name": "floor_node", "mesh": 2},
        {"name": "wheel_node", "mesh": 3},
        {"name": "body_again", "mesh": 0, "skin": 0},
        {"name": "hand_shown", "mesh": 4},
    ]
    meshes = [{"name": name, **FACES} for name in ("body", "badge", "floor", "wheel")]
    return {
        "asset": {"version": "2.0"},
        "nodes": nodes,
        "meshes": [*meshes, {"name": "wires", **WIRES}],
        "skins": [{"joints": [1, 2]}],
        "accessors": [{"count": 3}],
        **more,
    }


def moving(node: int, path: str = "rotation") -> list[dict[str, Any]]:
    """One animation with one channel."""
    return [{"channels": [{"sampler": 0, "target": {"node": node, "path": path}}], "samplers": [{}]}]


def taken(given: dict[str, Any], *chosen: str) -> list[str]:
    """The names of the meshes that are the skin, each as often as it is taken."""
    shown = shown_meshes(given, chosen)
    return [shown.names[one.mesh] for one in shown.taken]


def test_what_hangs_on_a_joint_is_skin_and_what_does_not_is_told() -> None:
    shown = shown_meshes(document())
    assert shown.taken == (Shown(0, 3, 0), Shown(1, 5, None))
    assert len(shown.problems) == 2
    assert "`floor`, `wheel`, `wires`" in shown.problems[0] and "`body`" in shown.problems[1]
    assert outline_of_document(document()).problems == shown.problems


def test_what_an_animated_node_beside_the_joints_carries_is_skin() -> None:
    assert taken(document(animations=moving(4))) == ["body", "badge", "wheel"]
    assert taken(document(animations=moving(7))) == ["body", "badge", "wheel"]
    assert taken(document(animations=moving(0))) == ["body", "badge"], "what is above all joints carries the scene"
    assert taken(document(animations=moving(7, "weights"))) == ["body", "badge"], "morph weights move no node"


def test_an_animated_node_with_a_mesh_is_a_joint_but_not_one_with_a_skin() -> None:
    def joints(animations: list[dict[str, Any]]) -> list[str]:
        return [joint.name for joint in outline_of_document(document(animations=animations)).skeleton.joints]

    assert "badge_node" not in joints([])
    assert "badge_node" in joints(moving(5))
    assert "badge_node" not in joints(moving(5, "weights"))
    assert "body_node" not in joints(moving(3))


@pytest.mark.parametrize(
    ("chosen", "expected"),
    [
        (("floor",), ["floor"]),
        (("floor_node",), ["floor"]),
        (("body_again",), ["body"]),
        (("badge", "wheel_node"), ["badge", "wheel"]),
    ],
)
def test_meshes_are_chosen_by_their_name_or_by_that_of_a_node(chosen: tuple[str, ...], expected: list[str]) -> None:
    assert taken(document(), *chosen) == expected
    assert shown_meshes(document(), chosen).unknown == ()


def test_a_chosen_node_is_the_one_that_is_taken() -> None:
    nodes = document()["nodes"]
    nodes.append({"name": "second_badge", "mesh": 1})
    nodes[1]["children"].append(len(nodes) - 1)
    twice = document(nodes=nodes)
    assert taken(twice) == ["body", "badge", "badge"], "nothing else tells where each stands"
    assert shown_meshes(twice, ["second_badge"]).taken == (Shown(1, 10, None),)
    assert shown_meshes(twice, ["badge"]).taken == (Shown(1, 5, None), Shown(1, 10, None))


def test_names_that_nothing_has_are_given_back() -> None:
    assert shown_meshes(document(), ["floor", "hand", "flor"]).unknown == ("flor", "hand")


def test_one_mesh_with_two_skins_is_taken_with_each() -> None:
    nodes = document()["nodes"]
    nodes[8]["skin"] = 1
    shown = shown_meshes(document(nodes=nodes, skins=[{"joints": [1, 2]}, {"joints": [2]}]))
    assert [(one.node, one.skin) for one in shown.taken] == [(3, 0), (8, 1), (5, None)]


def test_without_skins_every_mesh_is_taken() -> None:
    nodes = document()["nodes"]
    for node in nodes:
        node.pop("skin", None)
    assert taken(document(nodes=nodes, skins=[])) == ["body", "body", "badge", "floor", "wheel", "wires"]
