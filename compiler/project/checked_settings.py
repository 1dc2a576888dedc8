"""The settings of a `plica.toml`, each checked by its form."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from plica import regular_files
from plica.diagnostics import Diagnostics
from plica.diagnostics.catalogue import rule, rules
from plica.diagnostics.record import Severity
from plica.project.patterns import problem_of
from plica.project.places import Places, Way
from plica.project.root import FILE
from plica.project.settings import ACCEPT_FORM, SETTINGS, VERSION, AcceptedFinding, Pattern, Project
from plica.workspace import Refused, Workspace

_FORMS = {
    str: "a text in quotes",
    int: "a whole number",
    float: "a number",
    bool: "`true` or `false`",
    list: "a list in brackets",
    dict: "a table",
}


class CheckedSettings:
    """The settings of one file. What is wrong is told, and then what holds without it is given instead."""

    def __init__(self, held: Mapping[str, Any], places: Places, root: Path, diagnostics: Diagnostics) -> None:
        self._held, self._places, self._root, self._diagnostics = held, places, root, diagnostics
        self._real_root = root.resolve()

    def project(self, shown: str) -> Project:
        """The project, to be used only where nothing was told."""
        self._refuse_unknown(self._held, [setting.name for setting in SETTINGS], ())
        self._version()
        targets, target_places = self._targets()
        return Project(
            root=self._root,
            shown=shown,
            characters=self._patterns("characters"),
            libraries=self._patterns("libraries"),
            folders=tuple(self._folders()),
            clips=self._patterns("clips"),
            targets=targets,
            out=self._out(),
            accepts=tuple(self._accepts()),
            accepted_changes=self._accepted_changes(),
            target_places=target_places,
        )

    # ---- single settings

    def _version(self) -> None:
        version = self._held.get("plica", VERSION)
        if type(version) is not int or version < 1:
            self._wrong(("plica",), version, f"the version of this form, {VERSION}")
        elif version > VERSION:
            self._diagnostics.add(
                "newer-project", self._places.of_value(("plica",)), version=version, known=VERSION, file=FILE
            )

    def _patterns(self, name: str) -> tuple[Pattern, ...]:
        if name not in self._held:
            return tuple(Pattern(text, None) for text in _default(name))
        return tuple(
            Pattern(text, self._places.of_value(way)) for way, text in self._texts((name,)) if self._usable(way, text)
        )

    def _folders(self) -> Iterator[Path]:
        for way, text in self._texts(("folders",)):
            if text in (".", "./") or self._usable(way, text):
                folder = self._inside(way, text)
                if folder is None:
                    continue
                if folder.is_dir():
                    yield folder
                elif "folders" in self._held:
                    self._missing(way, text, "folder")

    def _out(self) -> Path:
        way, text = ("out",), self._text(("out",)) or _default("out")
        if "out" in self._held and not self._usable(way, text):
            return self._root
        return self._inside(way, text) or self._root

    def _accepted_changes(self) -> Path | None:
        way = ("accepted-changes",)
        text = self._text(way)
        if text is None or not self._usable(way, text):
            return None
        located = Workspace(self._root).locate(text)
        if isinstance(located, Refused):
            if located.name == "file-outside":
                self._outside(way, text)
            else:
                self._missing(way, text, "file")
            return None
        return located

    def _targets(self) -> tuple[dict[str, dict[str, list[str]]], dict[tuple[str, str], Any]]:
        held = self._held.get("targets", _default("targets"))
        places: dict[tuple[str, str], Any] = {}
        targets: dict[str, dict[str, list[str]]] = {}
        if not isinstance(held, dict):
            self._wrong(("targets",), held, "a table for each output form, as in `[targets.json]`")
            return targets, places
        for name, options in held.items():
            places[name, ""] = self._places.of_key(("targets", name))
            targets[name] = {}
            if not isinstance(options, dict):
                self._wrong(("targets", name), options, f"a table of options, as in `[targets.{name}]`")
                continue
            for key, value in options.items():
                way: Way = ("targets", name, key)
                places[name, key] = self._places.of_value(way)
                texts = [_option_text(one) for one in (value if isinstance(value, list) else [value])]
                if None in texts:
                    self._wrong(way, value, "a text, a number, `true`, `false`, or a list of these")
                targets[name][key] = [text for text in texts if text is not None]
        return targets, places

    def _accepts(self) -> Iterator[AcceptedFinding]:
        held = self._held.get("accept", [])
        if not isinstance(held, list):
            self._wrong(("accept",), held, "tables that begin with `[[accept]]`")
            return
        for index, entry in enumerate(held):
            way: Way = ("accept", index)
            if not isinstance(entry, dict):
                self._wrong(way, entry, "a table that begins with `[[accept]]`")
                continue
            self._refuse_unknown(entry, list(ACCEPT_FORM["properties"]), way)
            finding, because = self._text((*way, "finding"), entry), self._text((*way, "because"), entry)
            for name in ACCEPT_FORM["required"]:
                if name not in entry:
                    self._diagnostics.add("incomplete-acceptance", self._places.of_key(way), name=name)
            within = tuple(text for place, text in self._texts((*way, "within"), entry) if self._usable(place, text))
            if finding and self._can_be_accepted((*way, "finding"), finding) and because:
                yield AcceptedFinding(finding, because, within, self._places.of_value((*way, "finding")))

    def _can_be_accepted(self, way: Way, finding: str) -> bool:
        try:
            problem = "errors cannot be accepted" if rule(finding).severity == Severity.ERROR else None
            hint = None
        except KeyError:
            problem = "there is no finding of that name"
            hint = self._diagnostics.near_hint(finding, rules())
        if problem is not None:
            span = self._places.of_value(way)
            self._diagnostics.add("unknown-finding", span, hint=hint, finding=finding, problem=problem)
        return problem is None

    # ---- forms

    def _refuse_unknown(self, held: Mapping[str, Any], known: list[str], way: Way) -> None:
        for name in held:
            if name not in known:
                hint = self._diagnostics.near_hint(name, known)
                hint = hint or "the settings are " + ", ".join(f"`{one}`" for one in known)
                self._diagnostics.add("unknown-setting", self._places.of_key((*way, name)), hint=hint, name=name)

    def _text(self, way: Way, held: Mapping[str, Any] | None = None) -> str | None:
        value = (self._held if held is None else held).get(str(way[-1]))
        if value is None:
            return None
        if not isinstance(value, str) or not value.strip():
            self._wrong(way, value, _FORMS[str])
            return None
        return value

    def _texts(self, way: Way, held: Mapping[str, Any] | None = None) -> Iterator[tuple[Way, str]]:
        """The texts of a list, each with the way to it."""
        name = str(way[-1])
        value = (self._held if held is None else held).get(name, _default(name) if held is None else ())
        if not isinstance(value, list | tuple):
            self._wrong(way, value, 'a list of texts, as in `["first", "second"]`')
            return
        for index, text in enumerate(value):
            if isinstance(text, str):
                yield (*way, index), text
            else:
                self._wrong((*way, index), text, _FORMS[str])

    def _usable(self, way: Way, text: str) -> bool:
        """Whether a path or a pattern may be one of this project."""
        problem = problem_of(text)
        if problem == "":
            self._outside(way, text)
        elif problem is not None:
            span = self._places.of_value(way)
            self._diagnostics.add("unusable-path", span, path=text, problem=problem)
        return problem is None

    def _inside(self, way: Way, text: str) -> Path | None:
        """The place of a path, links followed; None where that is outside."""
        place = self._root / text
        try:
            real = regular_files.resolved(place)
        except (OSError, RuntimeError, ValueError):
            real = None
        if real is None or not real.is_relative_to(self._real_root):
            self._outside(way, text)
            return None
        return place

    # ---- what is told

    def _wrong(self, way: Way, value: object, wanted: str) -> None:
        found = _FORMS.get(type(value), "a time")
        if isinstance(value, str) and not value.strip():
            found = "an empty text"
        name = next(str(part) for part in reversed(way) if isinstance(part, str))
        span = self._places.of_value(way)
        self._diagnostics.add("wrong-setting", span, name=name, wanted=wanted, found=found)

    def _outside(self, way: Way, text: str) -> None:
        self._diagnostics.add("outside-project", self._places.of_value(way), path=text)

    def _missing(self, way: Way, text: str, kind: str) -> None:
        near = None
        parent, name = Path(text).parent, Path(text).name
        folder = self._root / parent
        if folder.is_dir():
            names = (entry.name for entry, _ in zip(folder.iterdir(), range(1000), strict=False))
            near = self._diagnostics.near(name, names)
        hint = f"did you mean `{(parent / near).as_posix()}`?" if near else None
        span = self._places.of_value(way)
        self._diagnostics.add("missing-in-project", span, hint=hint, kind=kind, path=text)


def _default(name: str) -> Any:
    return next(setting.default for setting in SETTINGS if setting.name == name)


def _option_text(value: object) -> str | None:
    """An option of a target as it is written on a command line; None for what cannot be one."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value) if isinstance(value, str | int | float) else None
