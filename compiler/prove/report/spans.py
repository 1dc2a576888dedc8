"""What `plica measure` tells: a table and lines to paste, or JSON."""

from __future__ import annotations

from plica import foreign
from plica.prove.report.tables import table
from plica.prove.spans import PERCENTILES, Extreme, Travel, Travels, joined_spans
from plica.quantities import in_unit, measured, whole

FORMAT = "plica-travels"
VERSION = 1


def text(travels: Travels) -> str:
    """The clips, a row for each driver, and a `span` line for each that moves, in the spec's units."""
    lines = [f"{clip.clip}: {clip.frames} frames, {clip.seconds:.2f} s" for clip in travels.clips]
    rows = [_row(travel) for travel in travels.travels]
    heads = (
        "driver",
        "least",
        "5 %",
        "50 %",
        "95 %",
        "greatest",
        "near least",
        "near greatest",
        "span in spec",
        "reached",
    )
    lines += ["", *table(heads, rows).split("\n")]
    spans = joined_spans(travels.travels)
    units = {travel.declared: travel.unit for travel in travels.travels}
    if spans:
        width = max(len(_span_line(span, units[name])) for name, span in spans.items())
        lines += ["", "spans that this motion suggests:"]
        lines += [f"    {_span_line(span, units[name]).ljust(width)}   // {name}" for name, span in spans.items()]
    return foreign.lines(lines)


def _row(travel: Travel) -> tuple[str, ...]:
    unit = travel.unit
    low, middle, high = (travel.percentiles[PERCENTILES.index(share)] for share in (5, 50, 95))
    return (
        travel.driver,
        measured(travel.least.value, unit),
        *(measured(value, unit) for value in (low, middle, high)),
        measured(travel.greatest.value, unit),
        f"{travel.least.near:.2f} s",
        f"{travel.greatest.near:.2f} s",
        f"{measured(travel.span[0], unit)} .. {measured(travel.span[1], unit)}",
        whole(travel.reached, "%") if travel.moves else "still",
    )


def _span_line(span: tuple[float, float], unit: str) -> str:
    return f"span   {measured(span[0], unit)} .. {measured(span[1], unit)}"


def document(travels: Travels) -> dict[str, object]:
    """The report as plain values. Figures are in each driver's `unit` ("" for a plain number); times in seconds."""
    return {
        "format": FORMAT,
        "version": VERSION,
        "clips": [{"name": clip.clip, "frames": clip.frames, "seconds": clip.seconds} for clip in travels.clips],
        "drivers": [_driver(travel) for travel in travels.travels],
        "spans": [
            {"driver": name, "span": [in_unit(end, unit) for end in span], "unit": unit, "line": _span_line(span, unit)}
            for name, span in joined_spans(travels.travels).items()
            for unit in [next(travel.unit for travel in travels.travels if travel.declared == name)]
        ],
    }


def _driver(travel: Travel) -> dict[str, object]:
    unit = travel.unit
    return {
        "driver": travel.driver,
        "declared": travel.declared,
        "side": travel.side,
        "unit": unit,
        "span": [in_unit(end, unit) for end in travel.span],
        "least": _extreme(travel.least, unit),
        "greatest": _extreme(travel.greatest, unit),
        "percentiles": {
            str(share): in_unit(value, unit) for share, value in zip(PERCENTILES, travel.percentiles, strict=True)
        },
        "reached": travel.reached,
        "moves": travel.moves,
        "suggested": None if travel.suggested is None else [in_unit(end, unit) for end in travel.suggested],
    }


def _extreme(extreme: Extreme, unit: str) -> dict[str, object]:
    return {
        "value": in_unit(extreme.value, unit),
        "clip": extreme.clip,
        "seconds": extreme.seconds,
        "secondsNear": extreme.near,
    }


def json_text(travels: Travels) -> str:
    """The document."""
    return foreign.json_document(document(travels))
