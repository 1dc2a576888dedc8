"""The target `json`: the rig as documented JSON, and its test vectors."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from plica.build.features import ALL_FEATURES
from plica.build.model import Build
from plica.build.names import safe_file_name
from plica.build.target import Target
from plica.diagnostics import Diagnostics


@dataclass(frozen=True)
class JsonTarget(Target):
    """`<character>.rig.json` and `vectors.json`; the README.md here describes both."""

    name: ClassVar[str] = "json"
    description: ClassVar[str] = "the whole rig as plain data, with test vectors"
    supports: ClassVar[frozenset[str]] = ALL_FEATURES

    def emit(self, build: Build, found: Diagnostics) -> dict[str, bytes]:
        """The rig, named after the character, and `vectors.json`."""
        from plica.build.vectors import vectors_bytes
        from plica.rig.json import encoded, write_rig

        name = f"{safe_file_name(build.rig.character.name)}.rig.json"
        return {name: encoded(write_rig(build.rig)), "vectors.json": vectors_bytes(build.rig)}


TARGET = JsonTarget()
