"""What `plica prove` tells: a table for people, JSON and JUnit XML for programs, and findings for review tools."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import degrees, isfinite
from typing import Final

from plica import foreign
from plica.diagnostics import Diagnostics
from plica.diagnostics.junit import Case, Suite
from plica.diagnostics.junit import document as junit_document
from plica.evaluate.poses import plain_pose
from plica.kinds.expectations import expectation_kind
from plica.prove.baseline import is_better, is_worse
from plica.prove.quantities import unit_of_expectation
from plica.prove.report import proof_table
from plica.prove.report.proof_table import ProofTable
from plica.prove.report.worst_poses import moment, worst_poses
from plica.prove.results import Result, WorstFrame, WorstPlace
from plica.quantities import in_unit, measured, quantity, whole
from plica.rig.expectations import border_of
from plica.rig.rig import Rig
from plica.source import Span

FORMAT: Final = "plica-proof"
VERSION: Final = 2
BOUNDLESS: Final = "the figure is beyond all bounds"
_SHOWN_ANGLES: Final = 3

Accepted = Mapping[str, float]
Origins = Mapping[tuple[str, str], Span]


def figure(result: Result, value: float | None) -> str:
    """A figure in the unit of the expectation, `6.1 % lost` where it has a sign; a dash for none."""
    ways = expectation_kind(result.expectation.kind).ways
    shown = amount(result, value)
    nothing = value is None or shown == amount(result, 0.0)
    return shown if ways is None or nothing or value is None else f"{shown} {ways[value > 0.0]}"


def amount(result: Result, value: float | None) -> str:
    """A limit, or a figure without its sign, in the unit of the expectation; a dash for none."""
    if value is None:
        return "-"
    signed = expectation_kind(result.expectation.kind).ways is not None
    return measured(abs(value) if signed else value, unit_of_expectation(result.expectation))


def limit(result: Result) -> str:
    """The limit in the unit of the expectation; a small one never reads as 0, as if nothing at all were allowed."""
    shown = amount(result, result.limit)
    if not result.limit or shown != amount(result, 0.0):
        return shown
    return quantity(result.limit, unit_of_expectation(result.expectation), 2)


def fails(result: Result, accepted: Accepted) -> bool:
    """Whether a result counts as a failure: beyond its limit, and not accepted as it is."""
    if result.status != "fails":
        return False
    known = accepted.get(result.title)
    return known is None or is_worse(result, known)


def change(result: Result, accepted: Accepted) -> str:
    """`worse`, `better` or `same` as the accepted figure; "" where none was accepted, or nothing was measured."""
    known = accepted.get(result.title)
    if known is None or result.worst is None:
        return ""
    return "worse" if is_worse(result, known) else "better" if is_better(result, known) else "same"


def text(
    results: Sequence[Result],
    accepted: Accepted,
    width: int | None = None,
    colour: bool = False,
    every_pose: bool = False,
) -> str:
    """The table of some results for people; `plica.prove.report.proof_table.text` says what it looks like."""
    return proof_table.text(table_of(results, accepted), width, colour, every_pose)


def table_of(results: Sequence[Result], accepted: Accepted) -> ProofTable:
    """A row for each expectation, the worst poses in full, and a line that adds all up."""
    rows = [
        (
            _verdict(result, accepted),
            result.title,
            figure(result, result.worst),
            limit(result),
            figure(result, result.bare),
            _in_short(result),
        )
        for result in results
    ]
    verdicts = [row[0] for row in rows]
    counts = {verdict: verdicts.count(verdict) for verdict in ("holds", "accepted", "FAILS", "not measured")}
    told = {"holds": "hold", "accepted": "accepted as they are", "FAILS": "fail", "not measured": "not measured"}
    parts = [f"{number} {told[verdict]}" for verdict, number in counts.items() if number]
    changes = [change(result, accepted) for result in results]
    parts += [f"{changes.count(word)} got {word}" for word in ("worse", "better") if word in changes]
    failing = worst_poses([result for result in results if fails(result, accepted)])
    return ProofTable(tuple(rows), failing, worst_poses(results), ", ".join(parts) or "none")


def _verdict(result: Result, accepted: Accepted) -> str:
    if result.status != "fails":
        return result.status
    return "FAILS" if fails(result, accepted) else "accepted"


def _in_short(result: Result) -> str:
    if result.frame is not None:
        return pose(result.frame, angles=False)
    return result.about


def where(result: Result) -> str:
    """The pose, the place and what it is about, in a few words."""
    parts = [result.about] if result.about else []
    if result.place is not None:
        parts.append(place(result.place))
    if result.frame is not None:
        parts.append(pose(result.frame))
    if result.picture:
        parts.append(f"picture {result.picture}")
    return "; ".join(parts)


def place(result: WorstPlace) -> str:
    """`left_forearm near lowerarm_lf, vertex 412`."""
    region = f"{result.region} " if result.region else ""
    vertex = f", vertex {result.vertex}" if result.vertex >= 0 else ""
    return f"{region}near {result.joint or 'no joint'}{vertex}"


def pose(frame: WorstFrame, angles: bool = True) -> str:
    """`left_elbow_bend at 0.97 (lowerarm_lf 126 deg)`; without `angles` only up to the bracket."""
    if frame.kind == "rest":
        return "at rest"
    return f"{moment(frame)}{_turned(frame) if angles else ''}"


def _turned(frame: WorstFrame) -> str:
    shown = ", ".join(f"{joint} {whole(angle, 'deg')}" for joint, angle in frame.angles[:_SHOWN_ANGLES])
    more = len(frame.angles) - _SHOWN_ANGLES
    return f" ({shown}{f' and {more} more' if more > 0 else ''})" if shown else ""


def add_findings(
    results: Sequence[Result],
    accepted: Accepted,
    diagnostics: Diagnostics,
    origins: Mapping[tuple[str, str], Span],
    hints: Mapping[int, str] | None = None,
) -> None:
    """A finding at its `expect` line for each expectation that fails, got worse or better, or was not measured.

    hints: what to do about those that fail, by the number of the expectation, where there is more to say than usual.
    """
    for result in results:
        span = origins.get(("expect", str(result.index)))
        known = accepted.get(result.title)
        title, worst = f"`{result.title}`", figure(result, result.worst)
        if known is not None and is_worse(result, known):
            diagnostics.add("worse-than-accepted", span, expectation=title, worst=worst, accepted=amount(result, known))
        elif known is not None and is_better(result, known):
            diagnostics.add(
                "better-than-accepted", span, expectation=title, worst=worst, accepted=amount(result, known)
            )
        if result.status == "not measured":
            diagnostics.add("expectation-not-measured", span, expectation=title, reason=result.about)
        elif fails(result, accepted):
            at = where(result)
            diagnostics.add(
                "expectation-fails",
                span,
                hint=(hints or {}).get(result.index),
                expectation=title,
                figures=figures(result),
                where=f"; {at}" if at else "",
            )
        elif result.status == "fails":
            diagnostics.add("accepted-figure", span, expectation=title, worst=worst, accepted=amount(result, known))


def figures(result: Result) -> str:
    """`6.1 % lost, where the limit is 4 % (12 % lost without shapes)`."""
    bare = f" ({figure(result, result.bare)} without shapes)" if result.bare is not None else ""
    return f"{figure(result, result.worst)}, where the limit is {limit(result)}{bare}"


# ---- for programs


def json_text(rig: Rig, results: Sequence[Result], accepted: Accepted, complete: bool) -> str:
    """The proof as JSON, as `proof.md` and `proof.schema.json` beside this module describe it."""
    document = {
        "format": FORMAT,
        "version": VERSION,
        "character": rig.character.name,
        "complete": complete,
        "results": [_entry(result, accepted) for result in results],
    }
    return foreign.json_document(document)


def _entry(result: Result, accepted: Accepted) -> dict[str, object]:
    unit = unit_of_expectation(result.expectation)

    def shown(value: float | None) -> float | None:
        return None if value is None or not isfinite(value) else in_unit(value, unit)

    frame, place, kind = result.frame, result.place, expectation_kind(result.expectation.kind)
    return {
        "expectation": result.title,
        "kind": result.expectation.kind,
        "side": result.expectation.side,
        "status": result.status,
        "accepted": shown(accepted.get(result.title)),
        "change": change(result, accepted) or None,
        "unit": unit,
        "worst": shown(result.worst),
        "limit": shown(result.limit),
        "withoutShapes": shown(result.bare),
        "border": border_of(result.expectation) if kind.about == "region" else None,
        "share": result.expectation.share,
        "percentiles": {f"{100.0 * share:g}": shown(value) for share, value in result.percentiles} or None,
        "poses": result.frames,
        "about": result.about or ("" if result.worst is None or isfinite(result.worst) else BOUNDLESS),
        "picture": result.picture or None,
        "pose": None
        if frame is None
        else {
            "track": frame.track,
            "kind": frame.kind,
            "number": frame.number,
            "place": frame.place,
            "angles": {joint: degrees(angle) for joint, angle in frame.angles},
            "plain": plain_pose(frame.pose),
        },
        "place": None
        if place is None
        else {
            "region": place.region,
            "vertex": place.vertex if place.vertex >= 0 else None,
            "joint": place.joint,
            "position": list(place.position),
        },
    }


def junit(rig: Rig, results: Sequence[Result], accepted: Accepted, origins: Origins, seconds: float) -> str:
    """A test report: a test for each expectation."""
    cases = junit_cases(rig, results, accepted, origins)
    return junit_document([Suite(f"plica prove {rig.character.name}", cases, seconds)])


def junit_cases(rig: Rig, results: Sequence[Result], accepted: Accepted, origins: Origins) -> list[Case]:
    """A test for each expectation, in order; what was not measured is skipped. They share the work: none has a time."""
    cases = []
    for result in results:
        span = origins.get(("expect", str(result.index)))
        file, line = (span.source.path, span.source.line_and_column(span.start)[0]) if span is not None else ("", 0)
        case = Case(f"{rig.character.name}.{result.expectation.kind}", result.title, file=file, line=line)
        if fails(result, accepted):
            case = case._replace(kind="failure", problem=figures(result), details=where(result))
        elif result.status == "not measured":
            case = case._replace(kind="skipped", problem=result.about)
        cases.append(case)
    return cases
