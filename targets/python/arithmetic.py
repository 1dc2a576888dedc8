"""Python expressions with their constants written in; terms that are 0 are left out, which changes no result.

Only numbers and the generator's own variable names enter these texts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

Term = tuple[float, str]
XYZ = ("x", "y", "z")


def number(value: float) -> str:
    """A float with the digits that read back exactly."""
    return repr(float(value))


def total(terms: Iterable[Term]) -> str:
    """The sum of factor * variable; "" where every factor is 0."""
    text = ""
    for factor, variable in terms:
        if factor == 0.0:
            continue
        size = abs(factor)
        product = variable if size == 1.0 else f"{number(size)} * {variable}"
        if not text:
            text = product if factor > 0 else f"-{product}"
        else:
            text += f" + {product}" if factor > 0 else f" - {product}"
    return text


def grouped(*parts: str) -> str:
    """The sum of partial sums, each computed on its own first; "0.0" where all are empty."""
    present = [part for part in parts if part]
    if len(present) < 2:
        return present[0] if present else "0.0"
    return " + ".join(f"({part})" for part in present)


def dot(factors: Sequence[float], variables: Sequence[str]) -> str:
    """A scalar product with a constant vector."""
    return total(zip(factors, variables, strict=True)) or "0.0"


def turn_component(rest: Sequence[float], component: str) -> str:
    """One component of conj(rest) * (x, y, z, w).

    The terms stand in pairs that cancel exactly where (x, y, z, w) is `rest`, so that the rest pose reads exactly 0.
    """
    rx, ry, rz, rw = rest
    pairs: dict[str, tuple[tuple[Term, Term], tuple[Term, Term]]] = {
        "x": (((rw, "x"), (-rx, "w")), ((rz, "y"), (-ry, "z"))),
        "y": (((rw, "y"), (-ry, "w")), ((rx, "z"), (-rz, "x"))),
        "z": (((rw, "z"), (-rz, "w")), ((ry, "x"), (-rx, "y"))),
        "w": (((rw, "w"), (rx, "x")), ((ry, "y"), (rz, "z"))),
    }
    return grouped(*(total(pair) for pair in pairs[component]))


def less(value: str, constant: float) -> str:
    """value - constant, without the subtraction where the constant is 0."""
    if constant == 0.0:
        return value
    return f"{value} - {number(constant)}" if constant > 0 else f"{value} + {number(-constant)}"


def called(function: str, *arguments: str) -> str:
    """A call."""
    return f"{function}({', '.join(arguments)})"
