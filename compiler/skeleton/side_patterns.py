"""What tells left from right: name patterns, judged by the rest positions, and places where names say nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain

from plica.named_tuples import NamedTuple
from plica.skeleton.algebra import Vector, cross, dot, length, scaled, subtract, unit
from plica.skeleton.marks_in_names import patterns_of_pairs
from plica.skeleton.middle import median
from plica.skeleton.pairing import side_of_left
from plica.skeleton.pairs_by_position import PositionPairs, pairs_by_position, places_of, plainly_two_sided
from plica.skeleton.planes import Plane, find_plane, plainly_evener, turned_plane
from plica.skeleton.sides import AXES, Pair, Sides, StatedPair, pair_joints, with_placed
from plica.skeleton.skeleton import Skeleton

# What the sides are called: whole words or letters, in any case.
SIDE_WORDS = (
    ("left", "right"),
    ("lft", "rgt"),
    ("lt", "rt"),
    ("lf", "rt"),
    ("lf", "rf"),
    ("le", "ri"),
    ("l", "r"),
    ("links", "rechts"),
    ("gauche", "droite"),
    ("izquierda", "derecha"),
    ("izq", "der"),
)
_UP: Vector = (0.0, 1.0, 0.0)
SEPARATORS = "_.-: |"
FIT = 0.05  # how far a joint's mirror image may be from its partner, as a share of the body's size
_POINTING = 0.5  # how much of its length a foot has to lead to the front, to tell it
MOST_SINGLE = 0.5  # a pattern that leaves more of the joints it marks without partner is a coincidence


class FoundSides(NamedTuple):
    """Patterns, pairs that no pattern covers, what they make of the skeleton, and the mirror plane.

    `by_position`: whether further pairs were found by position; `toward`: the axis that then leads to the left, ""
    where named pairs tell it; `told_by`: what tells it.
    """

    left: tuple[str, ...]
    right: tuple[str, ...]
    stated: tuple[tuple[int, int], ...]
    sides: Sides
    plane: Plane | None
    by_position: bool = False
    toward: str = ""
    told_by: str = ""


class Candidate(NamedTuple):
    """A pattern for each side, and the pairs that they make."""

    left: str
    right: str
    pairs: tuple[tuple[int, int], ...]
    single: int


def find_sides(skeleton: Skeleton) -> FoundSides:
    """The patterns that explain most joints, and pairs by position of joints that no name pairs."""
    named = named_sides(skeleton)
    found = pairs_by_position(skeleton, find_plane(skeleton, list(named.sides.pairs.values())))
    if found.plane is None or not (named.sides.pairs or plainly_two_sided(found)):
        return named
    sign = side_of_left(skeleton, named.sides, found.plane)
    toward, told_by = ("", "") if sign else _toward_left(skeleton, found, found.plane)
    ordered = [pair if (sign or found.plane.sign_of(toward)) > 0 else pair[::-1] for pair in found.pairs]
    names = [joint.name for joint in skeleton.joints]
    if not named.sides.pairs and (marked := _marked_sides(skeleton, names, ordered, told_by)) is not None:
        return marked
    sides = with_placed(named.sides, ordered, names)
    if not sides.placed:
        return named
    return named._replace(
        sides=sides, plane=_stated_plane(skeleton, sides), by_position=True, toward=toward, told_by=told_by
    )


def _marked_sides(
    skeleton: Skeleton, names: list[str], ordered: Sequence[tuple[int, int]], told_by: str
) -> FoundSides | None:
    """The sides by marks in names that nobody here has a word for, where they tell the very pairs (left, right) that
    places tell, and mark no other joint."""
    patterns = patterns_of_pairs([(names[left], names[right]) for left, right in ordered], SEPARATORS)
    if patterns is None or any("*" in name for name in names):
        return None
    left, right = patterns
    sides = pair_joints(names, (left,), (right,))
    told = {(pair.left, pair.right) for pair in sides.pairs.values()}
    if sides.unpaired or sides.clashing or not told.issuperset(ordered):
        return None
    return FoundSides((left,), (right,), (), sides, _stated_plane(skeleton, sides), told_by=told_by)


def _toward_left(skeleton: Skeleton, found: PositionPairs, plane: Plane) -> tuple[str, str]:
    """The axis that leads to the left of a character with y up, and what tells it.

    The front is where the feet point: the ends of the lowest paired limbs, seen from the joints before them. Where they
    do not, it is the one that glTF 2.0 section 3.4 asks for, +z; across z nothing is asked for, and +x is taken.
    """
    axis = plane.nearest_axis
    level = cross(plane.normal, _UP)
    if axis == "y" or not length(level):
        return axis, "assumed"
    # With y up, left is up x front: where the normal shows to the left, this is the front.
    forward = unit(level)
    ends = [joint for pair in found.pairs for joint in pair if not skeleton.children(joint)]
    pointing = [_step(skeleton, joint) for joint in sorted(ends, key=lambda joint: _height(skeleton, joint))[:2]]
    along = sum(dot(step, forward) for step in pointing)
    told = bool(along) and abs(along) > _POINTING * sum(map(length, pointing))
    asked = forward["xyz".index("z" if axis == "x" else "x")]
    front = along if told else asked
    toward = axis if plane.sign_of(axis) == (1.0 if front > 0 else -1.0) else f"-{axis}"
    faces = _direction_text(scaled(forward, 1.0 if front > 0 else -1.0))
    return toward, f"the feet point to {faces}" if told else f"taking the front to face {faces}"


def _direction_text(direction: Vector) -> str:
    """A direction for people: `+z`, or a vector where it is along no axis."""
    for name, value in zip(AXES, direction, strict=True):
        if abs(value) > 1.0 - 1e-9:
            return f"{'-' if value < 0 else '+'}{name}"
    return "(" + ", ".join(f"{value:.3g}" for value in direction) + ")"


def _step(skeleton: Skeleton, joint: int) -> Vector:
    parent = skeleton.joints[joint].parent
    places = places_of(skeleton)
    return subtract(places[joint], places[joint if parent is None else parent])


def _height(skeleton: Skeleton, joint: int) -> float:
    return places_of(skeleton)[joint][1]


def named_sides(skeleton: Skeleton) -> FoundSides:
    """The patterns that explain most joints.

    Candidates come from every word in a name that could mean a side and whose counterpart exists. The best
    goes first, then every other one that pairs further joints. A candidate counts where at least half of
    its pairs mirror each other at rest across one common plane of any axis and offset, or, for skeletons
    posed unevenly at rest, where all of at least three pairs hang from the same or from paired joints.
    Patterns that mark many joints without partners are not used: their pairs are stated one by one.
    """
    names = [joint.name for joint in skeleton.joints]
    candidates = [candidate for pattern in _patterns(names) if (candidate := _tried(names, *pattern))]
    plane = _common_plane(skeleton, candidates)
    good = [candidate for candidate in candidates if _believable(skeleton, candidate, plane)]
    left: list[str] = []
    right: list[str] = []
    stated: list[StatedPair] = []
    sides = pair_joints(names, (), ())
    while good:
        best = max(good, key=lambda candidate: _worth(candidate, sides.partner))
        gained = _gained(best, sides.partner)
        if not gained:
            break
        good.remove(best)
        trial = pair_joints(names, (*left, best.left), (*right, best.right), stated)
        spoiled = len(trial.unpaired) - len(sides.unpaired)
        if not trial.clashing and spoiled <= len(gained) * 2 * MOST_SINGLE and (spoiled == 0 or not left):
            left.append(best.left)
            right.append(best.right)
        else:
            stated += [StatedPair(*pair, None) for pair in gained]
        sides = pair_joints(names, left, right, stated)
    return FoundSides(
        tuple(left),
        tuple(right),
        tuple((pair.left, pair.right) for pair in stated),
        sides,
        _stated_plane(skeleton, sides),
    )


# ---- candidates -----------------------------------------------------------------------------------------


def _patterns(names: list[str]) -> list[tuple[str, str]]:
    """Pattern pairs that pair at least two of the names, each once, in the order of the names."""
    known = set(names)
    result: dict[tuple[str, str], None] = {}
    for name in names:
        for start, left, right in side_words(name):
            before, after = name[:start], name[start + len(left) :]
            if before + right + after in known:
                for pattern in _generalised(before, left, right, after, names):
                    result[pattern] = None
    return list(result)


def side_words(name: str, words: Sequence[tuple[str, str]] = SIDE_WORDS) -> list[tuple[int, str, str]]:
    """Places in a name where the first of two `words` stands (the one for the left, if not stated), with that word and
    its counterpart in the same case."""
    result = []
    folded = name.lower()
    if len(folded) != len(name):
        return []
    for left, right in words:
        start = folded.find(left)
        while start >= 0:
            written = name[start : start + len(left)]
            if _stands_alone(name, start, start + len(left)):
                result.append((start, written, _cased(right, written)))
            start = folded.find(left, start + 1)
    return result


def _stands_alone(name: str, start: int, end: int) -> bool:
    """Whether a stretch of a name is a word of its own: between separators, digits, ends or changes of case."""
    word = name[start:end]
    before, after = name[start - 1 : start], name[end : end + 1]
    opens = not before.isalpha() or (word[0].isupper() and before.islower())
    closes = not after.isalpha() or (after.isupper() and (word[-1].islower() or len(word) == 1))
    # `LThumb` begins with a letter for the side, `LOD` does not: the capital must begin a word.
    if closes and len(word) == 1 and word.isupper() and after.isupper():
        closes = name[end + 1 : end + 2].islower()
    return opens and closes


def _cased(word: str, like: str) -> str:
    if like.isupper() and (len(like) > 1 or len(word) == 1):
        return word.upper()
    return word.capitalize() if like[0].isupper() else word


def _generalised(before: str, left: str, right: str, after: str, names: list[str]) -> list[tuple[str, str]]:
    """The patterns that a name with a side word could be an instance of."""
    opening = before[len(before.rstrip(SEPARATORS)) :]
    closing = after[: len(after) - len(after.lstrip(SEPARATORS))]
    head, tail = before[: len(before) - len(opening)], after[len(closing) :]
    result = []
    if head and tail:
        shared = sum(name.startswith(head + opening) for name in names)
        if opening and shared > 0.7 * len(names):  # a namespace or the character's name before every joint
            result.append((f"{head}{opening}{left}{closing}*", f"{head}{opening}{right}{closing}*"))
        result.append((f"*{opening}{left}{closing}*", f"*{opening}{right}{closing}*"))
    elif head:
        result.append((f"*{opening}{left}{closing}", f"*{opening}{right}{closing}"))
    elif tail:
        result.append((f"{opening}{left}{closing}*", f"{opening}{right}{closing}*"))
    return [pattern for pattern in result if "**" not in pattern[0] and pattern[0].isprintable()]


def _tried(names: list[str], left: str, right: str) -> Candidate | None:
    if any("*" in name for name in names) or "{" in left:
        return None
    sides = pair_joints(names, (left,), (right,))
    pairs = tuple((pair.left, pair.right) for pair in sides.pairs.values())
    return Candidate(left, right, pairs, len(sides.unpaired)) if pairs else None


# ---- judging --------------------------------------------------------------------------------------------


def _gained(candidate: Candidate, partner: dict[int, int]) -> list[tuple[int, int]]:
    return [pair for pair in candidate.pairs if pair[0] not in partner and pair[1] not in partner]


def _worth(candidate: Candidate, partner: dict[int, int]) -> tuple[int, int, int]:
    """More new pairs first, then fewer joints left single, then fewer wildcards."""
    return len(_gained(candidate, partner)), -candidate.single, -candidate.left.count("*")


def _size(skeleton: Skeleton) -> float:
    origins = [frame.origin for frame in skeleton.frames]
    return max(max(values) - min(values) for values in zip(*origins, strict=True)) if origins else 0.0


def _common_plane(skeleton: Skeleton, candidates: list[Candidate]) -> Plane | None:
    """The plane that most of the candidates' pairs mirror each other across.

    The offset is the median of the pairs' middles, which a few joints placed unevenly do not shift.
    """
    pairs = sorted({pair for candidate in candidates for pair in candidate.pairs})
    return best_plane(skeleton, pairs)


def best_plane(skeleton: Skeleton, pairs: list[tuple[int, int]]) -> Plane | None:
    """The plane across which most pairs mirror each other; None without pairs.

    It lies along an axis, unless the pairs are plainly even across one that does not.
    """
    best: tuple[tuple[int, float], Plane] | None = None
    for coordinate, axis in enumerate(AXES):
        places = [(skeleton.frames[left].origin, skeleton.frames[right].origin) for left, right in pairs]
        if not places:
            return None
        offset = median((left[coordinate] + right[coordinate]) / 2 for left, right in places)
        plane = Plane.across(axis, offset)
        distances = [length(subtract(plane.reflect(left), right)) for left, right in places]
        limit = FIT * _size(skeleton)
        rank = (sum(distance <= limit for distance in distances), -sum(distances))
        if best is None or rank > best[0]:
            best = rank, plane._replace(residual=max(distances))
    turned = turned_plane(skeleton, [Pair("", left, right) for left, right in pairs])
    if best is None or (turned is not None and plainly_evener(turned, best[1], skeleton)):
        return turned
    return best[1]


def _believable(skeleton: Skeleton, candidate: Candidate, plane: Plane | None) -> bool:
    pairs = candidate.pairs
    if plane is not None:
        limit = FIT * _size(skeleton)
        fitting = sum(_fits(skeleton, pair, plane, limit) for pair in pairs)
        if fitting * 2 >= len(pairs):
            return True
    partner = dict(pairs)
    return len(pairs) >= 3 and all(_same_stem(skeleton, pair, partner) for pair in pairs)


def _fits(skeleton: Skeleton, pair: tuple[int, int], plane: Plane, limit: float) -> bool:
    left, right = (skeleton.frames[index].origin for index in pair)
    return length(subtract(plane.reflect(left), right)) <= limit


def _same_stem(skeleton: Skeleton, pair: tuple[int, int], partner: dict[int, int]) -> bool:
    """Whether two joints hang from one joint, or from two that are a pair themselves."""
    left, right = (skeleton.joints[index].parent for index in pair)
    return left == right or (left is not None and partner.get(left) == right)


def _stated_plane(skeleton: Skeleton, sides: Sides) -> Plane | None:
    """The plane that has to be written down: None where the one that binding finds by itself is as good."""
    pairs = [(pair.left, pair.right) for pair in sides.pairs.values()]
    own = best_plane(skeleton, pairs)
    result = find_plane(skeleton, list(sides.pairs.values()))
    if own is None or result is None:
        return None
    same = own.axis == result.axis and abs(own.offset - result.offset) <= 0.005 * _size(skeleton)
    return None if same or own.axis is None else own


def direction_to_left(skeleton: Skeleton, sides: Sides) -> Vector | None:
    """The unit vector that points to the character's left; None without pairs apart from each other."""
    plane = best_plane(skeleton, [(pair.left, pair.right) for pair in sides.pairs.values()])
    if plane is None:
        return None
    total = sum(
        plane.height(skeleton.frames[pair.left].origin) - plane.height(skeleton.frames[pair.right].origin)
        for pair in sides.pairs.values()
    )
    if abs(total) < 1e-9:
        return None
    return scaled(plane.normal, 1.0 if total > 0 else -1.0)


def without_side(name: str) -> Iterator[str]:
    """A joint's name without a side's mark at its beginning or its end, for each mark that fits."""
    folded = name.casefold()
    for word in dict.fromkeys(chain.from_iterable(SIDE_WORDS)):
        if len(name) > len(word) + 1:
            if folded.endswith(word) and folded[-len(word) - 1] in SEPARATORS:
                yield name[: -len(word) - 1]
            if folded.startswith(word) and folded[len(word)] in SEPARATORS:
                yield name[len(word) + 1 :]
