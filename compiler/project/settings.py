"""What a project says of itself, and one record for each setting that a `plica.toml` may have."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple

from plica.source import Span

VERSION: Final = 1

Json = Mapping[str, Any]


class AcceptedFinding(NamedTuple):
    """A warning or note that a project accepts, by its rule's name, in the texts that its patterns match; all for none.

    at: where that is written. because: the reason.
    """

    finding: str
    because: str
    within: tuple[str, ...]
    at: Span | None


class Pattern(NamedTuple):
    """A pattern of files, and where it is written; None for one that holds where nothing is written."""

    text: str
    at: Span | None


class Project(NamedTuple):
    """A `plica.toml` that was read and has no mistake.

    root: the folder that it lies in; shown: what the file is called in messages; folders: those that every spec of the
    project may use files of, all inside `root`; out: the folder that builds go to; targets: options as texts by target
    and name; accepted_changes: the file of changes that `plica diff` takes for agreed to.
    """

    root: Path
    shown: str
    characters: tuple[Pattern, ...]
    libraries: tuple[Pattern, ...]
    folders: tuple[Path, ...]
    clips: tuple[Pattern, ...]
    targets: Mapping[str, Mapping[str, Sequence[str]]]
    out: Path
    accepts: tuple[AcceptedFinding, ...]
    accepted_changes: Path | None
    target_places: Mapping[tuple[str, str], Span | None]
    """Where each target's name and its options are written, by target and option; the option of a name is ""."""


class ProjectSetting(NamedTuple):
    """One key of a `plica.toml`: what it is for, its form as JSON Schema, and what holds without it."""

    name: str
    about: str
    form: Json
    default: Any


_PATTERN: Final[Json] = {"type": "string", "minLength": 1}
_PATTERNS: Final[Json] = {"type": "array", "items": _PATTERN}
_VALUE: Final[Json] = {"type": ["string", "number", "boolean"]}

ACCEPT_FORM: Final[Json] = {
    "type": "object",
    "additionalProperties": False,
    "required": ["finding", "because"],
    "properties": {
        "finding": {"type": "string", "minLength": 1, "description": "the name of a warning or a note"},
        "because": {"type": "string", "minLength": 1, "description": "the reason, for those who review"},
        "within": {**_PATTERNS, "description": "patterns of the specs and libraries it is accepted in; all without it"},
    },
}

SETTINGS: Final = (
    ProjectSetting("plica", "the version of this form", {"type": "integer", "minimum": 1, "maximum": VERSION}, VERSION),
    ProjectSetting("characters", "patterns of the characters' specs", _PATTERNS, ("characters/*/*.plica",)),
    ProjectSetting("libraries", "patterns of the libraries that they use", _PATTERNS, ("library/**/*.plica",)),
    ProjectSetting("folders", "folders that every spec may use files of", _PATTERNS, ("library",)),
    ProjectSetting("clips", "patterns of motion that `prove` goes over as well", _PATTERNS, ()),
    ProjectSetting("out", "the folder that builds go to", {"type": "string", "minLength": 1}, "build"),
    ProjectSetting(
        "targets",
        "a table for each output form, with its options",
        {
            "type": "object",
            "additionalProperties": {
                "type": "object",
                "additionalProperties": {"anyOf": [_VALUE, {"type": "array", "items": _VALUE}]},
            },
        },
        {"json": {}, "python": {}},
    ),
    ProjectSetting("accept", "warnings and notes that are accepted", {"type": "array", "items": ACCEPT_FORM}, ()),
    ProjectSetting(
        "accepted-changes",
        "the file of changes that `plica diff` takes for agreed to",
        {"type": "string", "minLength": 1},
        None,
    ),
)
"""Every setting, in the order of the page."""


def schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a `plica.toml` as data."""
    properties: dict[str, Any] = {}
    for setting in SETTINGS:
        default = {} if setting.default in (None, ()) else {"default": _plain(setting.default)}
        properties[setting.name] = {"description": setting.about, **setting.form, **default}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:plica:schema:project:1",
        "title": "plica.toml: a project of characters",
        "type": "object",
        "additionalProperties": False,
        "properties": properties,
    }


def _plain(value: object) -> object:
    return list(value) if isinstance(value, tuple) else value


if __name__ == "__main__":
    import json
    import sys

    Path(sys.argv[1]).write_text(json.dumps(schema(), indent=2) + "\n", "utf-8")
