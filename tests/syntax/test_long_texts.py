"""Long texts: memory in proportion to them, and a limit on their length wherever they come from."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest

from plica import limits
from plica.diagnostics import Diagnostics
from plica.editor.open_documents import OpenDocuments
from plica.pipeline import compile_text
from plica.source import Source
from plica.syntax.parser import parse
from tests.support.bombs import BOMBS, HEAD
from tests.support.data import ROOT

# The bomb, and what compiling it finds.
LONG = {
    "a_note_of_7_million": [],
    "a_note_of_escapes": [],
    "an_unclosed_note": ["unclosed-text"],
    "blanks_before_the_version": ["missing-version"],
    "only_comments": ["missing-version"],
    "a_long_exponent": ["number-too-large"],
    "many_placeholders": [],
}
MOST_TIMES = 20  # as many bytes of memory as the text has


@pytest.mark.parametrize("name", LONG)
def test_memory_is_in_proportion_to_the_text(name: str) -> None:
    """Texts in ASCII: the source, its bytes, its blanked form, a token and a node take a byte for each character."""
    command = [sys.executable, "-m", "tests.support.bomb_runner", str(2**30), "both", name]
    environment = {**os.environ, limits.VARIABLE: "spec-bytes=64MiB"}
    done = subprocess.run(command, env=environment, cwd=ROOT, capture_output=True, timeout=1200, check=False)
    assert done.returncode == 0, done.stderr.decode()[-400:]
    outcome = json.loads(done.stdout)
    assert list(outcome["found"]) == LONG[name] == list(outcome["open"])
    assert outcome["grown"] < MOST_TIMES * len(BOMBS[name]()["spec.plica"])


def test_a_text_that_is_too_long_is_refused_wherever_it_comes_from() -> None:
    text = HEAD + "// " + "x" * 2000
    with limits.using(limits.Limits(spec_bytes=1000)):
        (result,) = compile_text(text).diagnostics
        project = OpenDocuments()
        project.set_text("spec", text, None)
        analysis = project.analysis("spec")
    assert analysis is not None
    for refused in (result, *analysis.diagnostics):
        assert refused.name == "file-too-large"
        assert "--limit spec-bytes=SIZE" in (refused.hint or "")


def test_a_long_declaration_is_not_read_again_for_each_of_its_mistakes() -> None:
    wrong = 'bent of arm\nnote "x"\n' * 3
    for lines, mistakes in ((10, 3), (20_000, 1)):
        diagnostics = Diagnostics()
        filling = 'note "x"\n' * lines
        parse(Source("spec.plica", f"plica 1\ndriver a both {{\n{filling}{wrong}}}\n"), diagnostics)
        assert diagnostics.count_of_errors == mistakes
