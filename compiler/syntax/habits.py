"""Help for text that cannot stand where it does: how Plica writes what was most likely meant.

Most such text is a habit from another notation (`#`, `;`, `=` after a word, curly quotes, ...) or lacks one thing right
before it. Each habit is an expression that must match where the parser stopped, and what to write instead.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from functools import cache
from typing import Final

from plica.diagnostics import Fix
from plica.named_tuples import NamedTuple
from plica.source import Source, Span
from plica.syntax.keywords import terminal_words, words
from plica.syntax.parser_tables import parser

RANGE: Final = "`..`"
COMMA: Final = "`,`"
EQUALS: Final = "`=`"
OPENING: Final = "`{`"
NAME: Final = "a name"
TEXT: Final = "a quoted text"
NUMBER: Final = "a number"
AXIS: Final = "an axis (x, y, z)"
DECLARATION: Final = "another declaration"


class Stop(NamedTuple):
    """Where the parser stopped: the word there, where the declaration ends, and what could have stood there.

    `expected`: fixed words in backquotes and descriptions of all else.
    """

    source: Source
    span: Span
    end: int
    expected: frozenset[str]

    @property
    def found(self) -> str:
        """The word or sign there."""
        return self.source.text[self.span.start : self.span.end]

    @property
    def before(self) -> str:
        """The end of the text before it."""
        return self.source.text[max(0, self.span.start - 200) : self.span.start]

    def match(self, pattern: re.Pattern[str]) -> re.Match[str] | None:
        """What an expression matches there."""
        return pattern.match(self.source.text, self.span.start, self.end)


class Advice(NamedTuple):
    """What to write instead, the place that this is about, and the change that does it, where one is sure."""

    hint: str
    span: Span
    fix: Fix | None = None


class _Habit(NamedTuple):
    """`pattern` is what is written; `applies` looks at where. `replacement`: a template for `re.Match.expand`."""

    pattern: re.Pattern[str]
    hint: str
    replacement: str | None = None
    applies: Callable[[Stop], bool] = lambda stop: True


def _wants(*expected: str) -> Callable[[Stop], bool]:
    return lambda stop: stop.expected == frozenset(expected)


def _begins_line(stop: Stop) -> bool:
    return not stop.before.rpartition("\n")[2].strip()


def _follows_digit(stop: Stop) -> bool:
    return stop.before[-1:].isdigit()


def _may_be_combined(stop: Stop) -> bool:
    return "`(`" in stop.expected or re.search(r"\bcombine\b[^\n]*\)[ \t]*$", stop.before) is not None


def _with_is_missing(stop: Stop) -> bool:
    return "`with`" in stop.expected


def _follows_comma(stop: Stop) -> bool:
    return stop.before.rstrip().endswith(",")


def _follows_quote(stop: Stop) -> bool:
    return re.search(r'"[^"\n]*[^\s"]*"$|"[^"\n]+ "$', stop.before) is not None


_QUOTES: Final = "“”„‟«»‘’‚`'"
_HABITS: Final = (
    _Habit(re.compile(r"#+"), "a comment begins with `//`", "//"),
    _Habit(re.compile(r"/\*"), "a comment is `//` and the rest of its line; write `//` before each line of it"),
    _Habit(re.compile(r"\*/"), "a comment is `//` and the rest of its line; it has no end sign"),
    _Habit(re.compile(r"--+"), "a comment begins with `//`", "//", _begins_line),
    _Habit(re.compile(r"<!--"), "a comment begins with `//`", "//"),
    _Habit(
        re.compile(r"(?:to|until|through|and|till|-+|[–—−]|…|:|,)(?!\w)"),
        "a span is written with two dots: `0 deg .. 60 deg`",
        "..",
        _wants(RANGE),
    ),
    _Habit(
        re.compile(r"\.+"),
        "a span is written with two dots: `0 deg .. 60 deg`",
        "",
        lambda stop: stop.before.endswith(".."),
    ),
    _Habit(
        re.compile(rf"[{_QUOTES}]([^{_QUOTES}\n]*)[{_QUOTES}]"), "quotes are the plain sign `\"`", r'"\1"'
    ),
    _Habit(re.compile(rf"[{_QUOTES}]"), "quotes are the plain sign `\"`"),
    _Habit(re.compile(r","), "decimals are written with a point, such as `0.5`", ".", _follows_digit),
    _Habit(re.compile(r","), "nothing stands between facts: write no `,` after the last value of one", ""),
    _Habit(
        re.compile(r"\.+"), "a span has two ends: `0 deg .. 60 deg`",
        applies=lambda stop: bool(re.search(r"\.\.[^\n]*$", stop.before)),
    ),
    _Habit(re.compile(r"[<>≤≥±~=]+"), "a limit is written in words: `within 3 %`, `at most 45 %`, `at least 2 mm`",
           applies=lambda stop: bool(re.search(r"\bexpect\b[^\n]*$", stop.before))),
    _Habit(
        re.compile(r"\$\{?|<(?=\w+>)|%(?=\w)|@"), "what stands for another value is a name in braces, such as `{curl}`"
    ),
    _Habit(re.compile(r"\("), "points of a curve stand without parentheses: `0 0, 0.5 0.35, 1 1`",
           applies=lambda stop: bool(re.search(r"\bcurve[ \t]+$", stop.before))),
    _Habit(re.compile(r"[)\]]"), "a list ends without a comma", applies=_follows_comma),
    _Habit(re.compile(r"\{"), "write `with` before the values that a library is given", "with {", _with_is_missing),
    _Habit(re.compile(r"\w+"), 'a quote inside a text is written `\\"`', applies=_follows_quote),
    _Habit(re.compile(r'"([^\W\d]\w*)"'), "a name stands without quotes", r"\1", _wants(NAME)),
    _Habit(re.compile(r"\d"), "strengths are combined by their names, without numbers",
           applies=lambda stop: bool(re.search(r"\bcombine\b[^\n]*[(,][ \t]*$", stop.before))),
    _Habit(re.compile(r";"), "facts and declarations need nothing between them: write no `;`", ""),
    _Habit(re.compile(r":=?"), "a value is given with `=`", " =", _wants(EQUALS)),
    _Habit(re.compile(r":=?|->"), "a fact is its word and then its values, such as `span 0 deg .. 60 deg`", ""),
    _Habit(
        re.compile(r"=+"),
        "what is declared stands in a block: write `{` and one fact in each line",
        applies=lambda stop: OPENING in stop.expected,
    ),
    _Habit(re.compile(r"=+"), "a fact is its word and then its values, such as `span 0 deg .. 60 deg`", ""),
    _Habit(
        re.compile(r"\{"), "write `=` and then the value, such as `= product(index_base, middle_base)`",
        applies=_wants(EQUALS),
    ),
    _Habit(re.compile(r"[(\[<]"), "facts stand in braces: `{` before them and `}` after", "{",
           lambda stop: OPENING in stop.expected),
    _Habit(re.compile(r"[\[\]]"), "a list is written without brackets, such as `index, middle, ring`", ""),
    _Habit(
        re.compile(r"[-*+/&|<>!]"),
        "strengths are combined by name, such as `product(a, b)`, `sum(a, b)` or `greatest(a, b)`",
        applies=_may_be_combined,
    ),
    _Habit(re.compile(r"[−–—]"), "the sign of a number is the plain `-`", "-"),
    _Habit(
        re.compile(r"-"),
        "a name holds letters, digits and `_`: write `_` in place of `-`",
        "_",
        lambda stop: stop.before[-1:].isalnum(),
    ),
    _Habit(
        re.compile(r"\\"), "text and names hold no `\\` outside quotes; in quotes, folders are divided by `/`"
    ),
    _Habit(
        re.compile(r"(?:for|foreach|loop|repeat|every|all)\b"),
        "what is written once for several names is `each NAME in A, B, C { ... }`",
        applies=lambda stop: DECLARATION in stop.expected or stop.expected == {"`each`"},
    ),
    _Habit(
        re.compile(r"(?:import|include|require|from|load)\b"),
        'a library is taken in with `use "library/NAME.plica"`',
        applies=lambda stop: DECLARATION in stop.expected,
    ),
    _Habit(
        re.compile(r"(?:var|let|const|set|define|def|param|variable)\b"),
        "a library's value is `parameter NAME = VALUE`; whoever uses it gives another one after `with`",
        applies=lambda stop: DECLARATION in stop.expected,
    ),
)  # fmt: skip


def advice_on(stop: Stop) -> Advice:
    """How to write what was meant, as well as that can be known."""
    return _invisible(stop) or _habit(stop) or _misplaced(stop) or _missing(stop)


def _invisible(stop: Stop) -> Advice | None:
    """A space that is none of the plain ones, or a character without a width."""
    sign = stop.found[:1]
    category = unicodedata.category(sign) if sign else ""
    if category not in ("Zs", "Zl", "Zp", "Cf", "Cc"):
        return None
    span = Span(stop.source, stop.span.start, stop.span.start + 1)
    name = unicodedata.name(sign, f"U+{ord(sign):04X}").lower()
    if category.startswith("Z"):
        return Advice(f"this space is no plain one, but a {name} (U+{ord(sign):04X})", span, Fix(span, " "))
    return Advice(f"an invisible character stands here, {name} (U+{ord(sign):04X}): remove it", span, Fix(span, ""))


def _habit(stop: Stop) -> Advice | None:
    for habit in _HABITS:
        match = stop.match(habit.pattern)
        if match and habit.applies(stop):
            span = Span(stop.source, match.start(), match.end())
            fix = None if habit.replacement is None else Fix(span, match.expand(habit.replacement))
            return Advice(habit.hint, span, fix)
    return None


@cache
def homes_of_facts() -> dict[str, tuple[str, ...]]:
    """The declarations that hold facts which begin with a word."""
    homes: dict[str, dict[str, None]] = {}
    for rule in parser().rules:
        home = rule.origin.name.removesuffix("_fact")
        first = rule.expansion[0].name if rule.expansion else ""
        if home != rule.origin.name and home in words().declarations:
            for word in terminal_words().get(first, ()):
                homes.setdefault(word, {})[home] = None
    return {word: tuple(kinds) for word, kinds in homes.items()}


def _misplaced(stop: Stop) -> Advice | None:
    """A word of the language that belongs somewhere else."""
    if stop.found in homes_of_facts() and "`}`" in stop.expected:
        homes = " or ".join(f"`{kind}`" for kind in homes_of_facts()[stop.found])
        return Advice(f"`{stop.found}` is a fact of {homes}", stop.span)
    if stop.found in words().declarations and "`}`" in stop.expected:
        return Advice(f"`{stop.found}` begins a declaration: a `}}` is missing before it", stop.span)
    return None


def _missing(stop: Stop) -> Advice:
    """What most likely lacks right before the place."""
    word = re.search(r"(\w+)[ \t]+$", stop.before)
    is_name = stop.found[:1].isalpha() or stop.found[:1] == "_"
    if word and is_name and OPENING in stop.expected and word[1] not in words().all:
        span = Span(stop.source, stop.span.start - len(word[0]), stop.span.end)
        joined = f"{word[1]}_{stop.found}"
        return Advice(f"a name is one word, such as `{joined}`", stop.span, Fix(span, joined))
    if len(stop.expected) == 1:
        return _the_one(stop, next(iter(stop.expected)))
    fixed = sorted(stop.expected)
    if len(fixed) <= 3 and all(word.startswith("`") and word.strip("`").isalpha() for word in fixed):
        return Advice(f"write {', '.join(fixed[:-1])} or {fixed[-1]} {_where(stop)}", stop.span)
    if AXIS in stop.expected:
        return Advice("write an axis: `x`, `y`, `z`, or a direction such as `(0, 1, 0)`", stop.span)
    if COMMA in stop.expected and (is_name or stop.found[:1].isdigit() or stop.found.startswith('"')):
        return Advice(f"if the list before it goes on, write `,` before `{stop.found}`", stop.span)
    if NAME in stop.expected and stop.found in ("{", "="):
        return Advice(f"write a name before the `{stop.found}`", stop.span)
    if OPENING in stop.expected:
        return Advice("facts stand in braces: `{` before them and `}` after", stop.span)
    return Advice("look at what stands before it: a word, a comma or a brace may be missing there", stop.span)


def _where(stop: Stop) -> str:
    return f"before `{stop.found}`" if stop.found in words().all else "here"


_PLAIN_ADVICE: Final = {
    NAME: "a name is made of letters, digits and `_`, and does not begin with a digit",
    NUMBER: "write a number, with its unit where it has one: `30 deg`, `4 mm`, `5 %`",
    OPENING: "facts stand in braces: `{` before them and `}` after",
    DECLARATION: "a declaration begins with its word, such as `region`, `driver`, `shape` or `expect`",
}


def _the_one(stop: Stop, expected: str) -> Advice:
    if expected == NAME and stop.found in ("{", "="):
        return Advice(f"write a name before the `{stop.found}`", stop.span)
    if expected == TEXT:
        bare = re.compile(r"[\w./\\*-]+").match(stop.source.text, stop.span.start, stop.end)
        if bare is None:
            return Advice('texts and files stand in quotes, such as `"masks/brow.png"`', stop.span)
        span = Span(stop.source, bare.start(), bare.end())
        quoted = '"' + bare[0].replace("\\", "/") + '"'
        return Advice(f"texts and files stand in quotes: `{quoted}`", span, Fix(span, quoted))
    if expected in _PLAIN_ADVICE:
        return Advice(_PLAIN_ADVICE[expected], stop.span)
    if expected.startswith("`"):
        missing = expected.strip("`")
        place = Span(stop.source, stop.span.start, stop.span.start)
        return Advice(f"write {expected} before `{stop.found}`", stop.span, Fix(place, f"{missing} "))
    return Advice(f"write {expected} here", stop.span)
