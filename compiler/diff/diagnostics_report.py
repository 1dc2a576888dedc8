"""A report as diagnostics, for review tools: SARIF 2.1.0 with fingerprints, and GitHub's annotations."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from plica import foreign
from plica.diagnostics import Diagnostic, Diagnostics, github, sarif
from plica.diff.judged_change import JudgedChange
from plica.diff.report import Report
from plica.diff.verdicts import Harm

_RULES = {
    Harm.BREAKING: "breaking-change",
    Harm.RISKY: "risky-change",
    Harm.SAFE: "safe-change",
    Harm.COSMETIC: "cosmetic-change",
}


def finding(change: JudgedChange) -> Diagnostic:
    """One change as a diagnostic, at a place of the new text, which is what review tools show."""
    diagnostics = Diagnostics()
    said = "; ".join(" ".join((verdict.text, *verdict.lines)) for verdict in change.verdicts)
    what = f"{change.character}: {change.title}" if change.character else change.title
    hint = change.hint
    diagnostics.add(
        _RULES[change.harm], change.beside, hint=hint, what=what, said=said, reaches=", ".join(change.reaches)
    )
    return diagnostics.all[0]


def render_github(report: Report, diagnostics: Sequence[Diagnostic] = ()) -> str:
    """One workflow command for each change, and for what could not be compared; `diagnostics` are what comparing itself
    came upon.
    """
    return github.render([*map(finding, report.changes), *_uncompared(report), *diagnostics])


def _uncompared(report: Report) -> Iterator[Diagnostic]:
    """The mistakes of what compiles in neither state, and what was not measured."""
    for one in report.broken_throughout:
        yield from one.mistakes.errors
    for said in report.unmeasured:
        diagnostics = Diagnostics()
        diagnostics.add("not-compared", None, said=said)
        yield from diagnostics.all


def render_sarif(report: Report, diagnostics: Sequence[Diagnostic] = ()) -> str:
    """A SARIF log; a result has its change's fingerprint and, where that was accepted, why. What could not be compared
    comes after the changes.
    """
    accepted = [one.change for one in report.accepted]
    changes = (*report.changes, *accepted)
    document: dict[str, Any] = sarif.document([*map(finding, changes), *_uncompared(report), *diagnostics], "diff")
    results = document["runs"][0]["results"]
    for result, change in zip(results, changes, strict=False):
        result["partialFingerprints"] = {"plicaChange/v1": change.fingerprint}
    for result, one in zip(results[len(report.changes) :], report.accepted, strict=False):
        result["suppressions"] = [{"kind": "external", "justification": foreign.line(one.reason)}]
    return foreign.json_document(document)
