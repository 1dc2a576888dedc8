"""What is completed where: units that fit, samples of a field, what can be overridden, rules that can be accepted."""

from __future__ import annotations

from pathlib import Path

import pytest

from plica.editor.complete import suggestions
from plica.editor.open_documents import OpenDocuments
from tests.support.examples import FILES

FIELD = """field shoulder both {
    reads rotation of upperarm
    sample rest at about x 0 deg
    sample raised at about x 80 deg
}
driver elbow both { reads rotation about x of lowerarm   span 0 deg .. 130 deg }
"""


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("driver d both { reads bend of lowerarm span 0 ", {"deg", "rad", "turn"}),
        ("driver d both { reads offset x of lowerarm span 0 mm .. 4 ", {"mm", "cm", "m", "in"}),
        ("driver d both { reads offset x of lowerarm span 0 mm .. 4 m", {"mm", "m"}),
        ("driver d both { reads scale along x of lowerarm span 90 ", {"%"}),
        ("driver d both { span 0 ", {"deg", "rad", "turn", "mm", "cm", "m", "in", "%"}),
        ("region r both { skin of lowerarm feather 12 ", {"mm", "cm", "m", "in"}),
        ("detail d { budget 2 ", {"KiB", "MiB"}),
        ("expect both { volume of r within 4 ", {"%"}),
        ("expect both { shear of r at most 4 ", {"deg", "rad", "turn"}),
        ("expect both { clearance of r from q at least 4 ", {"mm", "cm", "m", "in"}),
        ("pose p both { at about x of lowerarm 90 ", {"deg", "rad", "turn"}),
        ("shape s both { draft volume 90 ", {"%"}),
        ("shape s both { draft gap 1 ", {"mm", "cm", "m", "in"}),
        ("shape s both { follows shoulder.", {"rest", "raised"}),
        ("combine c both = product(elbow, shoulder.r", {"rest", "raised"}),
        ("override driver ", {"elbow"}),
        ("override field ", {"shoulder"}),
        ("shape s both { accept not-sculpted ", {"because"}),
    ],
)
def test_what_fits_is_offered_and_nothing_else(written: str, expected: set[str], tmp_path: Path) -> None:
    text = (FILES / "preamble.plica").read_text("utf-8") + FIELD + written
    documents = OpenDocuments()
    documents.set_text("it", text, tmp_path / "it.plica")
    analysis = documents.analysis("it")
    assert analysis is not None
    assert {item.text for item in suggestions(analysis, analysis, len(text))} == expected
