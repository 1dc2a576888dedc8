"""A target as somebody outside Plica would write it: it uses what targets/README.md shows and nothing else."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.target import Target, option


@dataclass(frozen=True)
class NameList(Target):
    """The names of all strengths, one on each line."""

    name: ClassVar[str] = "namelist"
    description: ClassVar[str] = "the names of all strengths"
    supports: ClassVar[frozenset[str]] = frozenset({"reading rotation", "curve linear", "curve hermite"})

    ending: str = option(".txt", "what the file's name ends in")

    def emit(self, build: Build, diagnostics: Diagnostics) -> dict[str, bytes]:
        """One file."""
        text = "".join(f"{strength.name}\n" for strength in build.rig.strengths)
        return {f"names{self.ending}": text.encode("utf-8")}


TARGET = NameList()
