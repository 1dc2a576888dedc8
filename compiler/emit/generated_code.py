"""Statements of a generated program, and what a language is that writes them.

Targets that are programs share their statements (`plica.targets.python.source`) and differ in how they are written.
Expressions are texts that mean the same in all of these languages: sums and products of numbers and variables, calls,
elements in brackets. Whatever is written in another way in each goes through `Language`.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import ClassVar, NamedTuple, TypeAlias

Literal: TypeAlias = float | int | str | bool | tuple["Literal", ...] | None


class Note(NamedTuple):
    """A comment: a name, written as a literal."""

    names: tuple[str, ...]


class Assign(NamedTuple):
    """Variables or one element of an array, set to a value; several variables take the parts of a tuple."""

    names: tuple[str, ...]
    value: str


class Return(NamedTuple):
    """The end of a function, with its value."""

    value: str


class When(NamedTuple):
    """Statements that run where a condition holds, and those that run elsewhere."""

    condition: str
    then: tuple[Statement, ...]
    otherwise: tuple[Statement, ...] = ()


Statement: TypeAlias = Note | Assign | Return | When


def assign(name: str, value: str) -> Assign:
    """One variable or element set to a value."""
    return Assign((name,), value)


@dataclass(frozen=True)
class Language(ABC):
    """How a language writes what others write in another way.

    `spread`: what stands before a tuple whose parts become arguments. `indent`: of one step. `rest_pose`: an expression
    of the pose at rest.
    """

    spread: ClassVar[str]
    indent: ClassVar[str] = "    "
    rest_pose: ClassVar[str]

    @abstractmethod
    def literal(self, value: Literal) -> str:
        """A constant in ASCII: a number with the digits that read back exactly, a text, or a tuple of constants."""

    @abstractmethod
    def choice(self, cases: Iterable[tuple[str, str]], otherwise: str) -> str:
        """The value of the first case whose condition holds. Cases are pairs of condition and value."""

    @abstractmethod
    def is_not_zero(self, number: str) -> str:
        """The condition that a number is not 0; what is not a number is not 0 either."""

    @abstractmethod
    def function_name(self, words: str) -> str:
        """The name of a function of the module's own, of words."""

    @abstractmethod
    def constant_name(self, words: str) -> str:
        """The name of a constant of the module's own, of words."""

    @abstractmethod
    def constant(self, name: str, value: str) -> str:
        """The source that gives a constant its value."""

    @abstractmethod
    def function(self, name: str, parameters: Sequence[str], body: Sequence[Statement]) -> str:
        """The source of a function."""
