"""Which morph targets of a model mirror each other, by their names."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache

from plica.named_tuples import NamedTuple
from plica.readers.model_outline import ModelOutline
from plica.skeleton.side_patterns import SIDE_WORDS, side_words
from plica.skeleton.sides import counterparts

_RIGHT_WORDS = tuple((right, left) for left, right in SIDE_WORDS)


class MorphPairs(NamedTuple):
    """Names of morph targets that mirror each other.

    `right`: the right one of each left one; `left`: the left one of each right one; `bases`: the left one by the name
    that both share, where the character's patterns pair them. `single`: names with a side's mark but no partner.
    """

    right: Mapping[str, str]
    left: Mapping[str, str]
    bases: Mapping[str, str]
    single: frozenset[str]

    def of(self, name: str) -> tuple[str, str] | None:
        """The left and the right one of the pair that a name is of."""
        if name in self.right:
            return name, self.right[name]
        return (self.left[name], name) if name in self.left else None


@lru_cache(maxsize=8)
def pair_morphs(names: tuple[str, ...], patterns: tuple[tuple[str, str], ...]) -> MorphPairs:
    """Pairs by the patterns that tell the joints' sides, else by common words for left and right in the names."""
    known = frozenset(names)
    right: dict[str, str] = {}
    left: dict[str, str] = {}
    bases: dict[str, str] = {}
    single = set()
    for name in names:
        if name in right or name in left:
            continue
        pairs = list(mirrored_names(name, patterns))
        one, other, base = next((pair for pair in pairs if {pair[0], pair[1]} <= known - {*right, *left}), ("", "", ""))
        if one:
            right[one], left[other] = other, one
            if base and base not in known:
                bases.setdefault(base, one)
        elif pairs:
            single.add(name)
    return MorphPairs(right, left, bases, frozenset(single - {*right, *left}))


def mirrored_names(name: str, patterns: tuple[tuple[str, str], ...]) -> Iterator[tuple[str, str, str]]:
    """What a name and that of its partner could be, left and right, and the name that both share; "" where a word for
    the side in the name tells, and not a pattern."""
    for left, right in patterns:
        yield from ((name, other, base) for other, base in counterparts(name, left, right))
        yield from ((other, name, base) for other, base in counterparts(name, right, left))
    for start, word, opposite in side_words(name):
        yield name, name[:start] + opposite + name[start + len(word) :], ""
    for start, word, opposite in side_words(name, _RIGHT_WORDS):
        yield name[:start] + opposite + name[start + len(word) :], name, ""


def has_morph_pairs(outline: ModelOutline | None, patterns: tuple[tuple[str, str], ...]) -> bool:
    """Whether any morph targets of a model mirror each other, so that a character without pairs of joints has sides."""
    return outline is not None and bool(pair_morphs(outline.all_morph_targets, patterns).right)
