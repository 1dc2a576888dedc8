"""Targets by name, ours and other people's, through the entry points group `plica.targets`; each loads when used."""

from __future__ import annotations

from collections.abc import Iterable
from importlib.metadata import EntryPoint, entry_points
from typing import TYPE_CHECKING

from plica.diagnostics import Diagnostics
from plica.diagnostics.suggest import did_you_mean

if TYPE_CHECKING:
    from plica.emit.target import Target

GROUP = "plica.targets"


def entries(path: Iterable[str] | None = None) -> dict[str, EntryPoint]:
    """The registered targets by name, sorted; nothing is imported.

    `path` lists folders to look for packages in, instead of sys.path. Where two packages register one name, Plica's
    own comes first, then the one whose value sorts first, so that the result does not depend on installation order.
    """
    if path is None:
        points: Iterable[EntryPoint] = entry_points(group=GROUP)
    else:
        from importlib.metadata import distributions

        points = (
            point
            for distribution in distributions(path=list(path))
            for point in distribution.entry_points
            if point.group == GROUP
        )
    ordered = sorted(points, key=lambda point: (point.name, not point.value.startswith("plica."), point.value))
    result: dict[str, EntryPoint] = {}
    for point in ordered:
        result.setdefault(point.name, point)
    return result


def load(name: str, diagnostics: Diagnostics, registered: dict[str, EntryPoint] | None = None) -> Target | None:
    """The target of a name; None, with a diagnostic, where there is none or its package does not work."""
    from plica.emit.target import Target  # not for those who only ask which targets there are

    known = entries() if registered is None else registered
    if name not in known:
        hint = did_you_mean(name, known) or "the targets here are " + ", ".join(f"`{each}`" for each in known)
        diagnostics.add("unknown-target", None, hint=hint, target=name)
        return None
    try:
        target = known[name].load()
    except (Exception, SystemExit) as error:  # whatever another package raises must not end in a traceback
        problem = f"{type(error).__name__}: {error}"
        diagnostics.add("broken-target", None, target=name, module=known[name].value, problem=problem)
        return None
    if not isinstance(target, Target):
        problem = f"it registers {type(target).__name__}, not an instance of plica.emit.target.Target"
        diagnostics.add("broken-target", None, target=name, module=known[name].value, problem=problem)
        return None
    return target
