"""Test reports as XML that build services read.

The form has no standard; of the schemas that its readers have published, what is written keeps the one of the xunit
plugin of Jenkins, `junit-10.xsd`: `testsuites` with `testsuite`s of `testcase`s, each with at most one of `failure`,
`error` and `skipped`; counts and times, in seconds. Where a test stands has no place of its own in it, so the text of a
failure begins with it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple
from xml.etree import ElementTree

from plica import foreign
from plica.diagnostics.record import Diagnostic, Severity


class Case(NamedTuple):
    """One test. seconds: None where they are not known. problem: why it is not as it should be, with details below.

    kind: `failure`, something that does not hold; `error`, something that could not be done; `skipped`.
    """

    group: str
    name: str
    seconds: float | None = None
    kind: str = ""
    problem: str = ""
    details: str = ""
    file: str = ""
    line: int = 0


class Suite(NamedTuple):
    """Tests that belong together. seconds: of all of them; file: the spec that they are about."""

    name: str
    cases: Sequence[Case]
    seconds: float = 0.0
    file: str = ""


def document(suites: Sequence[Suite]) -> str:
    """The report."""
    counts = _counts([case for suite in suites for case in suite.cases])
    del counts["skipped"]  # which the schema has for single suites alone
    root = ElementTree.Element("testsuites", counts)
    root.set("time", _time(sum(suite.seconds for suite in suites)))
    for suite in suites:
        root.append(_suite(suite))
    return foreign.xml_document(root)


def findings_case(
    group: str, name: str, diagnostics: Iterable[Diagnostic], seconds: float | None, failed: bool = False
) -> Case:
    """The test that a spec has no error: it fails with the first one, and all of them in its details."""
    found = tuple(diagnostics)
    errors = [one for one in found if one.severity is Severity.ERROR]
    lines = [f"{one.span.place if one.span else name}: {one.severity} {one.code} {one.message}" for one in found]
    if not errors and not failed:
        return Case(group, name, seconds, details="; ".join(lines), file=name)
    first = errors[0].message if errors else "it is not as it should be"
    span = errors[0].span if errors else None
    file, line = (span.source.path, span.source.line_and_column(span.start)[0]) if span else (name, 0)
    return Case(group, name, seconds, "failure", first, "; ".join(lines), file, line)


def _suite(suite: Suite) -> ElementTree.Element:
    element = ElementTree.Element("testsuite", {"name": suite.name, **_counts(suite.cases)})
    element.set("time", _time(suite.seconds))
    if suite.file:
        element.set("file", suite.file)
    for case in suite.cases:
        element.append(_case(case))
    return element


def _case(case: Case) -> ElementTree.Element:
    element = ElementTree.Element("testcase", {"classname": case.group, "name": case.name})
    if case.seconds is not None:
        element.set("time", _time(case.seconds))
    if case.kind:
        place = f"{case.file}:{case.line}" if case.line else case.file
        inner = ElementTree.SubElement(element, case.kind, {"message": case.problem})
        inner.text = "; ".join(part for part in (place, case.details) if part) or None
    elif case.details:
        ElementTree.SubElement(element, "system-out").text = case.details
    return element


def _counts(cases: Iterable[Case]) -> dict[str, str]:
    kinds = [case.kind for case in cases]
    counts = {"tests": len(kinds), "failures": kinds.count("failure")}
    counts |= {"errors": kinds.count("error"), "skipped": kinds.count("skipped")}
    return {name: str(count) for name, count in counts.items()}


def _time(seconds: float) -> str:
    return f"{seconds:.3f}"
