"""A parser's complaint in the user's words."""

from __future__ import annotations

import re
from functools import cache

from lark.exceptions import UnexpectedCharacters, UnexpectedInput, UnexpectedToken

from plica.diagnostics import Diagnostics, Fix
from plica.diagnostics.suggest import closest
from plica.source import Source, Span
from plica.syntax import keywords
from plica.syntax.habits import Advice, Stop, advice_on
from plica.syntax.parser_tables import parser
from plica.units import UNITS

# Terminals that are not a fixed word, in plain English.
_PLAIN = {
    "NAME": "a name",
    "STRING": "a quoted text",
    "QUANTITY": "a number",
    "AXIS": "an axis (x, y, z)",
    "SIDE": "a side (both, left, right)",
    "OWN_SIDE": "a side (left, right)",
    "RULE": "the name of a diagnostic",
    "LBRACE": "`{`",
    "RBRACE": "`}`",
    "LPAR": "`(`",
    "RPAR": "`)`",
    "COMMA": "`,`",
    "EQUAL": "`=`",
    "$END": "another declaration",
}
_BLANKS = " \t\f\r\n"  # what the lexer skips; other spaces are mistakes
_DESCRIBED = {
    _PLAIN["AXIS"]: ("x", "y", "z"),
    _PLAIN["SIDE"]: ("both", "left", "right"),
    _PLAIN["OWN_SIDE"]: ("left", "right"),
}
_SKIPPED = {"PLACEHOLDER", "COMMENT", "WHITESPACE"}
_EVERYWHERE = {"accept", "note", "photo", "renamed"}  # allowed in every block: only noise in a list
_MOST_WORDS = 18
_WORD = re.compile(r"\d+(?:\.\d+)?(?!\w)|[\w{}]+")
_QUOTED = re.compile(r'"(?:[^"\\\n]++|\\.)*+"')
_CHOICES = re.compile(r"\(\?:([a-z|-]+)\)")
_SPELLED_UNITS = {
    "°": "deg",
    "º": "deg",
    "degree": "deg",
    "degrees": "deg",
    "radian": "rad",
    "radians": "rad",
    "turns": "turn",
    "millimetre": "mm",
    "millimetres": "mm",
    "millimeter": "mm",
    "millimeters": "mm",
    "centimetre": "cm",
    "centimetres": "cm",
    "centimeter": "cm",
    "centimeters": "cm",
    "metre": "m",
    "metres": "m",
    "meter": "m",
    "meters": "m",
    "inch": "in",
    "inches": "in",
    "percent": "%",
}


@cache
def _patterns() -> dict[str, str]:
    """What each terminal matches; a keyword is itself."""
    return {terminal.name: terminal.pattern.value for terminal in parser().terminals}


@cache
def _keywords() -> frozenset[str]:
    return frozenset(pattern for pattern in _patterns().values() if pattern.isalpha())


def expected_terminals(error: UnexpectedInput) -> set[str]:
    """The names of the terminals that could have stood where the parser stopped."""
    if isinstance(error, UnexpectedToken):
        return set(error.accepts or error.expected)
    if isinstance(error, UnexpectedCharacters):
        return set(error.allowed or ())
    return set()


def offset_of(error: UnexpectedInput, end: int) -> int:
    """Where the parser stopped; `end` for a text that is at its end."""
    if isinstance(error, UnexpectedToken):
        return end if error.token.type == "$END" else int(error.token.start_pos or 0)
    if isinstance(error, UnexpectedCharacters):
        return int(error.pos_in_stream or 0)
    return end


def _expected_words(expected: set[str]) -> tuple[list[str], list[str]]:
    """The fixed words and the plain descriptions of the terminals that could have stood here."""
    words: list[str] = []
    others: list[str] = []
    for terminal in sorted(expected - _SKIPPED):
        pattern = _patterns().get(terminal, "")
        choices = _CHOICES.match(pattern)
        if terminal in _PLAIN:
            others.append(_PLAIN[terminal])
        elif choices:
            words.extend(choices[1].split("|"))
        elif pattern:
            words.append(pattern.replace("\\", ""))
    return sorted(set(words)), others or ([] if words else [_PLAIN["$END"]])


def _listed(words: list[str], others: list[str]) -> str:
    if set(words) - _EVERYWHERE:
        words = [word for word in words if word not in _EVERYWHERE]
    shown = [f"`{word}`" for word in words] + others
    if len(shown) > _MOST_WORDS:
        shown = [*shown[: _MOST_WORDS - 1], "more"]
    return shown[0] if len(shown) == 1 else ", ".join(shown[:-1]) + " or " + shown[-1]


def _word_span(source: Source, offset: int, end: int) -> Span:
    """The whole word or quoted text at an offset, also where the lexer stopped in a word's middle."""
    text = source.text
    quoted = _QUOTED.match(text, offset, end)
    if quoted:
        return Span(source, offset, quoted.end())
    start = offset
    while start > 0 and text[start - 1].isalpha() and _WORD.match(text, offset, end):
        start -= 1
    match = _WORD.match(text, start, end)
    stop = match.end() if match and match.end() > offset else min(offset + 1, end)
    return Span(source, start, stop)


def report(error: UnexpectedInput, source: Source, end: int, diagnostics: Diagnostics) -> None:
    """Add the diagnostic for a failed parse of the text that ends at `end`."""
    offset = offset_of(error, end)
    words, others = _expected_words(expected_terminals(error))
    while offset < end and source.text[offset] in _BLANKS:
        offset += 1
    if offset >= end:
        place = len(source.text[:end].rstrip())
        span = Span(source, max(0, place - 1), place)
        hint = "a declaration or a fact ends too early here: write what is missing, or take it out"
        diagnostics.add("unexpected-end", span, expected=_listed(words, others), hint=hint)
    elif others == ["`{`"] and not words and _is_on_later_line(source, offset):
        place = len(source.text[:offset].rstrip())
        diagnostics.add(
            "unexpected-end", Span(source, place - 1, place), expected="`{` on this line", hint="write `{` at its end"
        )
    else:
        _report_word(source, offset, end, words, others, diagnostics)


def _is_on_later_line(source: Source, offset: int) -> bool:
    before = source.text[:offset]
    return "\n" in before[len(before.rstrip()) :]


def _report_word(
    source: Source, offset: int, end: int, words: list[str], others: list[str], diagnostics: Diagnostics
) -> None:
    span = _word_span(source, offset, end)
    text = source.text[span.start : span.end]
    if text == '"':
        line_end = source.text.find("\n", offset)
        stop = line_end if line_end > 0 else end
        diagnostics.add("unclosed-text", Span(source, offset, len(source.text[:stop].rstrip())))
        return
    is_mistyped = (text[:1].isalpha() and text not in _keywords()) or text[:1] in "._"
    near = closest(text, [*words, *_described_words(others)]) if is_mistyped else None
    if near is None and _report_unit(source, span, text, diagnostics):
        return
    advice = _advice(Stop(source, span, end, frozenset([*(f"`{word}`" for word in words), *others])), near)
    found = source.text[advice.span.start : advice.span.end]
    diagnostics.add(
        "unexpected-text",
        advice.span,
        found=_shown(found),
        expected=_listed(words, others),
        hint=advice.hint,
        fix=advice.fix,
    )


def _advice(stop: Stop, near: str | None) -> Advice:
    side = _side_hint(stop)
    if side:
        return Advice(side, stop.span)
    if near:
        return Advice(f"did you mean `{near}`?", stop.span, Fix(stop.span, near))
    return advice_on(stop)


def _described_words(others: list[str]) -> list[str]:
    """The words that stand behind the descriptions of what could have stood there."""
    if _PLAIN["$END"] in others:
        return list(keywords.words().declarations)
    return [word for described in others for word in _DESCRIBED.get(described, ())]


def _shown(text: str) -> str:
    short = text if len(text) <= 40 else text[:39] + "…"
    return "".join(c if c.isprintable() else f"U+{ord(c):04X}" for c in short)


def _report_unit(source: Source, span: Span, text: str, diagnostics: Diagnostics) -> bool:
    """Report a word right after a number as a unit that does not exist; False where it is no such word."""
    before = source.text[max(0, span.start - 40) : span.start]
    follows_number = re.search(r"(?:^|[^\w])[+-]?\d*\.?\d+[ \t]*$", before)
    is_word = text.isalpha() and text not in _keywords()
    if not follows_number or not (is_word or text in _SPELLED_UNITS):
        return False
    near = _SPELLED_UNITS.get(text.casefold()) or closest(text, UNITS)
    hint = f"did you mean `{near}`?" if near else None
    diagnostics.add("unknown-unit", span, unit=text, hint=hint, fix=Fix(span, near) if near else None)
    return True


def _side_hint(stop: Stop) -> str | None:
    """Help for `driver left elbow {`, where the side was read as the name, and for `follows both elbow`."""
    side, name = re.search(r"\b(both|left|right)[ \t]+$", stop.before), stop.found
    if side and side[1] == "both" and "`.`" in stop.expected and name[:1].isalpha():
        return f"what is for both names no side: each side takes its own `{name}`"
    if side and _PLAIN["LBRACE"] in stop.expected and name[:1].isalpha() and name not in keywords.words().all:
        return f"the side stands after the name: `{name} {side[1]}`"
    return None
