"""What the names of a family of joints have in common: a text with one placeholder, and what stands for it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final, NamedTuple

from plica.start.name_words import is_plain_name, plain_name, writable
from plica.start.spec_text import joint_text
from plica.syntax.builder import encode_text

_TOKEN: Final = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|\d+|[^A-Za-z\d]+")


class NameTemplate(NamedTuple):
    """The texts before and after the word that differs, and the words in the order of the joints."""

    before: str
    after: str
    values: tuple[str, ...]

    def joint(self, variable: str) -> str:
        """The joint's name as the language writes it, with a placeholder."""
        plain = all(is_plain_name(f"{self.before}{value}{self.after}") for value in self.values)
        text = f"{self.before}{{{variable}}}{self.after}"
        return text if plain else encode_text(text)

    def name(self, variable: str) -> str:
        """What declarations are called after, with a placeholder."""
        return _plain(self.before) + f"{{{variable}}}" + _plain(self.after)

    def names(self) -> tuple[str, ...]:
        """What they are called after, written out."""
        return tuple(f"{_plain(self.before)}{value}{_plain(self.after)}" for value in self.values)

    @property
    def numbers(self) -> tuple[int, ...] | None:
        """The values, where they are numbers that follow each other, without zeros before them."""
        if not all(value.isdecimal() and value == str(int(value)) for value in self.values):
            return None
        found = tuple(int(value) for value in self.values)
        return found if found == tuple(range(found[0], found[0] + len(found))) else None

    @property
    def listed(self) -> str:
        """The values as an `each` has them."""
        numbers = self.numbers
        if numbers is not None and len(numbers) > 1:
            return f"{numbers[0]} .. {numbers[-1]}"
        return ", ".join(map(joint_text, self.values))


def template_of(names: Sequence[str]) -> NameTemplate | None:
    """The template of names that differ in one word; whole names differ where they are plain; else None."""
    if len(set(names)) != len(names) or len(names) < 2 or not all(map(writable, names)):
        return None
    found = _one_word(names) or NameTemplate("", "", tuple(names))
    fits = all(
        re.fullmatch(r"\w+", value) and plain_name(base, "joint") == name
        for base, value, name in zip(names, found.values, found.names(), strict=True)
    )
    return found if fits else None


def _one_word(names: Sequence[str]) -> NameTemplate | None:
    tokens = [_TOKEN.findall(name) for name in names]
    if len({len(one) for one in tokens}) != 1:
        return None
    differing = [place for place, words in enumerate(zip(*tokens, strict=True)) if len(set(words)) > 1]
    if len(differing) != 1:
        return None
    place = differing[0]
    values = tuple(one[place] for one in tokens)
    return NameTemplate("".join(tokens[0][:place]), "".join(tokens[0][place + 1 :]), values)


def _plain(text: str) -> str:
    return re.sub(r"\W+", "_", text)
