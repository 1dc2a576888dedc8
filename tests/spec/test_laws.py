"""Laws of binding: order never matters, and what is said once holds wherever it is written."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from plica.diagnostics import Diagnostics
from plica.pipeline import compile_file
from plica.rig.rig_json import write_rig
from plica.source import Source
from plica.syntax.parser import parse
from tests.grammar.test_reference import EXAMPLES, make_folder


def shuffled(text: str, seed: int) -> str:
    """The text with its declarations in another order."""
    document = parse(Source("spec.plica", text), Diagnostics())
    pieces = [text[node.start : node.end] for node in document.declarations]
    random.Random(seed).shuffle(pieces)
    return text[: document.declarations[0].start] + "\n".join(pieces) + "\n"


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("example", EXAMPLES, ids=lambda text: text.strip().splitlines()[0][:50])
def test_order_of_declarations_never_matters(example: str, seed: int, tmp_path: Path) -> None:
    spec = make_folder(tmp_path, example) / "example.plica"
    straight = compile_file(spec)
    spec.write_text(shuffled(spec.read_text("utf-8"), seed), "utf-8")
    mixed = compile_file(spec)
    assert straight.rig is not None and mixed.rig is not None
    assert write_rig(mixed.rig) == write_rig(straight.rig)
    assert sorted(result.name for result in mixed.diagnostics) == sorted(result.name for result in straight.diagnostics)
