"""How Python writes the statements of a generated module."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar, assert_never

from plica.emit.generated_code import Assign, Language, Literal, Note, Return, Statement, When


@dataclass(frozen=True)
class PythonLanguage(Language):
    """Python 3.7 and later."""

    spread: ClassVar[str] = "*"
    rest_pose: ClassVar[str] = "_pose_of(_rest)"

    def literal(self, value: Literal) -> str:
        return ascii(value)

    def choice(self, cases: Iterable[tuple[str, str]], otherwise: str) -> str:
        return "".join(f"{value} if {condition} else " for condition, value in cases) + otherwise

    def is_not_zero(self, number: str) -> str:
        return number

    def function_name(self, words: str) -> str:
        return "_" + words.replace(" ", "_")

    def constant_name(self, words: str) -> str:
        return self.function_name(words).upper()

    def constant(self, name: str, value: str) -> str:
        return f"{name} = {value}"

    def function(self, name: str, parameters: Sequence[str], body: Sequence[Statement]) -> str:
        return "\n".join([f"def {name}({', '.join(parameters)}):", *self._lines(body, 1)])

    def _lines(self, statements: Sequence[Statement], depth: int) -> Iterator[str]:
        start = depth * self.indent
        for statement in statements:
            match statement:
                case Note():
                    yield f"{start}# {' from '.join(map(self.literal, statement.names))}"
                case Assign():
                    yield f"{start}{', '.join(statement.names)} = {statement.value}"
                case Return():
                    yield f"{start}return {statement.value}"
                case When():
                    yield f"{start}if {statement.condition}:"
                    yield from self._lines(statement.then, depth + 1)
                    if statement.otherwise:
                        yield f"{start}else:"
                        yield from self._lines(statement.otherwise, depth + 1)
                case _:
                    assert_never(statement)


PYTHON = PythonLanguage()
