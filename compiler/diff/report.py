"""What a comparison amounts to: every change, judged, and what could not be compared."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, NamedTuple

from plica.diff.broken_state import BrokenState
from plica.diff.entries import ReviewEntry, entries_of
from plica.diff.judged_change import JudgedChange
from plica.diff.verdicts import Harm

_STEPS = {Harm.BREAKING: "major", Harm.RISKY: "minor", Harm.SAFE: "minor", Harm.COSMETIC: "patch"}


class Accepted(NamedTuple):
    """A change that was agreed to, why, and by which fingerprint: its own, or that of its entry."""

    change: JudgedChange
    reason: str
    agreed: str


class Broken(NamedTuple):
    """A character that does not compile in a state (`old` or `new`), and its mistakes there."""

    character: str
    state: Literal["old", "new"]
    mistakes: BrokenState


class DrawnChange(NamedTuple):
    """The picture of what a change does to a character's skin: its file, as the report is to name it, "" for none; and
    what it shows, or why there is none.
    """

    character: str
    file: str
    words: str


class Report(NamedTuple):
    """Every change, the worst first; `accepted` ones count for nothing.

    `unmeasured` says of which characters something was not compared on the mesh although it may differ there, and why.
    `broken`: what does not compile, of which only the texts were compared. `pictures`: of characters' skins, where they
    were asked for.
    """

    characters: tuple[str, ...]
    changes: tuple[JudgedChange, ...]
    accepted: tuple[Accepted, ...] = ()
    unmeasured: tuple[str, ...] = ()
    broken: tuple[Broken, ...] = ()
    pictures: tuple[DrawnChange, ...] = ()

    @property
    def is_whole(self) -> bool:
        """Whether everything could be compared."""
        return not self.unmeasured and not self.broken

    @property
    def broken_throughout(self) -> tuple[Broken, ...]:
        """What compiles in neither state, as it is in the new one: that is no change, and told beside them."""
        old = {one.character for one in self.broken if one.state == "old"}
        return tuple(one for one in self.broken if one.state == "new" and one.character in old)

    @property
    def step(self) -> str:
        """The version step that the changes ask for: `major`, `minor`, `patch` or `none`; `unknown` where something
        does not compile, and where no change was found but not all could be compared.
        """
        if self.changes and not self.broken:
            return _STEPS[min(change.harm for change in self.changes)]
        return "none" if self.is_whole else "unknown"

    @property
    def entries(self) -> tuple[ReviewEntry, ...]:
        """The changes as a reviewer reads them: one entry for one cause, in the order in which they matter."""
        return entries_of(self.changes)


def with_accepted(report: Report, reasons: Mapping[str, str]) -> Report:
    """The report with the changes of these fingerprints taken out; that of an entry stands for all of its changes."""
    agreed = {change.fingerprint: change.fingerprint for change in report.changes if change.fingerprint in reasons}
    for entry in report.entries:
        if entry.fingerprint in reasons:
            agreed |= {change.fingerprint: entry.fingerprint for change in entry.changes}
    left = tuple(change for change in report.changes if change.fingerprint not in agreed)
    accepted = tuple(
        Accepted(change, reasons[agreed[change.fingerprint]], agreed[change.fingerprint])
        for change in report.changes
        if change.fingerprint in agreed
    )
    return report._replace(changes=left, accepted=accepted)
