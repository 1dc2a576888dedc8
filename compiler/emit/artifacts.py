"""From a Build to the files of all targets asked for."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from importlib.metadata import EntryPoint

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.features import check_features
from plica.emit.identity import build_id, made_from
from plica.emit.output_set import OutputSet
from plica.emit.registry import load
from plica.emit.target import Options, Target

DEFAULT_TARGETS = ("json", "python")
Step = Callable[[str], None]


@dataclass(frozen=True)
class Request:
    """A target asked for, by name, with its options as text."""

    name: str
    options: Options = field(default_factory=dict)


DEFAULT_REQUESTS = tuple(Request(name) for name in DEFAULT_TARGETS)


def build_targets(
    build: Build,
    requests: Sequence[Request],
    diagnostics: Diagnostics,
    allow_inexpressible: bool = False,
    registered: Mapping[str, EntryPoint] | None = None,
    step: Step = lambda text: None,
) -> OutputSet:
    """The files of several targets as one set; without files where any error is found.

    All carry the id of the build, which targets find as `build.rig.build`. Two targets may emit the same file with the
    same bytes. `allow_inexpressible` turns the errors about what a target cannot express into warnings. `registered`
    replaces the targets of the installed packages. `step` is called with what is done next.
    """
    errors = diagnostics.count_of_errors
    targets = _configured(requests, diagnostics, None if registered is None else dict(registered))
    options = next((made for _, target in targets if (made := target.masks()) is not None), None)
    identity = build_id(build.rig, build.sources, build.normals, options)
    rig = build.rig._replace(build=identity, made_from=made_from(build.rig, build.sources))
    build = replace(build, rig=rig, mask_options=options)
    files: dict[str, bytes] = {}
    owners: dict[str, list[str]] = {}
    for name, target in targets:

        def tell(what: str, name: str = name) -> None:
            step(f"{name}: {what}")

        step(name)
        check_features(build, target, diagnostics, allow_inexpressible)
        for path, content in _emitted(replace(build, step=tell), target, diagnostics).items():
            if files.setdefault(path, content) != content:
                diagnostics.add("targets-disagree", None, path=path, first=owners[path][0], second=name)
            owners.setdefault(path, []).append(name)
    _refuse_changed(build, diagnostics)
    built = tuple(name for name, _ in targets)
    if diagnostics.count_of_errors > errors:
        return OutputSet(build.rig.character.name, identity, built=built)
    return OutputSet(build.rig.character.name, identity, dict(sorted(files.items())), owners, built)


def _refuse_changed(build: Build, diagnostics: Diagnostics) -> None:
    """What was saved while this ran may be in some of the files and not in others."""
    for file in () if build.sources is None else build.sources.changed():
        diagnostics.add("source-changed", None, file=file)


def _configured(
    requests: Sequence[Request], diagnostics: Diagnostics, registered: dict[str, EntryPoint] | None
) -> list[tuple[str, Target]]:
    """The targets asked for, by name, with their options; those that cannot be had are told and left out."""
    targets = []
    for request in requests:
        target = load(request.name, diagnostics, registered)
        configured = None if target is None else target.configured(request.options, diagnostics)
        if configured is not None:
            targets.append((request.name, configured))
    return targets


def _emitted(build: Build, target: Target, diagnostics: Diagnostics) -> dict[str, bytes]:
    """A target's files. An exception is a broken target for other people's; from ours it is our bug and goes on."""
    try:
        return target.emit(build, diagnostics)
    except Exception as error:
        module = type(target).__module__
        if module.startswith("plica."):
            raise
        problem = f"{type(error).__name__}: {error}"
        diagnostics.add("broken-target", None, target=target.name, module=module, problem=problem)
        return {}
