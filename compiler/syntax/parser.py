"""Text to Document."""

from __future__ import annotations

import re
from typing import cast

from plica import limits
from plica.diagnostics import Diagnostics
from plica.source import Source, Span
from plica.syntax import automaton, nodes, recovery
from plica.syntax.builder import Run
from plica.units import UNITS

LANGUAGE_VERSION = 1
DEEPEST = 60  # blocks and parentheses inside one another; real specs need four

# Possessive (`++`, `*+`): what is taken is never given back, so no memory is needed to try again.
_COMMENT = re.compile(r'"(?:[^"\\\n]++|\\.)*+"|(//[^\n]*)')
_UNITS = "|".join(re.escape(unit) for unit in UNITS)
_VERSION = re.compile(rf"(?:\s++|//[^\n]*+(?:\n|$))*+plica[ \t]+(\d+)(?![\w.]|[ \t]*(?:{_UNITS})(?!\w))")


def comments_of(text: str) -> tuple[nodes.Comment, ...]:
    """All comments of a text, in order."""
    return tuple(
        nodes.Comment(match[1], match.start(1), match.end(1))
        for match in _COMMENT.finditer(text)
        if match[1] is not None
    )


def check_version(source: Source, diagnostics: Diagnostics) -> int | None:
    """The offset after the version line, or None where the file cannot be read by this version."""
    match = _VERSION.match(source.text)
    if match is None:
        # Nothing of it is quoted: what is no Plica text may hold secrets, and reports are read by many.
        diagnostics.add("missing-version", Span(source.withheld, 0, 0), version=LANGUAGE_VERSION)
        return None
    version = int(match[1]) if len(match[1]) < 9 else 10**9
    if not 1 <= version <= LANGUAGE_VERSION:
        name = "newer-version" if version > LANGUAGE_VERSION else "unknown-version"
        place = Span(source, match.start(1), match.end(1))
        diagnostics.add(name, place, version=match[1][:20], known=LANGUAGE_VERSION)
        return None
    return match.end()


def is_too_long(source: Source, diagnostics: Diagnostics) -> bool:
    """Whether a text has more characters than a file may have bytes; then with a diagnostic."""
    most = limits.in_force().spec_bytes
    if len(source.text) <= most:
        return False
    values = {"file": source.path, "limit": limits.size(most), "name": limits.shown("spec_bytes")}
    diagnostics.add_filled("file-too-large", None, values)
    return True


def readable(source: Source, diagnostics: Diagnostics) -> tuple[int, str] | None:
    """The offset after the version line and the blanked text; None, with a diagnostic, where parsing cannot begin."""
    if is_too_long(source, diagnostics):
        return None
    after = check_version(source, diagnostics)
    if after is None:
        return None
    bare = recovery.blanked(source.text)
    depth, deepest = recovery.deepest(bare)
    if depth > DEEPEST:
        diagnostics.add("nested-too-deeply", Span(source, deepest, deepest + 1), most=DEEPEST)
        return None
    return after, bare


def parse(source: Source, diagnostics: Diagnostics) -> nodes.Document:
    """Parse one file. Mistakes become diagnostics; the declarations without one are kept all the same."""
    beginning = readable(source, diagnostics)
    if beginning is None:
        return nodes.Document(source, (), ())
    after, bare = beginning
    run = cast("Run | None", automaton.read(source.text))
    if run is None:
        from plica.syntax.piece_by_piece import (
            parse_mistaken,  # which loads Lark, and what texts without mistakes need not
        )

        return parse_mistaken(source, bare, after, diagnostics)
    return nodes.Document(source, run.items, comments_of(source.text))
