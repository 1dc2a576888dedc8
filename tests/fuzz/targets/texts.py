"""Specs and libraries as text: parsing, compiling, laying out, and templates that are filled."""

from __future__ import annotations

import json
import re
import signal
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from types import FrameType

from plica.diagnostics import Diagnostic, Diagnostics, Severity, github, json_form, sarif
from plica.diagnostics.text import render
from plica.format import difference, lay_out
from plica.pipeline import compile_text
from plica.rig.rig_json import read_rig, write_rig
from plica.source import Source
from plica.syntax.keywords import words
from plica.syntax.parser import parse
from plica.targets.template.filling import FILTERS, fill
from plica.workspace import Refused, Workspace, text_of
from tests.fuzz import character
from tests.fuzz.good import GOOD, SCRAPS
from tests.fuzz.grammars import specs, templates
from tests.fuzz.mutate import of_words
from tests.fuzz.target import Target
from tests.fuzz.targets.scratch import scratch, written
from tests.grammar.test_reference import EXAMPLES, LIBRARY, whole
from tests.support.texts import rig_of
from tests.support.trees import same_but_for_places

HOSTILE = (
    "{x}", "{finger}", "{{", "}}", '""', '"\\"', "1e308 deg", "-0 m", "0 deg .. 0 deg", "999999999999999999999",
    "1e-320 m",
    "left left", "both", "0.1 turn", "ease", "x in model", "(0, 0, 0)", "\u00e9", "\U0001f9a6", "1 .. 100000", ".. ..",
    "\0", "\ufeff", "\r", "\u2028", "\x1b[31m", "\u202e", "//", "\\", "\u0664", "\u00b2", "plica 2", 'use "limb.plica"',
    "each f in 1 .. 1000 {", "each g in a, b, {f} {", "}", 'note "', "override driver", "as a", "with {", "\x1f",
    "\x85",
)  # fmt: skip


def _reference() -> Iterable[bytes]:
    """The examples of the language reference, as texts of their own."""
    return [whole(example).encode() for example in EXAMPLES] + [LIBRARY.encode()]


_SEEN = "\n".join([*EXAMPLES, LIBRARY, character.SPEC, GOOD])
_WORDS = set(re.findall(r'"[^"\n]*"|[\w{}]+|[^\s\w]', _SEEN)) | words().all
WORDS = [*sorted(_WORDS), *HOSTILE, *SCRAPS]


def check_places(diagnostics: Iterable[Diagnostic]) -> None:
    """Every place lies in its text, and every form of output can be made."""
    all_of_it = tuple(diagnostics)
    for one in all_of_it:
        assert "MemoryError" not in one.message, "that memory ran out was taken for a mistake of the input"
        for span in [one.span, *(label.span for label in one.labels)]:
            assert span is None or 0 <= span.start <= span.end <= len(span.source.text)
    render(all_of_it)
    github.render(all_of_it)
    json.loads(json_form.render(all_of_it))
    json.loads(sarif.render(all_of_it, "check"))


def _text(data: bytes) -> None:
    """As a spec beside the character's files, and as the library that its spec uses."""
    text = text_of(data, "text.plica")
    if isinstance(text, Refused):
        return
    folder = scratch("text")
    if not (folder / "wren.plica").exists():
        character.put_down(folder)
    (folder / "limb.plica").write_bytes(character.files()["limb.plica"])
    _compiled(text, folder.as_posix())
    if "parameter" in text:
        (folder / "limb.plica").write_bytes(data)
        _compiled(character.SPEC, folder.as_posix())


def _compiled(text: str, folder: str) -> None:
    workspace = Workspace(scratch("text"))
    result = compile_text(text, f"{folder}/text.plica", workspace)
    check_places(result.diagnostics)
    errors = [one for one in result.diagnostics if one.severity is Severity.ERROR]
    assert (result.rig is None) == bool(errors or result.is_library)
    if result.rig is not None:
        assert read_rig(write_rig(result.rig)) == result.rig


def _layout(data: bytes) -> None:
    text = text_of(data, "text.plica")
    if isinstance(text, Refused):
        return
    diagnostics = Diagnostics()
    document = parse(Source("text.plica", text), diagnostics)
    assert document.source.text == text
    result = lay_out(Source("text.plica", text), Diagnostics())
    assert (result is None) == diagnostics.has_errors
    if result is None:
        return
    assert difference(result) is None
    again = lay_out(Source("text.plica", result.text), Diagnostics())
    assert again is not None and again.text == result.text
    read = parse(Source("text.plica", result.text), Diagnostics())
    assert same_but_for_places(read.declarations, document.declarations)


_RIG = rig_of("driver elbow both { reads rotation about z of lowerarm   span 0 deg .. 100 deg   curve smooth }")


def _template(data: bytes) -> None:
    path = written("template.jinja", data)
    (path.parent / "other.jinja").write_bytes(b"{% macro m(x) %}{{ x }}{% endmacro %}{% block b %}{% endblock %}")
    with suppress(MemoryError, _TooLong), _little_time():
        filled = fill(path, _RIG)
        if not isinstance(filled, str):
            diagnostics = Diagnostics()
            diagnostics.add_filled(filled.name, filled.span, filled.values)
            assert diagnostics.has_errors
            check_places(diagnostics.all)


class _TooLong(BaseException):
    """Stands for the end of the process that fills a template, which this target does not start for each input."""


@contextmanager
def _little_time() -> Iterator[None]:
    """Ends what takes long, by this process's own processor time."""

    def end(number: int, frame: FrameType | None) -> None:
        raise _TooLong

    if not hasattr(signal, "setitimer"):
        yield
        return
    before = signal.signal(signal.SIGVTALRM, end)
    signal.setitimer(signal.ITIMER_VIRTUAL, 0.5)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)
        signal.signal(signal.SIGVTALRM, before)


_JINJA = (
    "{{", "}}", "{%", "%}", "{#", "#}", "-%}", "for", "in", "endfor", "if", "else", "endif", "rig", "rig.strengths",
    "loop",
    "loop.index", "set", "x", "range(3)", "range(99999)", "include", "import", '"other.jinja"', '"template.jinja"',
    "extends",
    "block b", "endblock", "macro m(x)", "endmacro", "call", "filter", "with", "recursive", "namespace()", "cycler",
    "joiner",
    "|", *FILTERS, "length", "join", "map", "tojson", "format", "center(9)", "indent", "batch(2)", "replace",
    "upper", "first",
    "attr('__class__')", "__class__", "'a' * 3", "9 ** 9", "9999999", "[", "]", "(", ")", "~", "%", "'%99s'",
    "is defined",
    "dict", "''", "0", "-1", "1e9", "\0", "\u2028", "raw", "endraw", "autoescape false", "do", "debug", "self",
    "super()",
)  # fmt: skip

TARGETS = (
    Target("text", _text, of_words(WORDS), specs.specs, _reference, short=80, seconds=3.0),
    Target("format", _layout, of_words(WORDS), specs.specs, _reference, short=80),
    Target("template", _template, of_words(_JINJA), templates.templates, short=150),
)
