"""Where the space that a skin's vertices are stored in lies in the model's."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import permutations
from itertools import product as combinations
from statistics import median
from typing import Final

from plica.skeleton.algebra import Matrix, Vector, add, determinant, dot, length, scaled, subtract, times, transpose
from plica.skeleton.frames import SAME_AXES, composed, inverted, is_similarity, same_frame
from plica.skeleton.skeleton import MODEL_FRAME, Frame, Skeleton

SkinFrames = Mapping[int, Frame]
"""The bind frames of one skin's joints in the space of its stored vertices, by the joints' places in the skeleton."""
_SAME_SCALE: Final = 0.02


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


def placed(rest: Skeleton, skin: SkinFrames, known: Mapping[int, Frame]) -> dict[int, Frame]:
    """A skin's bind frames in model space."""
    shared = min((joint for joint in skin if joint in known), default=None)
    back = None if shared is None else inverted(skin[shared])
    similarity = composed(known[shared], back) if shared is not None and back is not None else None
    if similarity is None or not is_similarity(similarity):
        similarity = _similarity(rest, skin)
    return {joint: composed(similarity, frame) for joint, frame in skin.items()}


def _similarity(rest: Skeleton, skin: SkinFrames) -> Frame:
    """Where the space of a skin's vertices lies in the model's, told from the rest pose, whatever pose that is.

    The scale is that of the joints' frames or of the bones, which poses leave alone. For the turn there are the places
    that files put it: none, what stands above the skin's first joint, what that joint itself has, and turns by right
    angles; the one that brings the body nearest to where it rests is taken.
    """
    top = min(skin)
    parent = rest.joints[top].parent
    above = MODEL_FRAME if parent is None else rest.frames[parent]
    back = inverted(skin[top])
    own = MODEL_FRAME if back is None else composed(rest.frames[top], back)
    scale, of_bones = _scales(rest, skin)
    likely = [
        frame
        for frame in (MODEL_FRAME, above, own)
        if is_similarity(frame)
        and min(abs(length(transpose(frame.linear)[0]) / one - 1.0) for one in (scale, of_bones)) <= _SAME_SCALE
        and (frame is not own or _is_right_angled(frame.linear, scale))
    ]
    squares = [_square(rest, skin, turn, scale) for turn in _right_angles()]
    best = max(squares, key=lambda frame: _agreement(rest, skin, frame.linear))
    fitting = _agreement(rest, skin, best.linear)
    for frame in likely:
        if _agreement(rest, skin, frame.linear) >= fitting - 1e-3 * abs(fitting):
            return frame
    chosen = max(likely, key=lambda frame: _agreement(rest, skin, frame.linear), default=best)
    return chosen if _agreement(rest, skin, chosen.linear) > 0.7 * fitting else best


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


def _agreement(rest: Skeleton, skin: SkinFrames, linear: Matrix) -> float:
    """How well a turned skin points where its joints rest: the sum of products of places about their middles."""
    joints = sorted(skin)
    bound = _centred([skin[joint].origin for joint in joints])
    stands = _centred([rest.frames[joint].origin for joint in joints])
    return sum(dot(times(linear, a), b) for a, b in zip(bound, stands, strict=True))


def _centred(places: list[Vector]) -> list[Vector]:
    total = (0.0, 0.0, 0.0)
    for place in places:
        total = add(total, place)
    middle = scaled(total, 1 / len(places))
    return [subtract(place, middle) for place in places]


def _right_angles() -> list[Matrix]:
    """The 24 turns that take the axes to axes, the identity first."""
    result = []
    for order in permutations(range(3)):
        for signs in combinations((1.0, -1.0), repeat=3):
            matrix = (_along(order[0], signs[0]), _along(order[1], signs[1]), _along(order[2], signs[2]))
            if determinant(matrix) > 0:
                result.append(matrix)
    return result


def _along(axis: int, sign: float) -> Vector:
    return (sign if axis == 0 else 0.0, sign if axis == 1 else 0.0, sign if axis == 2 else 0.0)


def _is_right_angled(linear: Matrix, scale: float) -> bool:
    return all(min(abs(abs(value) - scale), abs(value)) <= SAME_AXES * scale for row in linear for value in row)
