"""How JavaScript writes the statements of a generated module."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar, assert_never

from plica.emit.generated_code import Assign, Language, Literal, Note, Return, Statement, When
from plica.foreign import script_literal


@dataclass(frozen=True)
class JavaScriptLanguage(Language):
    """ECMAScript 2020 and later, as a module."""

    spread: ClassVar[str] = "..."
    indent: ClassVar[str] = "  "
    rest_pose: ClassVar[str] = "poseOf(rest)"

    def literal(self, value: Literal) -> str:
        return script_literal(value)

    def choice(self, cases: Iterable[tuple[str, str]], otherwise: str) -> str:
        return "".join(f"{condition} ? {value} : " for condition, value in cases) + otherwise

    def is_not_zero(self, number: str) -> str:
        return f"{number} !== 0"

    def function_name(self, words: str) -> str:
        first, *others = words.split()
        return first + "".join(word.capitalize() for word in others)

    def constant_name(self, words: str) -> str:
        return words.replace(" ", "_").upper()

    def constant(self, name: str, value: str) -> str:
        return f"const {name} = {value};"

    def function(self, name: str, parameters: Sequence[str], body: Sequence[Statement]) -> str:
        variables = dict.fromkeys(_variables(body))
        declared = [f"{self.indent}let {', '.join(variables)};"] if variables else []
        return "\n".join([f"function {name}({', '.join(parameters)}) {{", *declared, *self._lines(body, 1), "}"])

    def _lines(self, statements: Sequence[Statement], depth: int) -> Iterator[str]:
        start = depth * self.indent
        for statement in statements:
            match statement:
                case Note():
                    yield f"{start}// {' from '.join(map(self.literal, statement.names))}"
                case Assign(names=(name,)):
                    yield f"{start}{name} = {statement.value};"
                case Assign():
                    yield f"{start}[{', '.join(statement.names)}] = {statement.value};"
                case Return():
                    yield f"{start}return {statement.value};"
                case When():
                    yield f"{start}if ({statement.condition}) {{"
                    yield from self._lines(statement.then, depth + 1)
                    if statement.otherwise:
                        yield f"{start}}} else {{"
                        yield from self._lines(statement.otherwise, depth + 1)
                    yield f"{start}}}"
                case _:
                    assert_never(statement)


def _variables(statements: Sequence[Statement]) -> Iterator[str]:
    """The names of the variables that statements set; elements of arrays are none."""
    for statement in statements:
        if isinstance(statement, Assign):
            yield from (name for name in statement.names if name.isidentifier())
        elif isinstance(statement, When):
            yield from _variables((*statement.then, *statement.otherwise))


JAVASCRIPT = JavaScriptLanguage()
