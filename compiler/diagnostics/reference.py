"""The page of all diagnostics, made from the catalogue: `grammar/diagnostics.md`."""

from __future__ import annotations

from collections.abc import Iterable

from plica.diagnostics.catalogue import Rule

_SECTIONS = {
    "1": "The text",
    "2": "Names",
    "3": "Values",
    "4": "Sides and mirroring",
    "5": "Files and models",
    "6": "Targets",
    "7": "Clips",
    "8": "The mesh",
    "9": "Plica itself",
}
_HEAD = """\
# Diagnostics

Everything that Plica can find, by code. This page is made from the catalogue, `compiler/diagnostics/catalogue.toml`;
`plica explain CODE` shows the same. A word in braces stands for what the place fills in. Most examples are part of a
file: the character that they belong to is left out.
"""


def reference(rules: Iterable[Rule]) -> str:
    """The page, in Markdown, for rules in any order."""
    parts = [_HEAD]
    section = ""
    for rule in sorted(rules, key=lambda rule: rule.code):
        if rule.code[2] != section:
            section = rule.code[2]
            parts.append(f"## {_SECTIONS[section]}\n")
        parts.append(_entry(rule))
    return "\n".join(parts)


def _entry(rule: Rule) -> str:
    lines = [f"### {rule.code} {rule.name}", "", f"*{rule.severity}*: {_quoted(rule.message)}", ""]
    if rule.hint:
        lines += [f"Hint: {_quoted(rule.hint)}", ""]
    lines += [rule.explanation, ""]
    if rule.example:
        lines += ["```plica", rule.example, "```", ""]
    if rule.corrected:
        lines += ["Put right:", "", "```plica", rule.corrected, "```", ""]
    return "\n".join(lines)


def _quoted(template: str) -> str:
    return template.replace("{{", "{").replace("}}", "}")
