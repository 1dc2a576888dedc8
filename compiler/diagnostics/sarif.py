"""Diagnostics as SARIF 2.1.0 (OASIS Standard, Static Analysis Results Interchange Format).

One run; the rules are those of the catalogue that were met, with their help and a link to it. Its id (3.17.3) is that
of the command, `plica/check/`, so that services which keep the latest run of each category tell commands apart. Lines
and columns count from 1, `endColumn` is one past the last character (3.30.2), columns are code points (`columnKind`,
3.14.17). Nothing depends on the time or the machine. A finding that stands for several has all their locations, since
it is put right by a change at each (3.27.12).
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from urllib.parse import quote

from plica import __version__, foreign
from plica.diagnostics import links
from plica.diagnostics.catalogue import Rule, rule
from plica.diagnostics.place import extent
from plica.diagnostics.record import Diagnostic, Fix, Label
from plica.source import Source, Span

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"


def render(diagnostics: Sequence[Diagnostic], command: str) -> str:
    """The SARIF log of a command."""
    return foreign.json_document(document(diagnostics, command))


def document(diagnostics: Sequence[Diagnostic], command: str) -> dict[str, object]:
    """The SARIF log of a command as plain values."""
    met = sorted({diagnostic.name for diagnostic in diagnostics}, key=lambda name: rule(name).code)
    driver = {
        "name": "plica",
        "semanticVersion": __version__,
        "informationUri": links.page("reference.md"),
        "rules": [_rule(rule(name)) for name in met],
    }
    run = {
        "tool": {"driver": driver},
        "automationDetails": {"id": f"plica/{command}/"},
        "columnKind": "unicodeCodePoints",
        "results": [_result(diagnostic, met.index(diagnostic.name)) for diagnostic in diagnostics],
    }
    return {"$schema": SCHEMA, "version": "2.1.0", "runs": [run]}


def _rule(entry: Rule) -> dict[str, object]:
    return {
        "id": entry.code,
        "name": entry.name,
        "shortDescription": {"text": foreign.sarif_message(entry.summary)},
        "fullDescription": {"text": foreign.sarif_message(" ".join(entry.explanation.split()))},
        "helpUri": links.rule_page(entry),
        "help": {"text": foreign.sarif_message(*entry.help_text.split("\n"))},
        "defaultConfiguration": {"level": entry.severity},
    }


def _result(diagnostic: Diagnostic, index: int) -> dict[str, object]:
    text = f"{diagnostic.message}. Hint: {diagnostic.hint}" if diagnostic.hint else diagnostic.message
    result: dict[str, object] = {
        "ruleId": diagnostic.code,
        "ruleIndex": index,
        "level": diagnostic.severity.value,
        "message": {"text": foreign.sarif_message(text)},
    }
    if diagnostic.span:
        spans = (diagnostic.span, *diagnostic.places)
        result["locations"] = [{"physicalLocation": _location(span)} for span in spans]
    if diagnostic.labels:
        result["relatedLocations"] = [_related(number, label) for number, label in enumerate(diagnostic.labels)]
    if diagnostic.fix:
        result["fixes"] = [_fix(diagnostic.fix)]
    return result


def _related(number: int, label: Label) -> dict[str, object]:
    return {
        "id": number,
        "physicalLocation": _location(label.span),
        "message": {"text": foreign.sarif_message(label.text)},
    }


def _fix(fix: Fix) -> dict[str, object]:
    replacement = {"deletedRegion": region(fix.span), "insertedContent": {"text": fix.replacement}}
    return {
        "description": {"text": foreign.sarif_message(f"Write `{fix.replacement}`.")},
        "artifactChanges": [
            {"artifactLocation": {"uri": uri(fix.span.source)}, "replacements": [replacement]},
        ],
    }


def _location(span: Span) -> dict[str, object]:
    return {"artifactLocation": {"uri": uri(span.source)}, "region": region(span)}


def region(span: Span) -> dict[str, int]:
    """A SARIF region (3.30): lines and columns from 1, `endColumn` one past the last character."""
    at = extent(span)
    return {
        "startLine": at.line,
        "startColumn": at.column,
        "endLine": at.end_line,
        "endColumn": at.end_column,
    }


def uri(source: Source) -> str:
    """The source's path as a URI reference (RFC 3986): relative as given, `file:` where it is absolute."""
    path = source.path.replace("\\", "/")
    try:
        quoted = quote(os.fsencode(path), safe="/")
    except UnicodeEncodeError:  # no file can be named so
        quoted = quote(path.encode("utf-8", "replace"), safe="/")
    if quoted.startswith("/"):
        return "file://" + quoted
    if quoted[1:5] == "%3A/":  # a drive letter
        return f"file:///{quoted[0]}:{quoted[4:]}"
    return quoted
