"""Output names: which text a declaration's name becomes on each side."""

from __future__ import annotations

from plica.named_tuples import NamedTuple
from plica.spec.entries import EntryReference, OneSide, ScopeSide

SIDES: dict[ScopeSide, tuple[OneSide, ...]] = {
    "both": ("left", "right"),
    "left": ("left",),
    "right": ("right",),
    "none": ("none",),
}


class Naming(NamedTuple):
    """The character's pattern, such as `{side}_{name}`, and what it writes for each side."""

    pattern: str
    left: str
    right: str

    def of(self, name: str, side: OneSide, member: str | None = None) -> str:
        """The output name of a declaration (of a field's sample, if `member`) on a side."""
        full = name if member is None else f"{name}_{member}"
        if side == "none":
            return full
        text = self.left if side == "left" else self.right
        # The name goes in last, so that a name that looks like a placeholder stays what it is.
        return self.pattern.replace("{side}", text).replace("{name}", full)

    def target(self, target: EntryReference, side: OneSide) -> str:
        """The output name that a reference means from a declaration's side."""
        meant: OneSide = side if target.side == "same" else target.side
        return self.of(target.name, meant, target.member)
