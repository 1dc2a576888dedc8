"""Whatever a text says, compiling answers with diagnostics: it never raises, and every place lies in its text."""

from __future__ import annotations

import re

from hypothesis import given, settings
from hypothesis import strategies as st

from plica.diagnostics import Severity
from plica.pipeline import compile_text
from plica.rig.json import read_rig, write_rig
from tests.grammar.test_reference import EXAMPLES, LIBRARY, whole

TEXTS = [whole(example) for example in EXAMPLES] + [LIBRARY]
WORDS = sorted({word for text in TEXTS for word in re.findall(r'"[^"\n]*"|[\w{}]+|[^\s\w]', text)})
HOSTILE = [
    "{x}", "{finger}", "{{", "}}", '""', '"\\"', "1e308 deg", "-0 m", "0 deg .. 0 deg", "999999999999999999999",
    "left left", "both", "0.1 turn", "ease", "x in model", "(0, 0, 0)", "\u00e9", "\U0001f9a6", "1 .. 100000", ".. ..",
]  # fmt: skip


@st.composite
def mutated(draw: st.DrawFn) -> str:
    """One of the reference's examples with some words replaced, removed, repeated or put in."""
    words = re.findall(r'"[^"\n]*"|[\w{}]+|\s+|[^\s\w]', draw(st.sampled_from(TEXTS)))
    for _ in range(draw(st.integers(1, 6))):
        place = draw(st.integers(0, len(words) - 1))
        kind = draw(st.sampled_from(["replace", "remove", "repeat", "insert", "hostile"]))
        if kind == "replace":
            words[place] = draw(st.sampled_from(WORDS))
        elif kind == "remove" and len(words) > 1:
            del words[place]
        elif kind == "repeat":
            words[place:place] = words[max(0, place - draw(st.integers(1, 30))) : place]
        else:
            words.insert(place, " " + draw(st.sampled_from(HOSTILE if kind == "hostile" else WORDS)) + " ")
    return "".join(words)


@given(mutated())
@settings(max_examples=300, deadline=None)
def test_compiling_never_raises(text: str) -> None:
    compiled = compile_text(text)
    for found in compiled.diagnostics:
        for span in [found.span, *(label.span for label in found.labels)]:
            assert span is None or 0 <= span.start <= span.end <= len(span.source.text)
    errors = [found for found in compiled.diagnostics if found.severity is Severity.ERROR]
    assert (compiled.rig is None) == bool(errors or compiled.is_library)
    if compiled.rig is not None:
        assert read_rig(write_rig(compiled.rig)) == compiled.rig
