"""A declaration that is written out twice under one name: in the rounds of an `each`, or by two uses of a library."""

from __future__ import annotations

import re
from collections import ChainMap

from plica.diagnostics import Fix, Label
from plica.spec.scope import Scope, Variables
from plica.spec.symbols import Symbol, Symbols


def is_written_again(symbol: Symbol, scope: Scope, symbols: Symbols) -> bool:
    """Whether the same text declared the same name before; that is reported, once for all rounds."""
    earlier = next((one for one in symbols.named(symbol) if one.span == symbol.span), None)
    if earlier is None:
        return False
    if earlier.uses != scope.uses:
        first, again = next(
            (pair for pair in zip(earlier.uses, scope.uses, strict=False) if pair[0] != pair[1]),
            (symbol.span, scope.uses[-1] if scope.uses else symbol.span),
        )
        labels = [Label(first, "the first use"), Label(symbol.span, "declared by both")]
        scope.diagnostics.add_once("library-twice", again, labels=labels)
        return True
    written = symbol.span.source.text[symbol.span.start : symbol.span.end]
    varying = _varied(written, scope.variables)
    scope.diagnostics.add_once(
        "name-not-varied", symbol.span, name=symbol.name, hint=f"write `{varying}`", fix=Fix(symbol.span, varying)
    )
    symbols.lost.add(symbol.kind, varying)
    return True


def _varied(name: str, variables: Variables) -> str:
    """A name with the variable of the innermost `each` in it: in braces where it stands, or before the rest."""
    variable = next(iter(variables.maps[0] if isinstance(variables, ChainMap) else variables), "")
    part = re.compile(rf"(?<![^_]){re.escape(variable)}(?![^_])")
    return part.sub(f"{{{variable}}}", name) if part.search(name) else f"{{{variable}}}_{name}"
