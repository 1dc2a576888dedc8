"""A report as diagnostics, for review tools: SARIF 2.1.0 with fingerprints, and GitHub's annotations."""

from __future__ import annotations

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
    said = "; ".join(verdict.text for verdict in change.verdicts)
    what = f"{change.character}: {change.title}"
    hint = change.hint
    diagnostics.add(
        _RULES[change.harm], change.beside, hint=hint, what=what, said=said, reaches=", ".join(change.reaches)
    )
    return diagnostics.all[0]


def render_github(report: Report) -> str:
    """One workflow command for each change."""
    return github.render([finding(change) for change in report.changes])


def render_sarif(report: Report) -> str:
    """A SARIF log; a result has its change's fingerprint and, where that was accepted, why."""
    accepted = [one.change for one in report.accepted]
    document: dict[str, Any] = sarif.document([finding(change) for change in (*report.changes, *accepted)], "diff")
    results = document["runs"][0]["results"]
    for result, change in zip(results, (*report.changes, *accepted), strict=True):
        result["partialFingerprints"] = {"plicaChange/v1": change.fingerprint}
    for result, one in zip(results[len(report.changes) :], report.accepted, strict=True):
        result["suppressions"] = [{"kind": "external", "justification": foreign.line(one.reason)}]
    return foreign.json_document(document)
