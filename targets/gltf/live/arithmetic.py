"""The operations that drivers are made of, as functions over a builder: section "Math Operations" of KHR_interactivity.

Only operations that many engines have are used, and none whose arithmetic the specification leaves open. A number that
is given where a vector is expected stands for a vector of that number. What would change nothing is not built.
"""

from __future__ import annotations

from collections.abc import Sequence

from plica.targets.gltf.live.graph import VECTORS, Argument, GraphBuilder, Inline, Output, Type

Operand = Output | float | Sequence[float]


def constant(value: float | Sequence[float], like: Type = "float") -> Inline:
    """A constant: a number (of a vector type: in every component), or a vector of 2 to 4 numbers."""
    if isinstance(value, int | float):
        return Inline(like, (float(value),) * (1 if like == "float" else int(like[-1])))
    numbers = tuple(float(part) for part in value)
    return Inline(VECTORS[len(numbers)], numbers)


class Arithmetic:
    """Builds nodes that compute."""

    def __init__(self, builder: GraphBuilder) -> None:
        self.builder = builder

    # ---- component by component

    def add(self, a: Operand, b: Operand) -> Output:
        """a + b."""
        return self._two("math/add", a, b, 0.0)

    def subtract(self, a: Operand, b: Operand) -> Output:
        """a - b."""
        return self._two("math/sub", a, b, 0.0)

    def multiply(self, a: Operand, b: Operand) -> Output:
        """a * b."""
        return self._two("math/mul", a, b, 1.0)

    def divide(self, a: Operand, b: Operand) -> Output:
        """a / b."""
        return self._two("math/div", a, b, 1.0)

    def least(self, a: Operand, b: Operand) -> Output:
        """The smaller one."""
        return self._two("math/min", a, b)

    def greatest(self, a: Operand, b: Operand) -> Output:
        """The larger one."""
        return self._two("math/max", a, b)

    def arc_tangent_of(self, y: Operand, x: Operand) -> Output:
        """The angle of the point (x, y)."""
        return self._two("math/atan2", y, x)

    def applied(self, function: str, a: Output) -> Output:
        """A function of one argument, named as the specification does: `abs`, `sqrt`, `atan`, `saturate`."""
        return self.builder.value(f"math/{function}", a.type, {"a": a})

    # ---- vectors

    def dot(self, a: Output, b: Output | Sequence[float]) -> Output:
        """The scalar product."""
        return self.builder.value("math/dot", "float", {"a": a, "b": _argument(b, a.type)})

    def length(self, a: Output) -> Output:
        """The Euclidean length."""
        return self.builder.value("math/length", "float", {"a": a})

    def normalised(self, a: Output) -> Output:
        """At length 1; null where it is null."""
        return self.builder.value("math/normalize", a.type, {"a": a})

    def combined(self, *parts: Output | float) -> Output:
        """A vector of 2 to 4 numbers."""
        values = {name: _argument(part, "float") for name, part in zip("abcd", parts, strict=False)}
        return self.builder.value(f"math/combine{len(parts)}", VECTORS[len(parts)], values)

    def separated(self, a: Output, factors: Sequence[float]) -> list[Output]:
        """The numbers of a vector, each times its factor; by products, as not every engine takes a vector apart."""
        size = len(factors)
        units = ([factors[own] if place == own else 0.0 for place in range(size)] for own in range(size))
        return [self.dot(a, unit) for unit in units]

    def transformed(self, a: Output, rows: Sequence[Sequence[float]]) -> Output:
        """A matrix, given by its rows, times a vector of 4."""
        columns = tuple(float(row[column]) for column in range(4) for row in rows)
        return self.builder.value("math/transform", "float4", {"a": a, "b": Inline("float4x4", columns)})

    def rotated(self, a: Output | Sequence[float], rotation: Output) -> Output:
        """A vector turned by a unit quaternion."""
        values = {"a": _argument(a, "float3"), "rotation": rotation}
        return self.builder.value("math/rotate3D", "float3", values)

    def turned(self, a: Output | Sequence[float], b: Output) -> Output:
        """The quaternion product a b."""
        return self.builder.value("math/quatMul", "float4", {"a": _argument(a, "float4"), "b": b})

    def conjugate(self, a: Output) -> Output:
        """The conjugate of a quaternion."""
        return self.builder.value("math/quatConjugate", "float4", {"a": a})

    # ---- decisions

    def compared(self, relation: str, a: Output, b: Output | float) -> Output:
        """Whether a relation holds, named as the specification does: `lt`, `le`, `gt`, `ge`."""
        return self.builder.value(f"math/{relation}", "bool", {"a": a, "b": _argument(b, "float")})

    def chosen(self, condition: Output, a: Operand, b: Operand) -> Output:
        """a where the condition holds, else b."""
        first, second = _alike(a, b)
        return self.builder.value("math/select", first.type, {"condition": condition, "a": first, "b": second})

    # ---- the file

    def read(self, pointer: str, result: Type) -> Output:
        """A property of the file's object model."""
        return self.builder.value("pointer/get", result, {}, {"pointer": (pointer,)})

    def _two(self, operation: str, a: Operand, b: Operand, neutral: float | None = None) -> Output:
        if isinstance(a, Output) and isinstance(b, int | float) and b == neutral:
            return a
        first, second = _alike(a, b)
        return self.builder.value(operation, first.type, {"a": first, "b": second})


def _argument(value: Operand, like: Type) -> Argument:
    return value if isinstance(value, Output) else constant(value, like)


def _alike(a: Operand, b: Operand) -> tuple[Argument, Argument]:
    """Both as arguments of one type, which an output or a vector among them decides."""
    outputs = [one.type for one in (a, b) if isinstance(one, Output)]
    vectors = [constant(one).type for one in (a, b) if not isinstance(one, Output | int | float)]
    of: Type = [*outputs, *vectors, "float"][0]
    return _argument(a, of), _argument(b, of)
