"""The targets that a project builds, checked where its `plica.toml` names them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from plica.diagnostics import Diagnostic, Diagnostics
from plica.emit.registry import entries, load
from plica.emit.target import Target
from plica.project.settings import Project
from plica.source import Span
from plica.workspace import Refused, Workspace


class ChosenTargets(NamedTuple):
    """Options by target and name. own: whether all are Plica's own and read no file but the character's, so that what
    they give depends on nothing else."""

    options: dict[str, dict[str, list[str]]]
    own: bool


def chosen_targets(
    project: Project, given: tuple[str, ...], options: Mapping[str, Mapping[str, Sequence[str]]]
) -> tuple[ChosenTargets, tuple[Diagnostic, ...]]:
    """The targets given, or those of the project; options given replace the project's of that name."""
    diagnostics = Diagnostics()
    registered = entries()
    chosen: dict[str, dict[str, list[str]]] = {}
    own = True
    for name in given or tuple(project.targets):
        found = Diagnostics()
        target = load(name, found, registered)
        _tell(found, project.target_places.get((name, "")), diagnostics)
        stated = {} if target is None else _stated(project, name, target, diagnostics)
        chosen[name] = {**stated, **{key: list(texts) for key, texts in options.get(name, {}).items()}}
        own &= registered[name].value.startswith("plica.") if name in registered else False
        own &= not any(target is not None and target.names_files(key) for key in chosen[name])
    return ChosenTargets(chosen, own), diagnostics.all


def _stated(project: Project, name: str, target: Target, diagnostics: Diagnostics) -> dict[str, list[str]]:
    """The options that the project states for a target; each that is wrong is told at its place."""
    stated: dict[str, list[str]] = {}
    for key, texts in project.targets.get(name, {}).items():
        at = project.target_places.get((name, key))
        if target.names_files(key):
            stated[key] = [_file_inside(project, text, at, diagnostics) for text in texts]
            continue
        found = Diagnostics()
        target.configured({key: texts}, found)
        _tell(found, at, diagnostics)
        stated[key] = list(texts)
    return stated


def _file_inside(project: Project, text: str, at: Span | None, diagnostics: Diagnostics) -> str:
    """A file that an option names, looked for in the project and nowhere else."""
    located = Workspace(project.root).locate(text)
    if not isinstance(located, Refused):
        return str(located)
    if located.name == "file-outside":
        diagnostics.add("outside-project", at, path=text)
    else:
        diagnostics.add("missing-in-project", at, kind="file", path=text)
    return text


def _tell(found: Diagnostics, at: Span | None, diagnostics: Diagnostics) -> None:
    diagnostics.extend(one._replace(span=at) for one in found.all)
