"""Takes out the warnings and notes that a project accepts."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from plica.diagnostics import Diagnostic, Diagnostics, Severity
from plica.project.members import inside, within
from plica.project.settings import AcceptedFinding, Project
from plica.source import Span

_MORE: Final = "more-of-the-same"


class Acceptances:
    """What a project accepts, and which of it there was."""

    def __init__(self, project: Project) -> None:
        self._project = project
        self._used: set[int] = set()

    def kept(self, diagnostics: Iterable[Diagnostic], spec: str) -> tuple[Diagnostic, ...]:
        """The diagnostics of one spec, called `spec` in messages, without those that are accepted."""
        found = tuple(diagnostics)
        accepted = {id(one) for one in found if self._accepts(one, spec)}
        # How many more of the same there are at a place is no news where the same is accepted.
        gone = {(one.span, f"`{one.name}`") for one in found if id(one) in accepted}
        kept = (one for one in found if id(one) not in accepted)
        return tuple(one for one in kept if not (one.name == _MORE and self._is_about(one, gone)))

    @staticmethod
    def _is_about(more: Diagnostic, gone: set[tuple[Span | None, str]]) -> bool:
        return any(more.span == span and name in more.message for span, name in gone)

    def tell_unused(self, diagnostics: Diagnostics) -> None:
        """A warning for each acceptance that nothing has; to be called once everything was looked at."""
        for index, accept in enumerate(self._project.accepts):
            if index not in self._used:
                diagnostics.add("nothing-accepted-in-project", accept.at, finding=accept.finding)

    def _accepts(self, one: Diagnostic, spec: str) -> bool:
        if one.severity is Severity.ERROR or not self._project.accepts:
            return False
        path = inside(self._project, one.span.source.path if one.span else spec)
        by = [index for index, accept in enumerate(self._project.accepts) if _covers(accept, one, path)]
        self._used.update(by)
        return bool(by)


def _covers(accept: AcceptedFinding, one: Diagnostic, path: str | None) -> bool:
    return accept.finding == one.name and within(accept.within, path)
