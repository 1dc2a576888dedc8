"""Judgements of what only texts and reports say: accepted rules, findings on the mesh, the texts themselves."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from plica.diagnostics import Severity
from plica.diagnostics.catalogue import rules
from plica.diff.accepted_rules import AcceptedRule
from plica.diff.facts import ACCEPTS, FINDINGS, TEXTS
from plica.diff.judgement import Judgement, Situation, TableJudgement
from plica.diff.value_text import ARROW
from plica.diff.verdicts import CHECKS, GEOMETRY, WORDS, Harm, Verdict

_MOST_MESSAGES: Final = 8


def _reason(situation: Situation) -> Iterator[Verdict]:
    field = situation.fields[0]
    yield Verdict("reason", Harm.COSMETIC, (WORDS,), f"for another reason: {field.old} {ARROW} {field.new}")


def _accepted(situation: Situation) -> Verdict:
    return acceptance_verdict(situation.fact.entry, situation.fact.what == "added")


def acceptance_verdict(accepted: AcceptedRule, is_new: bool, where: str = "") -> Verdict:
    """That warnings or notes of a rule are not reported any more, or are again; `where`: in which texts."""
    rule = rules().get(accepted.rule)
    about = f"{rule.code}: {rule.summary.rstrip('.')}{where}" if rule is not None else f"{accepted.rule}{where}"
    if is_new:
        text = f"NOT REPORTED ANY MORE: {about}; because: {accepted.reason}"
        return Verdict("accepted", Harm.RISKY, (CHECKS,), text)
    return Verdict("no-longer-accepted", Harm.SAFE, (CHECKS,), f"reported again: {about}")


def _finding(situation: Situation) -> Verdict:
    finding = situation.fact.entry
    is_error = finding.severity == Severity.ERROR
    messages = finding.messages[:_MOST_MESSAGES]
    if len(finding.messages) > _MOST_MESSAGES:
        messages = (*messages, f"and {len(finding.messages) - _MOST_MESSAGES} more")
    said = "; ".join(messages)
    if situation.fact.what == "removed":
        return Verdict("no-longer-found", Harm.SAFE, (CHECKS, GEOMETRY), f"no longer found: {said}")
    if is_error:
        return Verdict("no-build", Harm.BREAKING, (CHECKS, GEOMETRY), f"CANNOT BE BUILT NOW: {said}")
    return Verdict("found", Harm.RISKY, (CHECKS, GEOMETRY), f"found on the mesh now: {said}")


JUDGEMENTS: Final = (Judgement(ACCEPTS, ("reason",), _reason),)
TABLES: Final = (
    TableJudgement(ACCEPTS, (CHECKS,), _accepted),
    TableJudgement(FINDINGS, (CHECKS, GEOMETRY), _finding),
    TableJudgement(TEXTS, (WORDS,)),
)
