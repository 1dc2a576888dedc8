"""The files of one build as a set, and its manifest: which files there are, of which build, with a digest of each.

A folder can hold files of other people, of other characters, and of targets that an earlier build wrote. So a set is
not a folder: it is what the character's manifest lists. `targets/README.md` describes the manifest.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any, Final, NamedTuple

from plica.emit.output_file_names import safe_file_name
from plica.rig.rig_json import encoded, encoder, write_lines
from plica.rig.rig_schema import schema_head

FORMAT: Final = "plica-build"
VERSION: Final = 1
ENDING: Final = ".manifest.json"


@dataclass(frozen=True)
class OutputSet:
    """What a build gave: the files by path relative to the output folder, sorted, and the targets that emit each.

    `built` names all targets that were built, those that had nothing to write too.
    """

    character: str
    build: str
    files: Mapping[str, bytes] = field(default_factory=dict)
    targets: Mapping[str, Sequence[str]] = field(default_factory=dict)
    built: tuple[str, ...] = ()

    @property
    def manifest_file(self) -> str:
        """The path of the manifest."""
        return manifest_file(self.character)


class ManifestEntry(NamedTuple):
    """A file of a set: its path, the targets that wrote it, the build that it belongs to, its size and SHA-256."""

    file: str
    targets: tuple[str, ...]
    build: str
    bytes: int
    sha256: str


@dataclass(frozen=True)
class Manifest:
    """The files of a character by path, sorted; `build` is the id of the build that wrote the manifest."""

    character: str
    build: str
    entries: Mapping[str, ManifestEntry]


class ManifestError(ValueError):
    """A text that is not a manifest; the message says why, in the user's words."""


def manifest_file(character: str) -> str:
    """The name of a character's manifest."""
    return f"{safe_file_name(character)}{ENDING}"


def manifest_of(made: OutputSet, kept: Sequence[ManifestEntry] = ()) -> Manifest:
    """The manifest of a set, and of files that earlier builds wrote and that are still there."""
    own = [
        ManifestEntry(path, tuple(sorted(set(made.targets.get(path, ())))), made.build, len(content), digest(content))
        for path, content in made.files.items()
    ]
    return Manifest(made.character, made.build, {entry.file: entry for entry in sorted([*own, *kept])})


def digest(content: bytes) -> str:
    """The SHA-256 of a file's bytes, in hexadecimal digits."""
    return sha256(content).hexdigest()


def manifest_bytes(manifest: Manifest) -> bytes:
    """The manifest as canonical JSON, one file on each line."""
    members: dict[str, Any] = {
        "format": FORMAT,
        "version": VERSION,
        "character": manifest.character,
        "build": manifest.build,
        "files": [{**entry._asdict(), "targets": list(entry.targets)} for entry in manifest.entries.values()],
    }
    return encoded(write_lines(members, encoder()))


def read_manifest(content: bytes) -> Manifest:
    """The manifest of a file's bytes. Raises ManifestError where they are none."""
    try:
        data = json.loads(content)
    except (ValueError, RecursionError):
        raise ManifestError("it is not JSON") from None
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        raise ManifestError(f"its `format` is not `{FORMAT}`")
    if data.get("version") != VERSION or isinstance(data["version"], bool):
        raise ManifestError(f"its `version` is not {VERSION}")
    character, build, files = data.get("character"), data.get("build"), data.get("files")
    if not isinstance(character, str) or not isinstance(build, str) or not isinstance(files, list):
        raise ManifestError("it lacks `character`, `build` or `files`")
    entries = [_entry(item) for item in files]
    return Manifest(character, build, {entry.file: entry for entry in entries})


def _entry(item: object) -> ManifestEntry:
    if not isinstance(item, dict):
        raise ManifestError("an entry of `files` is not an object")
    file, targets, build, size, sha = (item.get(name) for name in ManifestEntry._fields)
    if not (isinstance(file, str) and isinstance(build, str) and isinstance(sha, str) and isinstance(size, int)):
        raise ManifestError("an entry of `files` lacks a key, or has one of another kind")
    if not isinstance(targets, list) or not all(isinstance(target, str) for target in targets):
        raise ManifestError("the `targets` of an entry of `files` are not a list of names")
    return ManifestEntry(file, tuple(targets), build, size, sha)


def manifest_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of `<character>.manifest.json`."""
    text = {"type": "string"}
    build = {"type": "string", "pattern": "^[0-9a-f]{32}$"}
    entry = {
        "file": {"type": "string", "description": "relative to the manifest, with forward slashes"},
        "targets": {"type": "array", "items": text},
        "build": build,
        "bytes": {"type": "integer", "minimum": 0},
        "sha256": {"type": "string", "pattern": "^[0-9a-f]{64}$"},
    }
    top = {
        "format": {"const": FORMAT},
        "version": {"const": VERSION},
        "character": text,
        "build": build,
        "files": {"type": "array", "items": _record(entry)},
    }
    description = "The files that builds of a character wrote, and the build that each belongs to."
    described = schema_head("build", VERSION, "Plica build", description)
    return described | _record(top)


def _record(properties: dict[str, Any]) -> dict[str, Any]:
    """An object that has these keys."""
    return {"type": "object", "properties": properties, "required": list(properties)}
