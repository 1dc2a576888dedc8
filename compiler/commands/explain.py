"""`plica explain`: more about a finding."""

from __future__ import annotations

import argparse
import sys

from plica.commands.output import put, usage_error, wants_colour
from plica.diagnostics.catalogue import Rule, find_rule, rules
from plica.diagnostics.suggest import closest


def explain(options: argparse.Namespace) -> int:
    """Print a rule's explanation, or the list of all."""
    if options.all:
        put(listing())
        return 0
    if options.rule is None:
        return usage_error("explain", "give a code or a name, as in `plica explain PL101`, or --all")
    result = find_rule(options.rule)
    if result is None:
        known = [word for rule in rules().values() for word in (rule.code, rule.name)]
        near = closest(options.rule, known)
        hint = f"did you mean `{near}`?" if near else "`plica explain --all` lists them"
        return usage_error("explain", f"there is no finding `{options.rule}`; {hint}")
    put(page(result, bold=wants_colour(sys.stdout)))
    return 0


def listing() -> str:
    """One line for each rule, by code: code, severity, name, first sentence."""
    ordered = sorted(rules().values(), key=lambda rule: rule.code)
    widest = max(len(rule.name) for rule in ordered)
    lines = [f"{rule.code}  {rule.severity:<7}  {rule.name:<{widest}}  {rule.summary}" for rule in ordered]
    return "\n".join(lines) + "\n"


def page(rule: Rule, bold: bool = False) -> str:
    """Everything about one rule."""
    title = f"{rule.code} {rule.name} ({rule.severity})"
    parts = [f"\x1b[1m{title}\x1b[0m" if bold else title, rule.help_text]
    return "\n\n".join(parts) + "\n"
