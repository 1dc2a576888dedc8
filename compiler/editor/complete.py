"""What may be written next: keywords from what the parser can take there, names from what they would mean."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple, cast

from lark import TextSlice
from lark.exceptions import UnexpectedInput

from plica.diagnostics.catalogue import rules
from plica.editor.file_completion import READ_MORPHS, SHAPED_MORPHS, UV_SETS, fitting, open_text
from plica.editor.open_documents import Analysis
from plica.editor.snippets import DECLARATIONS
from plica.editor.unit_completion import fitting_units
from plica.editor.variables import in_scope, parameters_of, use_before
from plica.kinds.combinations import COMBINATION_KINDS
from plica.spec.entries import BoundSkeleton
from plica.spec.symbols import NAMESPACES
from plica.syntax import errors, recovery
from plica.syntax.builder import encode_text
from plica.syntax.keywords import terminal_words, words
from plica.syntax.lexer import Token
from plica.syntax.parser import check_version
from plica.syntax.parser_tables import parser

COMBINATIONS = tuple(COMBINATION_KINDS)
MOST_MISTAKES = 10  # lines of a declaration that are passed over because something in them is wrong

_AFTER_NUMBER = re.compile(r"(?:^|[^\w.{}])[+-]?(?:\d++(?:\.\d++)?|\.\d++)[ \t]*+([A-Za-z%]*+)$")
_WORD_BEFORE = re.compile(r'(?:[\w{}-]|"(?=\w*$))*$')
_IN_COMMENT = re.compile(r'(?:[^"/\n]++|/(?!/)|"(?:[^"\\\n]++|\\.)*+")*+//')
_IN_TEXT = re.compile(_IN_COMMENT.pattern + r'|^[^"\n]*+(?:"(?:[^"\\\n]++|\\.)*+"[^"\n]*+)*+"[^"\n]*+$')
_OVERRIDE = re.compile(r"(?:^|[{}]|(?<=\n))[ \t]*(override)[ \t]+$")  # of what is not written yet
_OPEN_BRACE = re.compile(r"\{\w*$")
# A placeholder that is being written: the brace of a block has a blank before it.
_IN_BRACES = re.compile(r"(?:[\w}]|^\s*|\s(?=\{\w+$))\{\w*$")
# Terminals that stand between a keyword and the name that is being written.
_PASSED = {"NAME", "STRING", "QUANTITY", "COMMA", "OWN_SIDE", "LPAR", "RPAR", "AXIS", "PLACEHOLDER", "EQUAL", "DOT"}

# What a name means after a keyword; `of` and `from` depend on the fact.
_AFTER = {
    "FOLLOWS": "strength",
    "WITHIN": "region",
    "AREA": "region",
    "IN": "detail",
    "AFTER": "shape",
    "BY": "shape",
    "AT": "strength",
    "OVER": "strength",
    "SMOOTH": "strength",
    "REACH": "strength",
    "CURVE": "curve",
    "CURVE_KIND": "curve",
    "CONTROL": "control",
    "UNDER": "joint",
    "PAIR": "joint",
    "ALIAS": "joint",
    "COMBINE": "strength",
}
_OF = {
    "READS": "joint",
    "SKIN": "joint",
    "OVERLAP": "detail",
    "MOVED": "shape",
    "ABOUT": "joint",
    "POSED": "joint",
    "ALONG": "joint",
    "ACROSS": "joint",
}


class Suggestion(NamedTuple):
    """A text to write, and what it is: a keyword, a unit, a rule, a joint, a file, or a declaration's keyword.

    `start` is where it begins, for one that replaces more than a word. `snippet`: a whole declaration with places to
    fill in, for editors that can.
    """

    text: str
    kind: str
    start: int | None = None
    snippet: str = ""


class CompletionPlace(NamedTuple):
    """Where the cursor is: where its word begins, the words before it in the declaration, what may follow them."""

    start: int
    tokens: tuple[Token, ...]
    accepts: frozenset[str]


def suggestions(analysis: Analysis, around: Analysis, offset: int) -> list[Suggestion]:
    """What may be written at an offset, each once, sorted; `around` knows what names mean."""
    text = analysis.source.text
    line = text[text.rfind("\n", 0, offset) + 1 : offset]
    if _IN_TEXT.match(line):
        return _files(analysis, around, line, offset)
    unit = _AFTER_NUMBER.search(line)
    if unit and (unit[1] or line.endswith((" ", "\t")) or line[-1:].isdigit()):
        number_start = offset - len(unit[0].lstrip(" \t,{("))
        tokens = place_of(analysis, number_start).tokens
        return [Suggestion(name, "unit") for name in fitting_units(tokens, unit[1])]
    if _IN_BRACES.search(line) and (variables := in_scope(analysis.source.text, offset)):
        return [Suggestion(name, "variable") for name in variables]
    place = place_of(analysis, offset)
    result = [*_keywords(place), *_names(place, around, _side_around(place)), *_arguments(place, analysis, around)]
    return sorted(set(result))


def begun(found: Sequence[Suggestion], text: str, offset: int) -> list[Suggestion]:
    """Those that begin as the word before an offset does, in upper or lower case."""
    word = _WORD_BEFORE.search(text, max(0, offset - 200), offset)
    written = word[0].lstrip('"').casefold() if word is not None else ""
    return [item for item in found if item.text.lstrip('"').casefold().startswith(written)]


def _files(analysis: Analysis, around: Analysis, line: str, offset: int) -> list[Suggestion]:
    """Files or uv sets for the text in quotes at the end of a line; libraries are found from the file's own folder."""
    if _IN_COMMENT.match(line):
        return []
    if line.count('"') % 2 and _OPEN_BRACE.search(line):
        return [Suggestion(name, "variable") for name in in_scope(analysis.source.text, offset)]
    written = open_text(line, offset - len(line))
    model = around.bound.outline
    if written is not None and written.word == UV_SETS:
        known = dict.fromkeys(name for mesh in model.meshes for name in mesh.uv_sets) if model else ()
        return [Suggestion(name, "uv set", written.start) for name in known]
    if written is not None and written.word in (SHAPED_MORPHS, READ_MORPHS):
        read = written.word == READ_MORPHS
        morphs = () if model is None else model.all_morph_targets if read else model.morph_targets
        return [Suggestion(name, "morph target", written.start) for name in morphs]
    folder = (analysis if written and written.word == "use" else around).folder
    if written is None or folder is None:
        return []
    return [Suggestion(name, "file", written.start) for name in fitting(written.word, folder)]


def _arguments(place: CompletionPlace, analysis: Analysis, around: Analysis) -> Iterator[Suggestion]:
    """The parameters of a library where one of them may be given; a value may be a variable."""
    types = [token.type for token in place.tokens]
    if types[:1] == ["USE"] and "LBRACE" in types and "NAME" in place.accepts:
        node = use_before(place.tokens)
        if types[-1] == "EQUAL":
            yield from (Suggestion(name, "variable") for name in in_scope(analysis.source.text, place.start))
        elif node is not None:
            yield from (
                Suggestion(name, "parameter") for name in parameters_of(node, analysis.document, around.documents)
            )


def place_of(analysis: Analysis, offset: int) -> CompletionPlace:
    """What stands before an offset in its declaration; mistakes in earlier lines are passed over."""
    source = analysis.source
    start = offset - len(_WORD_BEFORE.search(source.text, max(0, offset - 200), offset)[0])  # type: ignore[index]
    after = check_version_end(analysis)
    if after is None:
        return CompletionPlace(start, (), frozenset({"PLICA"}))
    bare = recovery.blanked(source.text[:start])
    override = _OVERRIDE.search(bare, max(after, bare.rfind("\n") + 1))
    if override is not None:
        return _read(source.text[:start], recovery.TextPiece(override.start(1), start, False))
    piece = None
    for event in recovery.pieces(bare, min(after, start)):
        if isinstance(event, recovery.TextPiece):
            piece = event
        elif isinstance(event, recovery.CloseEach):
            piece = None
    if piece is None:
        return CompletionPlace(start, (), _beginnings())
    return _read(source.text[:start], piece)


def check_version_end(analysis: Analysis) -> int | None:
    """Where the version line of a text ends; None where it has none."""
    from plica.diagnostics import Diagnostics

    return check_version(analysis.source, Diagnostics())


def _beginnings() -> frozenset[str]:
    known = set(words().declarations) - {"plica"}
    return frozenset(name for name, listed in terminal_words().items() if known.intersection(listed))


def _read(text: str, piece: recovery.TextPiece) -> CompletionPlace:
    """The tokens from a declaration's start to the end of a text, and what could follow."""
    rule = "each_head" if piece.is_head else "declaration"
    for _ in range(MOST_MISTAKES):
        tokens: list[Token] = []
        reading = parser().parse_interactive(TextSlice(text, piece.start, len(text)), start=rule)
        try:
            for token in reading.iter_parse():
                tokens.append(cast(Token, token))
        except UnexpectedInput as error:
            at = errors.offset_of(error, len(text))
            first, last = text.rfind("\n", 0, at) + 1, text.find("\n", at)
            if last < 0 or first <= piece.start or "{" in text[first:last] or "}" in text[first:last]:
                return CompletionPlace(len(text), tuple(tokens), frozenset())
            text = text[:first] + " " * (last - first) + text[last:]
            continue
        accepts = frozenset(reading.accepts())  # type: ignore[no-untyped-call]
        return CompletionPlace(len(text), tuple(tokens), _beginnings() if "$END" in accepts else accepts)
    return CompletionPlace(len(text), (), frozenset())


def _keywords(place: CompletionPlace) -> Iterator[Suggestion]:
    known = terminal_words()
    for name in place.accepts:
        for word in known.get(name, ()):
            yield Suggestion(word, "keyword")
            if word in DECLARATIONS and place.accepts == _beginnings():
                yield Suggestion(word, "snippet", None, DECLARATIONS[word])
    if "AXIS" in place.accepts:
        yield from (Suggestion(axis, "keyword") for axis in ("x", "y", "z"))
    if "RULE" in place.accepts:
        yield from (Suggestion(name, "rule") for name in rules())


def _names(place: CompletionPlace, around: Analysis, side: str | None) -> Iterator[Suggestion]:
    """The names that could stand here, where a reference or a joint may."""
    if "NAME" not in place.accepts:
        return
    wanted = wanted_at(place)
    spec = around.bound.spec
    if [token.type for token in place.tokens[-2:]] == ["NAME", "DOT"]:
        for symbol in around.symbols.lookup("strength", str(place.tokens[-2])):
            yield from (Suggestion(sample, "sample") for sample in symbol.samples)
        return
    if wanted == "joint" and spec is not None:
        yield from (Suggestion(_as_written(name), "joint") for name in joints(spec.bound, side))
    elif place.tokens[:1] and place.tokens[0].type == "OVERRIDE" and len(place.tokens) == 2:
        kind = str(place.tokens[1])  # what is overridden is a declaration of that kind, of a field the whole
        yield from (Suggestion(item.name, kind) for item in around.symbols.declared if item.kind == kind)
    elif wanted is not None and wanted != "joint":
        known = set(around.symbols.names(wanted))
        for symbol in around.symbols.declared:
            if symbol.name in known and symbol in around.symbols.lookup(wanted, symbol.name):
                yield from (Suggestion(text, symbol.kind) for text in _references(symbol.name, symbol.samples))
    if place.tokens and place.tokens[0].type == "COMBINE" and wanted == "strength":
        yield from (Suggestion(how, "keyword") for how in COMBINATIONS)


def _references(name: str, samples: Iterable[str]) -> list[str]:
    return [f"{name}.{sample}" for sample in samples] or [name]


def joints(bound: BoundSkeleton, side: str | None) -> list[str]:
    """The names that joints have in a declaration of a side: in `both`, `left` and `right` pairs without their side."""
    if side in (None, "none"):
        return [joint.name for joint in bound.skeleton.joints]
    middle = [joint.name for i, joint in enumerate(bound.skeleton.joints) if i not in bound.sides.partner]
    return [*bound.sides.pairs, *middle]


def wanted_at(place: CompletionPlace) -> str | None:
    """What a name here would mean: `joint`, or the namespace of a declaration; None for a new name."""
    types = [token.type for token in place.tokens]
    index = len(types) - 1
    while index >= 0 and types[index] in _PASSED:
        index -= 1
    if index < 0:
        return None
    last = types[index]
    if types[0] == "COMBINE" or types[:2] == ["OVERRIDE", "COMBINE"]:
        return "strength" if "EQUAL" in types else None
    if types[0] == "OVERRIDE" and index == 1:
        return NAMESPACES[last.lower()]
    # After `posed at` and in poses stands what a pose is made of; elsewhere places, turns and limits follow `at`.
    if index == 0 or (last == "AT" and types[index - 1] != "POSED" and "POSE" not in types[:2]):
        return "curve" if types[0] == "CURVE" and "EQUAL" in types else None
    passed = types[index + 1 :]
    if last == "POSE":
        return "strength" if "COMMA" in passed else "pose"  # each pose that is gone over has the word before it
    if last == "OF" and passed[-1:] == ["COMMA"] and "QUANTITY" in passed:
        return "strength"  # after `about x of elbow 90 deg,` the next part of a pose begins
    if last in ("OF", "FROM"):
        return _of_what(types[:index], last)
    return _AFTER.get(last)


def _of_what(before: list[str], last: str) -> str | None:
    for name in reversed(before):
        if name == "RENAMED":
            return None
        if name in _OF:
            return _OF[name]
        if name in ("VOLUME", "GIRTH", "STRETCH", "SQUEEZE", "SHEAR", "CLEARANCE", "CROSSING", "SET_OPERATION"):
            return "region"
    return None


def _side_around(place: CompletionPlace) -> str | None:
    for token in place.tokens[:4]:
        if token.type == "SIDE":
            return str(token)
        if token.type == "LBRACE":
            return None
    return None


def _as_written(joint: str) -> str:
    return joint if joint.isidentifier() else encode_text(joint)
