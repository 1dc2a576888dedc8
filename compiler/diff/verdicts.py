"""What is said of a change: how bad it is and what it reaches."""

from __future__ import annotations

from enum import IntEnum
from typing import NamedTuple

from plica.diff.effects import Effect, Response
from plica.diff.facts import Difference
from plica.diff.geometry import GeometryEffect


class Harm(IntEnum):
    """How bad a change is; the worst first."""

    BREAKING = 0
    RISKY = 1
    SAFE = 2
    COSMETIC = 3

    @property
    def word(self) -> str:
        """As it is written."""
        return self.name.lower()


NAMES, STRENGTHS, GEOMETRY, TEXTURES, BUDGET = "names", "strengths", "geometry", "textures", "budget"
CHECKS, WORDS = "checks", "words"  # what is reported of the character; what is said for people alone
REACHES = (NAMES, STRENGTHS, GEOMETRY, TEXTURES, BUDGET, CHECKS, WORDS)


class Verdict(NamedTuple):
    """One judgement: `text` reads alike on both sides, `exact` (numbers in a joint's own frame) need not.

    `lines`: lines of a text that are gone (`- `) and new (`+ `).
    """

    rule: str
    harm: Harm
    reaches: tuple[str, ...]
    text: str
    exact: str = ""
    lines: tuple[str, ...] = ()


class Plot(NamedTuple):
    """Two responses to the same reading, to be drawn, and the reading's unit."""

    old: Response
    new: Response
    unit: str


class Judged(NamedTuple):
    """A fact with its verdicts; of a comparable driver the effect and what to draw; what it does on the mesh."""

    fact: Difference
    verdicts: tuple[Verdict, ...]
    effect: Effect | None = None
    plot: Plot | None = None
    geometry: GeometryEffect | None = None
