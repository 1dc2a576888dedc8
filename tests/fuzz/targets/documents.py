"""Documents that one run leaves for another or that people keep: built rigs, baselines, accepted changes."""

from __future__ import annotations

from contextlib import suppress

import numpy as np

from plica.diagnostics import Diagnostics
from plica.diff import json_report as json_form
from plica.diff import markdown_report as markdown
from plica.diff import text_report as text
from plica.diff.acceptances import read_acceptances
from plica.diff.character_state import CharacterState
from plica.diff.comparison import compare
from plica.emit.output_set import ManifestError, manifest_bytes, read_manifest
from plica.evaluate.evaluator import Evaluator
from plica.evaluate.poses import rest_poses
from plica.prove.baseline import UnreadableBaselineError, read
from plica.rig.rig_json import RigFormatError, read_rig, write_rig
from plica.workspace import Refused, text_of
from tests.fuzz.grammars import documents, lines
from tests.fuzz.mutate import of_json, of_words
from tests.fuzz.target import CORPUS, Target
from tests.fuzz.targets.texts import check_places


def _json(data: bytes) -> None:
    with suppress(UnreadableBaselineError):
        assert all(isinstance(figure, float) for figure in read(data).values())
    with suppress(ManifestError):
        manifest = read_manifest(data)
        assert read_manifest(manifest_bytes(manifest)) == manifest
    content = text_of(data, "wren.rig.json")
    if isinstance(content, Refused):
        return
    with suppress(RigFormatError):
        rig = read_rig(content)
        assert read_rig(write_rig(rig)) == rig
        strengths = Evaluator(rig).strengths(rest_poses(rig))
        assert np.isfinite(strengths).all()
        before = read_rig((CORPUS / "json" / "wren.rig.json").read_text("utf-8"))
        for old, new in ((before, rig), (rig, before)):
            report = compare({"": CharacterState("old", old)}, {"": CharacterState("new", new)})
            for form in (text, markdown, json_form):
                form.render(report)


def _toml(data: bytes) -> None:
    content = text_of(data, "accepted.toml")
    if isinstance(content, Refused):
        return
    diagnostics = Diagnostics()
    reasons = read_acceptances(content, "accepted.toml", diagnostics)
    assert all(isinstance(reason, str) and reason for reason in reasons.values())
    check_places(diagnostics.all)


_TOML = (
    "3f2a9c0d11e2b3c4", "=", '"reason"', "'", '"""', "'''", "[", "]", "[[", "]]", "{", "}", ".", ",", "#", "\n",
    "true", "nan",
    "inf", "-0", "1e400", "0x", "9" * 40, "1979-05-27T07:32:00Z", "99:99:99", "\\u0000", "\\ud800", "\\x", "\0",
    "\x7f", "\r",
    "a.b.c", "[" * 300, "{a=" * 300, "1_0", "_",
)  # fmt: skip

TARGETS = (
    Target("json", _json, of_json(depths=(100, 2000)), documents.documents, short=120, longest=32_768, seconds=3.0),
    Target("toml", _toml, of_words(_TOML), lines.acceptances, short=200),
)
