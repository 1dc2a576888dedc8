"""From a Build to the files of all targets asked for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from importlib.metadata import EntryPoint

from plica.build.features import check_features
from plica.build.model import Build
from plica.build.registry import load
from plica.build.target import Options, Target
from plica.diagnostics import Diagnostics

DEFAULT_TARGETS = ("json", "python")


@dataclass(frozen=True)
class Request:
    """A target asked for, by name, with its options as text."""

    name: str
    options: Options = field(default_factory=dict)


DEFAULT_REQUESTS = tuple(Request(name) for name in DEFAULT_TARGETS)


def build_targets(
    build: Build,
    requests: Sequence[Request],
    found: Diagnostics,
    allow_inexpressible: bool = False,
    registered: Mapping[str, EntryPoint] | None = None,
) -> dict[str, bytes]:
    """The files of several targets, by path relative to the output folder, sorted; empty where any error is found.

    Two targets may emit the same file with the same bytes. `allow_inexpressible` turns the errors about what a
    target cannot express into warnings. `registered` replaces the targets of the installed packages.
    """
    errors = found.count_of_errors
    files: dict[str, bytes] = {}
    owners: dict[str, str] = {}
    for request in requests:
        target = load(request.name, found, None if registered is None else dict(registered))
        configured = None if target is None else target.configured(request.options, found)
        if configured is None:
            continue
        check_features(build, configured, found, allow_inexpressible)
        for path, content in _emitted(build, configured, found).items():
            if files.setdefault(path, content) != content:
                found.add("targets-disagree", None, path=path, first=owners[path], second=request.name)
            owners.setdefault(path, request.name)
    return {} if found.count_of_errors > errors else dict(sorted(files.items()))


def _emitted(build: Build, target: Target, found: Diagnostics) -> dict[str, bytes]:
    """A target's files. An exception is a broken target for other people's; from ours it is our bug and goes on."""
    try:
        return target.emit(build, found)
    except Exception as error:
        module = type(target).__module__
        if module.startswith("plica."):
            raise
        problem = f"{type(error).__name__}: {error}"
        found.add("broken-target", None, target=target.name, module=module, problem=problem)
        return {}
