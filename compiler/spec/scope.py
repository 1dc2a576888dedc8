"""Placeholders and quantities: what a declaration's words stand for where it was written out."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from types import MappingProxyType

from plica import limits
from plica.diagnostics import Diagnostics, Fix, Label
from plica.diagnostics.suggest import listed
from plica.named_tuples import NamedTuple
from plica.source import Source, Span
from plica.spec.budget import Budget
from plica.syntax import nodes
from plica.units import PLAIN, UNITS, Dimension, Unit, units_of

_PLACEHOLDER = re.compile(r"\{([^\W\d]\w*)\}")
_NAME = re.compile(r"[^\W\d]\w*")

Values = tuple[nodes.Value, ...]


class ScopeVariable(NamedTuple):
    """A parameter or an `each` variable: its values, where it was declared and given them, whether anything used it.

    `around`: the variables where an argument was written, which its values may be made of. `places`: where each value
    is written. `known`: whether the values are known; where they are not, after a mistake that was reported or in a
    library by itself, nothing is said of what they are put in, and their placeholder stays in names and texts.
    """

    values: Values
    span: Span
    given: Span
    used: list[bool]
    around: Variables = MappingProxyType({})
    places: tuple[Span, ...] = ()
    known: bool = True


Variables = Mapping[str, ScopeVariable]


class Blame(NamedTuple):
    """Where a mistake is told: the place that can be mended, and what led from there to where it shows."""

    span: Span
    labels: list[Label]


class Scope(NamedTuple):
    """The file that a declaration stands in, the variables around it, and the prefix of its library.

    `uses`: the `use` declarations through which it was written out, the outermost first.
    """

    source: Source
    variables: Variables
    prefix: str
    diagnostics: Diagnostics
    budget: Budget
    uses: tuple[Span, ...] = ()

    def span(self, node: nodes.Placed) -> Span:
        """The place of a node written in this scope's file."""
        return Span(self.source, node.start, node.end)

    def variable(self, name: str, span: Span) -> ScopeVariable | None:
        """The variable of a placeholder; None where its values are not known, with a diagnostic where there is none."""
        variable = self.variables.get(name)
        if variable is None:
            self.diagnostics.add(
                "unknown-placeholder",
                span,
                name=name,
                hint=self.diagnostics.near_hint(name, self.variables) or listed("variable", self.variables),
            )
        else:
            variable.used[0] = True
        if variable is None or not variable.known:
            self.diagnostics.say_nothing_of(self.source, f"{{{name}}}")
            return None
        return variable

    def fill(self, text: str, node: nodes.Placed, *, lenient: bool = False) -> str:
        """A text with its placeholders filled; `lenient` leaves unknown ones as they are (notes)."""
        if "{" not in text:
            return text

        def value(match: re.Match[str]) -> str:
            if (lenient and match[1] not in self.variables) or self.diagnostics.stopped:
                return match[0]
            variable = self.variable(match[1], self.span(node))
            if variable is None:
                return match[0]
            if len(variable.values) != 1:
                self._report_list(match[1], variable, self.span(node))
                return match[0]
            written = as_written(variable.values[0])
            return written if self.budget.spend(len(written), self.span(node)) else ""

        return _PLACEHOLDER.sub(value, text)

    def _report_list(self, name: str, variable: ScopeVariable, used: Span) -> None:
        """Tell of several values where one is wanted: at the argument that gives them, if one does."""
        count = len(variable.values)
        if variable.given.source is self.source:
            self.diagnostics.add_once("list-as-one-value", used, name=name, count=count)
        else:
            hint, labels = "give one value", [Label(used, "one value is wanted here")]
            self.diagnostics.add_once(
                "list-as-one-value", variable.given, hint=hint, labels=labels, name=name, count=count
            )
        self.diagnostics.say_nothing_of(self.source, f"{{{name}}}")

    def origins(self, text: str) -> list[Label]:
        """Where the values of a text's placeholders come from, for a mistake that lies in a value."""
        return [
            Label(self.variables[name].given, f"`{{{name}}}` is `{as_written(self.variables[name].values[0])}`")
            for name in dict.fromkeys(_PLACEHOLDER.findall(text))
            if name in self.variables and len(self.variables[name].values) == 1
        ]

    def blame(self, text: str, node: nodes.Placed) -> Blame:
        """Where to tell that a written text means nothing: where its value was given, if it is one placeholder."""
        span = self.span(node)
        given = self._given(text)
        return Blame(span, self.origins(text)) if given is None else Blame(given, [Label(span, "used here")])

    def _given(self, text: str) -> Span | None:
        """Where the value of a text that is one placeholder is written."""
        match = _PLACEHOLDER.fullmatch(text)
        variable = self.variables.get(match[1]) if match else None
        return variable.places[0] if variable is not None and len(variable.places) == 1 else None

    def name(self, node: nodes.Name) -> str:
        """A name with its placeholders filled; checked to be a name still."""
        filled = self.fill(node.text, node) if "{" in node.text else node.text
        if filled is not node.text and "{" not in filled and not _NAME.fullmatch(filled):
            self.diagnostics.add("not-a-name", self.span(node), text=filled)
        return self.fitting(filled, node)

    def full_name(self, node: nodes.Name) -> str:
        """The name of what is declared here, with the prefix of its library."""
        name = self.prefix + self.name(node)
        self.budget.spend(len(name), self.span(node))
        return name

    def fitting(self, name: str, node: nodes.Placed) -> str:
        """A name that is not too long; a diagnostic, and its beginning, where it is."""
        most = limits.in_force().name_characters
        if len(name) > most:
            values = {"count": f"{len(name)} characters", "limit": str(most), "name": limits.shown("name_characters")}
            self.diagnostics.add_filled("over-limit", self.span(node), {"what": "this name", **values})
        return name[:most]

    def amount(self, node: nodes.Amount, dimension: Dimension, what: str) -> float:
        """A quantity in the inside unit of `dimension`; a diagnostic (and 0) where it measures something else."""
        return self.amount_of(node, (dimension,), what)[0]

    def known_amount(self, node: nodes.Amount, dimension: Dimension, what: str) -> float | None:
        """A quantity like that of `amount`; None after a diagnostic, and where its value is not known."""
        known = self._amount_of(node, (dimension,), what)
        return None if known is None else known[0]

    def amount_of(self, node: nodes.Amount, dimensions: tuple[Dimension, ...], what: str) -> tuple[float, Dimension]:
        """A quantity that may measure one of several dimensions, and which of them it measures."""
        return self._amount_of(node, dimensions, what) or (0.0, dimensions[0])

    def amounts(self, written: Sequence[nodes.Amount], dimension: Dimension, what: str) -> list[float] | None:
        """Quantities of one fact; None after a diagnostic, which is one for all that measure something else."""
        wrong = [node for node in written if not self._measures(node, dimension)]
        labels = [Label(self.span(node), "and this one") for node in wrong[1:]]
        values: list[float] = []
        for node in written:
            if node in wrong[1:]:
                continue
            known = self._amount_of(node, (dimension,), what, labels)
            values += [] if known is None else [known[0]]
        return values if len(values) == len(written) else None

    def _measures(self, node: nodes.Amount, dimension: Dimension) -> bool:
        """Whether a quantity that is written out has a unit of a dimension; what a placeholder has is seen later."""
        return not isinstance(node, nodes.Quantity) or UNITS.get(node.unit, PLAIN).dimension is dimension

    def _amount_of(
        self, node: nodes.Amount, dimensions: tuple[Dimension, ...], what: str, others: Sequence[Label] = ()
    ) -> tuple[float, Dimension] | None:
        quantity = self._quantity(node)
        if quantity is None:
            return None
        unit = UNITS[quantity.unit] if quantity.unit else PLAIN
        value = quantity.number * unit.size
        if not -1e300 < value < 1e300:
            self.diagnostics.add("number-too-large", self.span(node))
            return None
        if unit.dimension in dimensions:
            return value, unit.dimension
        # Nothing of anything is nothing: a plain 0 is clear, but only a unit keeps mistakes out.
        self._report_dimension(node, quantity, unit, dimensions[0], what, others)
        return None

    def _report_dimension(
        self,
        node: nodes.Amount,
        quantity: nodes.Quantity,
        unit: Unit,
        wanted: Dimension,
        what: str,
        others: Sequence[Label],
    ) -> None:
        span, labels = self.blame(node.text, node) if isinstance(node, nodes.Name) else Blame(self.span(node), [])
        labels = [*labels, *others]
        written = _plain_number(quantity.number)
        if unit is PLAIN:
            usual = units_of(wanted)[0]
            self.diagnostics.add_once(
                "missing-unit",
                span,
                what=what,
                dimension=wanted.value,
                hint=f"write a unit: {', '.join(units_of(wanted))}",
                labels=labels,
                fix=Fix(span, f"{written} {usual}"),
            )
        elif wanted is Dimension.NUMBER:
            fix = Fix(span, written)
            self.diagnostics.add_once("unit-not-wanted", span, what=what, unit=quantity.unit, labels=labels, fix=fix)
        else:
            self.diagnostics.add_once(
                "wrong-dimension", span, what=what, dimension=wanted.value, unit=quantity.unit,
                given=unit.dimension.value, units=", ".join(units_of(wanted)), labels=labels,
            )  # fmt: skip

    def _quantity(self, node: nodes.Amount) -> nodes.Quantity | None:
        if isinstance(node, nodes.Quantity):
            return node
        match = _PLACEHOLDER.fullmatch(node.text)
        if match is None:
            self.diagnostics.add("not-a-quantity", self.span(node), text=node.text)
            return None
        variable = self.variable(match[1], self.span(node))
        if variable is None:
            return None
        if len(variable.values) != 1:
            self._report_list(match[1], variable, self.span(node))
            return None
        value = variable.values[0]
        if isinstance(value, nodes.Quantity):
            return value
        if not is_unfilled(value):
            span, labels = self.blame(node.text, node)
            self.diagnostics.add_once("not-a-quantity", span, text=node.text, labels=labels)
        return None


def has_unknown(text: str) -> bool:
    """Whether a text that was filled still holds a placeholder: one whose value is not known."""
    return "{" in text and _PLACEHOLDER.search(text) is not None


def is_unfilled(value: nodes.Value) -> bool:
    """Whether a value holds a placeholder whose value is not known."""
    return isinstance(value, nodes.Name | nodes.Text) and has_unknown(value.text)


def as_written(value: nodes.Value) -> str:
    """A value as text, to be put into a name or a path."""
    if isinstance(value, nodes.Name | nodes.Text):
        return value.text
    if isinstance(value, nodes.Quantity):
        return f"{_plain_number(value.number)}{value.unit}"
    return f"{as_written(value.first)}..{as_written(value.last)}"


def _plain_number(number: float) -> str:
    return str(int(number)) if number.is_integer() and abs(number) < 1e15 else repr(number)
