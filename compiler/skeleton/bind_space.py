"""Where the space that a skin's vertices are stored in lies in the model's."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import permutations
from itertools import product as every_choice
from typing import Final

from plica.named_tuples import NamedTuple
from plica.skeleton.algebra import (
    Matrix,
    Vector,
    determinant,
    dot,
    length,
    scaled,
    subtract,
    times,
    transpose,
)
from plica.skeleton.frames import SAME_AXES, body_size, composed, inverted, is_similarity, polar, same_frame
from plica.skeleton.middle import median
from plica.skeleton.skeleton import MODEL_FRAME, Frame, Skeleton

SkinFrames = Mapping[int, Frame]
"""The bind frames of one skin's joints in the space of its stored vertices, by the joints' places in the skeleton."""
_SAME_SCALE: Final = 0.02
_NEAR: Final = 0.7071
"""Cosine of 45 degrees: of two turns that are a right angle apart only one can be nearer than that."""
_FAR: Final = 0.3
"""Cosine of 72 degrees: a joint that rests further from where all nodes have it was bound in another space."""
_STAYS: Final = 0.1
"""Share of the body's size that a pose may move the first joint by where it is to tell one space from another."""


def flattened(rest: Skeleton, skin: SkinFrames) -> str | None:
    """The name of a joint whose bind frame cannot be inverted; None where there is none."""
    return next((rest.joints[joint].name for joint, frame in skin.items() if inverted(frame) is None), None)


def without_places(rest: Skeleton, skin: SkinFrames) -> bool:
    """Whether a skin has its joints at one place that stand apart at rest: its vertices are no bound body."""
    if len(skin) < 2:
        return False
    first, *others = skin.items()
    bound = max(length(subtract(frame.origin, first[1].origin)) for _, frame in others)
    stands = max(length(subtract(rest.frames[joint].origin, rest.frames[first[0]].origin)) for joint, _ in others)
    return bound <= 1e-9 * max(1.0, length(first[1].origin)) and stands > 1e-6


def same_as_rest(rest: Skeleton, skin: SkinFrames, size: float) -> bool:
    """Whether one similarity takes a skin's bind frames to the rest frames of its joints."""
    first = min(skin)
    back = inverted(skin[first])
    if back is None:
        return False
    similarity = composed(rest.frames[first], back)
    return is_similarity(similarity) and all(
        same_frame(composed(similarity, frame), rest.frames[joint], size) for joint, frame in skin.items()
    )


class Space(NamedTuple):
    """Where the space of a skin's vertices lies in the model's; `guess`: how, where rest does not tell."""

    frame: Frame
    guess: str = ""


def space_of(rest: Skeleton, skin: SkinFrames, known: Mapping[int, Frame], shown: Sequence[Frame]) -> Space | None:
    """Where a skin's space lies; None where it cannot be told.

    known: bind frames of other skins' joints; shown: where the nodes stand that show a mesh with this skin.
    """
    shared = min((joint for joint in skin if joint in known), default=None)
    back = None if shared is None else inverted(skin[shared])
    similarity = composed(known[shared], back) if shared is not None and back is not None else None
    if similarity is not None and is_similarity(similarity):
        return Space(similarity)
    return _similarity(rest, skin, shown)


def _similarity(rest: Skeleton, skin: SkinFrames, shown: Sequence[Frame]) -> Space | None:
    """Where the space of a skin's vertices lies in the model's, told from the rest pose, whatever pose that is.

    The scale is that of the joints' frames or of the bones, which poses leave alone. The turn is the one that leaves
    the skin's first joint as it rests, where that is by right angles: no pose turned the joint. Else it is one that
    files are written with: that of the nodes that show the mesh, none, or that of what stands above the first joint;
    where the joint rests near to several of them, the one that leaves it at its place, or that the nodes have. Where
    it rests near to none, they are taken if they agree and it rests not too far, else the turn by right angles that is
    near; both are guesses. None where there is none, or where several are near.
    """
    top = min(skin)
    parent = rest.joints[top].parent
    above = MODEL_FRAME if parent is None else rest.frames[parent]
    back = inverted(skin[top])
    own = MODEL_FRAME if back is None else composed(rest.frames[top], back)
    scales = _scales(rest, skin)
    if is_similarity(own) and _is_right_angled(own.linear) and _of_scale(own, scales) is own:
        return Space(own)
    body = polar(own.linear)[0]
    nodes = [_of_scale(frame, scales) for frame in shown if is_similarity(frame) and _is_right_angled(frame.linear)]
    written = [*nodes, *(_of_scale(frame, scales) for frame in (MODEL_FRAME, above) if is_similarity(frame))]
    likely, guess = _within(written, body, _NEAR), ""
    if len(likely) > 1:
        reach = _STAYS * body_size(rest)
        likely = [frame for frame in likely if _moved(rest, skin, frame) <= reach] or likely
    if len(likely) > 1:
        likely = _within(nodes, body, _NEAR) or likely
    if not likely and all(_same_turn(frame, written[0]) for frame in written):
        likely, guess = _within(written, body, _FAR), "as the nodes of the file are"
    if not likely:
        likely = _within([_square(rest, skin, turn, scales[0]) for turn in _right_angles()], body, _NEAR)
        guess = "turned against the nodes of the file by a right angle"
    return Space(likely[0], guess) if len(likely) == 1 else None


def _within(frames: Sequence[Frame], body: Matrix, least: float) -> list[Frame]:
    """The frames whose turn is so near to the body's, by the cosine of the angle between them, each turn once."""
    result: list[Frame] = []
    for frame in frames:
        turn = polar(frame.linear)[0]
        cosine = (sum(dot(a, b) for a, b in zip(turn, body, strict=True)) - 1.0) / 2.0
        if cosine > least and not any(_same_turn(frame, one) for one in result):
            result.append(frame)
    return result


def _moved(rest: Skeleton, skin: SkinFrames, space: Frame) -> float:
    """How far from its place at rest the skin's first joint was bound, metres."""
    top = min(skin)
    return length(subtract(composed(space, skin[top]).origin, rest.frames[top].origin))


def _of_scale(frame: Frame, scales: tuple[float, float]) -> Frame:
    """A similarity that has one of two scales already, else with the first of them; it stays where it is."""
    own = length(transpose(frame.linear)[0])
    if min(abs(own / scale - 1.0) for scale in scales) <= _SAME_SCALE:
        return frame
    a, b, c = frame.linear
    factor = scales[0] / own
    return Frame((scaled(a, factor), scaled(b, factor), scaled(c, factor)), frame.origin)


def _same_turn(first: Frame, second: Frame) -> bool:
    return same_frame(Frame(first.linear, MODEL_FRAME.origin), Frame(second.linear, MODEL_FRAME.origin), 1.0)


def _square(rest: Skeleton, skin: SkinFrames, turn: Matrix, scale: float) -> Frame:
    """A turn by right angles and a scale that leave the skin's first joint where it rests."""
    linear = (scaled(turn[0], scale), scaled(turn[1], scale), scaled(turn[2], scale))
    top = min(skin)
    return Frame(linear, subtract(rest.frames[top].origin, times(linear, skin[top].origin)))


def _scales(rest: Skeleton, skin: SkinFrames) -> tuple[float, float]:
    """How much larger the joints' frames, and the bones between them, are in the model than in a skin's space.

    Medians over the joints. Poses leave both alone; bind matrices may scale joints, and animations may move them.
    """
    frames, bones = [], []
    for joint, frame in skin.items():
        bound, stands = abs(determinant(frame.linear)), abs(determinant(rest.frames[joint].linear))
        if bound > 0.0 and stands > 0.0:
            frames.append((stands / bound) ** (1 / 3))
        carrier = next((above for above in rest.ancestors(joint) if above in skin), None)
        if carrier is not None:
            before = length(subtract(frame.origin, skin[carrier].origin))
            after = length(subtract(rest.frames[joint].origin, rest.frames[carrier].origin))
            if before > 0.0 and after > 0.0:
                bones.append(after / before)
    scale = median(frames) if frames else 1.0
    return scale, median(bones) if bones else scale


def _right_angles() -> list[Matrix]:
    """The 24 turns that take the axes to axes, the identity first."""
    result = []
    for order in permutations(range(3)):
        for signs in every_choice((1.0, -1.0), repeat=3):
            matrix = (_along(order[0], signs[0]), _along(order[1], signs[1]), _along(order[2], signs[2]))
            if determinant(matrix) > 0:
                result.append(matrix)
    return result


def _along(axis: int, sign: float) -> Vector:
    return (sign if axis == 0 else 0.0, sign if axis == 1 else 0.0, sign if axis == 2 else 0.0)


def _is_right_angled(linear: Matrix) -> bool:
    scale = length(transpose(linear)[0])
    return all(min(abs(abs(value) - scale), abs(value)) <= SAME_AXES * scale for row in linear for value in row)
