"""How far readings travel in real motion."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from plica.api.character import Character, FilePath, counted_errors, file_names, usable_rig
from plica.diagnostics import Diagnostic, Diagnostics, Severity
from plica.diagnostics.place import counted
from plica.evaluate.clip_parts import ClipPart
from plica.prove.report import spans
from plica.prove.spans import Travel, Travels, measure_travels, report_travels
from plica.quantities import measured
from plica.readers.clip_reader import find_clips


@dataclass(frozen=True, eq=False, repr=False)
class MotionReport:
    """How far every driver's reading goes, and the span that this suggests.

    travels: None where errors stood in the way; diagnostics: those, and spans that motion does not reach or exceeds.
    """

    travels: Travels | None
    diagnostics: tuple[Diagnostic, ...]

    @property
    def ok(self) -> bool:
        """Whether everything could be read and held frames."""
        return self.travels is not None and not any(one.severity is Severity.ERROR for one in self.diagnostics)

    @property
    def drivers(self) -> tuple[Travel, ...]:
        """Each driver's travel, in the rig's order: radians, metres or a control's own unit."""
        return () if self.travels is None else self.travels.travels

    def text(self) -> str:
        """A table for people, and `span` lines to paste; "" without travels."""
        return "" if self.travels is None else spans.text(self.travels)

    def json(self) -> str:
        """The report as JSON, in each driver's unit; "" without travels."""
        return "" if self.travels is None else spans.json_text(self.travels)

    def __repr__(self) -> str:
        if self.travels is None:
            return f"<MotionReport: {counted_errors(self.diagnostics)}>"
        moving = sum(travel.moves for travel in self.drivers)
        return (
            f"<MotionReport: {counted(len(self.travels.clips), 'clip')}, {moving} of {len(self.drivers)} drivers move>"
        )

    def _repr_html_(self) -> str:
        from plica.api.notebook import diagnostics_html, table_html

        rows = [
            (
                travel.driver,
                measured(travel.least.value, travel.unit),
                measured(travel.greatest.value, travel.unit),
                " .. ".join(measured(end, travel.unit) for end in travel.span),
                " .. ".join(measured(end, travel.unit) for end in travel.suggested or ()),
            )
            for travel in self.drivers
        ]
        heads = ("driver", "least", "greatest", "span in spec", "span suggested")
        return (table_html(heads, rows) if rows else "") + diagnostics_html(self.diagnostics)


def measure_clips(
    character: Character,
    clips: FilePath | Iterable[FilePath],
    *,
    start: float | None = None,
    stop: float | None = None,
    stance_at: float | None = None,
) -> MotionReport:
    """Measure every driver's reading in files of motion (glTF 2.0, BVH). No mesh is needed.

    start, stop: only the part between these seconds, both included. stance_at: the second of each clip at which its
    skeleton stands in its neutral stance; None for the rest pose of its file. Errors of the spec and of clips are
    diagnostics of the result; nothing is raised.
    """
    diagnostics = Diagnostics()
    rig = usable_rig(character, diagnostics)
    if rig is None:
        return MotionReport(None, diagnostics.all)
    files = file_names(clips)
    part = ClipPart(start, stop, stance_at)
    result = [part.of(clip) for file in files for clip in find_clips(Path(file), file, None, diagnostics)]
    if diagnostics.has_errors:
        return MotionReport(None, diagnostics.all)
    spans_of = {name: span for (kind, name), span in character.origins.items() if kind == "driver"}
    travels = measure_travels(rig, result, diagnostics, spans_of)
    if not travels.clips:
        diagnostics.add("no-frames", None, clips=", ".join(files))
        return MotionReport(None, diagnostics.all)
    report_travels(travels, diagnostics, spans_of)
    return MotionReport(travels, diagnostics.all)
