"""What changed since an earlier state, as rows of a page: entries of `plica diff` in its words, and where they show."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

from plica.diff.broken_state import mistake_text
from plica.diff.effects import readings_of, strengths_at
from plica.diff.entries import ReviewEntry, Section
from plica.diff.entry_text import OLD_TEXT, EntryStatement, entry_text
from plica.diff.report import Report
from plica.diff.text_report import last_line
from plica.diff.verdicts import Plot
from plica.evaluate.poses import plain_pose
from plica.quantities import length, quantity
from plica.rig.rig import Rig
from plica.sheet.before import Earlier
from plica.sheet.changed_strengths import ChangedStrengths
from plica.sheet.most_different import ComparedSkins, DifferentPose
from plica.sheet.plots import STEPS, PlotFrame, PlotLine, frame_around, path
from plica.sheet.record import PlaceData
from plica.sheet.spec_lines import LinePlace, SpecLines
from plica.source import Span

_MOST_PLOTS: Final = 2
_OF_TEXTURES: Final = frozenset({"folds", "details"})


class ChangedPlot(NamedTuple):
    """An old and a new response over one axis: its lines, and its ends in words."""

    old: str
    new: str
    frame: PlotFrame
    low: str
    high: str


class LiveStrength(NamedTuple):
    """A strength by its number in the new and in the old state, -1 where a state lacks it."""

    name: str
    new: int
    old: int


class ChangeView(NamedTuple):
    """An entry. heading: what it is listed under, "" where the one before is listed under the same.

    places: lines of the present texts, and places in the old ones as text; jump: the number of the pose to look at it
    in among the places of the page, -1 for none; seen: what is to be seen there, or why nothing is.
    """

    id: str
    heading: str
    title: str
    statements: tuple[EntryStatement, ...]
    places: tuple[LinePlace | str, ...]
    hint: str
    reaches: str
    fingerprint: str
    plots: tuple[ChangedPlot, ...]
    strengths: tuple[LiveStrength, ...]
    jump: int
    seen: str


class ChangesView(NamedTuple):
    """The section: what it is compared with, the last line of the report, what could not be compared, the entries."""

    given: str
    summary: str
    unknown: tuple[str, ...]
    entries: tuple[ChangeView, ...]
    jump: int
    seen: str


def changes_view(
    earlier: Earlier, rig: Rig, lines: SpecLines, places: Sequence[PlaceData]
) -> tuple[ChangesView, list[PlaceData]]:
    """The section, and the poses that it leads to, which come after those in `places` on the page."""
    return _ChangeRows(earlier, rig, lines, places).view()


def asked_strengths(report: Report, old: Rig | None, new: Rig) -> frozenset[str]:
    """The strengths that any change is about."""
    if old is None:
        return frozenset()
    finds = ChangedStrengths(old, new)
    return frozenset().union(*(finds.of(entry) or () for entry in report.entries))


class _ChangeRows:
    def __init__(self, earlier: Earlier, rig: Rig, lines: SpecLines, places: Sequence[PlaceData]) -> None:
        self._earlier, self._new, self._lines = earlier, rig, lines
        old = None if earlier.state is None else earlier.state.rig
        self._before = len(places)
        self._added: list[PlaceData] = []
        self._finds = None if old is None else ChangedStrengths(old, rig)
        self._worst = {place.block: number for number, place in enumerate(places) if place.group == "worst"}
        self._numbers = [
            {} if rig is None else {one.name: number for number, one in enumerate(rig.strengths)} for rig in (rig, old)
        ]

    def view(self) -> tuple[ChangesView, list[PlaceData]]:
        report, skins = self._earlier.report, self._earlier.skins
        jump, seen = self._overall(skins)
        section: Section | None = None
        entries = []
        for number, entry in enumerate(report.entries):
            entries.append(
                self._entry(entry, f"change-{number}", "" if entry.section is section else entry.section.heading)
            )
            section = entry.section
        unknown = [
            f"{one.character} compiles neither before nor now: {mistake_text(one.mistakes)}"
            for one in report.broken_throughout
        ]
        unknown += [
            f"the old state does not compile, so there is nothing of it to show: {mistake_text(one.mistakes)}"
            for one in report.broken
            if one.state == "old"
        ]
        unknown += [f"not measured on the mesh: {one}" for one in report.unmeasured]
        made = ChangesView(self._earlier.given, last_line(report), tuple(unknown), tuple(entries), jump, seen)
        return made, self._added

    def _overall(self, skins: ComparedSkins | str) -> tuple[int, str]:
        if isinstance(skins, str):
            return -1, skins
        found = skins.most(None)
        if found is None:
            return -1, "the skin is the same in every pose that was looked at"
        return self._place("what changed", found, "changes"), _seen(found)

    def _entry(self, entry: ReviewEntry, block: str, heading: str) -> ChangeView:
        said = entry_text(entry, several=False, whole=True)
        names = frozenset() if self._finds is None else self._finds.of(entry)
        jump, seen = self._where(entry, said.what, names, block)
        plots = [
            change.plot for change in entry.changes if change.plot is not None and change.plot.old != change.plot.new
        ]
        return ChangeView(
            block,
            heading,
            said.title,
            said.statements,
            tuple(self._stands(place, is_gone) for place, is_gone in zip(entry.places, entry.gone, strict=True)),
            said.hint,
            said.reaches,
            entry.fingerprint,
            tuple(map(_drawn, plots[:_MOST_PLOTS])),
            self._live(entry),
            jump,
            seen,
        )

    def _where(self, entry: ReviewEntry, what: str, names: frozenset[str] | None, block: str) -> tuple[int, str]:
        """The place where a change shows, and what is seen there."""
        worst = self._worst_of(entry)
        if worst >= 0:
            return worst, "where it is worst now"
        skins, tables = self._earlier.skins, {fact.table for change in entry.changes for fact in change.facts}
        if isinstance(skins, str) or names == frozenset() or tables == {"expectations"}:
            return -1, ""
        found = None if tables <= _OF_TEXTURES else skins.most(names)
        if found is not None:
            return self._place(what, found, block), _seen(found)
        fold = self._fold_of(names)
        if fold:
            pose = skins.full(fold)
            return (-1, "") if pose is None else (self._place(what, pose, block, "folds"), f"folds, {pose.words}")
        return -1, "the skin is the same in every pose that was looked at"

    def _worst_of(self, entry: ReviewEntry) -> int:
        expected = self._new.expectations
        for change in entry.changes:
            for fact in change.facts:
                if fact.table == "expectations" and fact.new in expected:
                    return self._worst.get(f"expect-{expected.index(fact.new)}", -1)
        return -1

    def _fold_of(self, names: frozenset[str] | None) -> str:
        """The first of some strengths that a fold follows in either state, "" where there is none."""
        rigs = [self._new, *([] if self._earlier.state is None else [self._earlier.state.rig])]
        followed = [fold.follows for rig in rigs for fold in rig.folds]
        return next((name for name in followed if name is not None and names is not None and name in names), "")

    def _place(self, name: str, found: DifferentPose, block: str, colour: str = "apart") -> int:
        self._added.append(
            PlaceData("change", name, _seen(found), plain_pose(found.pose), found.vertex, block, "", colour)
        )
        return self._before + len(self._added) - 1

    def _stands(self, span: Span, is_gone: bool) -> LinePlace | str:
        place = None if is_gone else self._lines.at(span)
        return place or f"{span.place}{OLD_TEXT if is_gone else ''}"

    def _live(self, entry: ReviewEntry) -> tuple[LiveStrength, ...]:
        names: dict[str, str] = {}
        for change in entry.changes:
            for fact in change.facts:
                if fact.table == "strengths":
                    names[fact.name] = fact.name if fact.old is None else fact.old.name
        new, old = self._numbers
        return tuple(LiveStrength(name, new.get(name, -1), old.get(was, -1)) for name, was in names.items())


def _seen(found: DifferentPose) -> str:
    return f"{found.words}: at most {length(found.apart)} apart"


def _drawn(plot: Plot) -> ChangedPlot:
    import numpy as np

    exact = readings_of(plot.old, plot.new)
    readings = np.unique(np.concatenate([exact, np.linspace(exact[0], exact[-1], STEPS)]))
    old, new = (
        PlotLine(tuple(readings.tolist()), tuple(np.asarray(strengths_at(one, readings)).tolist()))
        for one in (plot.old, plot.new)
    )
    frame = frame_around([old, new])
    ends = [quantity(end, plot.unit, 4) for end in (frame.low, frame.high)]
    return ChangedPlot(path(old, frame), path(new, frame), frame, *ends)
