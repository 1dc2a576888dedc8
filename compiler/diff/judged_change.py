"""What a change of one declaration does to a character."""

from __future__ import annotations

from typing import NamedTuple

from plica.diff.effects import Effect
from plica.diff.facts import Difference
from plica.diff.geometry import GeometryEffect
from plica.diff.verdicts import Harm, Plot, Verdict
from plica.source import Span

FINGERPRINT_DIGITS = 16


class JudgedChange(NamedTuple):
    """What one declaration's change does to a character, on one side or alike on both.

    `place` is where the change was made: in the new text, or in the old one where what stood there is gone (`is_gone`);
    `beside` is a place in the new text for it. `used_by` are the entries that a changed strength reaches, and of a text
    the characters that are made of it; `geometry` is what each fact does on the mesh. `fingerprint` stays while the
    change says the same, whatever changes beside it. `character` is empty for a text of several.
    """

    character: str
    kind: str
    declared: str
    what: str
    sides: tuple[str, ...]
    harm: Harm
    reaches: tuple[str, ...]
    verdicts: tuple[Verdict, ...]
    facts: tuple[Difference, ...]
    fingerprint: str
    place: Span | None = None
    beside: Span | None = None
    is_gone: bool = False
    effect: Effect | None = None
    geometry: tuple[GeometryEffect | None, ...] = ()
    plot: Plot | None = None
    used_by: tuple[str, ...] = ()
    hint: str | None = None

    @property
    def title(self) -> str:
        """`driver elbow (both sides)`."""
        sides = {("none",): "", ("left", "right"): " (both sides)"}.get(self.sides, f" ({', '.join(self.sides)})")
        return f"{self.kind} {self.declared}{sides}"
