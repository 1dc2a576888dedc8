"""What an expectation says: which poses it goes over, its limit, whether a figure keeps to it, its title."""

from __future__ import annotations

from plica.kinds.expectations import Over, Worse, expectation_kind
from plica.quantities import quantity
from plica.rig.rig import Expectation


def names_poses(expectation: Expectation) -> bool:
    """Whether it says over what it goes."""
    stated = (expectation.over, expectation.over_clips, expectation.over_poses)
    return any(stated) or expectation.over_everything


def goes_over_everything(expectation: Expectation) -> bool:
    """Whether it asks for everything, or names no poses and gets it."""
    by_default = expectation_kind(expectation.kind).over is Over.EVERYTHING and not names_poses(expectation)
    return expectation.over_everything or by_default


def swept_strengths(expectation: Expectation) -> tuple[str, ...]:
    """The strengths that it sweeps one by one: those that it names, or by default its own."""
    own = expectation_kind(expectation.kind).over is Over.OWN_STRENGTHS and not names_poses(expectation)
    return expectation.of if own else expectation.over


def limit_of(expectation: Expectation) -> float | None:
    """The limit that it states, in the inside unit, or that of its kind; None where there is neither."""
    return expectation.limit if expectation.limit is not None else expectation_kind(expectation.kind).limit.default


def border_of(expectation: Expectation) -> float | None:
    """The border of its region that it states, or that of its kind; None where each triangle counts by its weight, as
    under a limit on a share of the area."""
    if expectation.border is not None or expectation.share is not None:
        return expectation.border
    return expectation_kind(expectation.kind).border


def cut_border(expectation: Expectation) -> float:
    """The border for a measure that cuts: under a limit on a share of the area, all that has any weight counts."""
    border = border_of(expectation)
    return 0.0 if border is None else border


def keeps_to(expectation: Expectation, figure: float, limit: float) -> bool:
    """Whether a figure keeps to a limit; one that is not a number does not."""
    kind = expectation_kind(expectation.kind)
    if kind.worse is Worse.LESS:
        return figure >= limit - kind.limit.rounding
    return kind.worse.badness(figure) <= limit + kind.limit.rounding


def title_of(expectation: Expectation) -> str:
    """`volume of left_forearm over left_elbow_bend`; says the same for the same expectation in every run."""
    kind = expectation_kind(expectation.kind)
    parts: list[str] = [kind.words]
    if expectation.of:
        parts.append(("" if kind.about == "strength" else "of ") + ", ".join(expectation.of))
    if expectation.against:
        parts.append(f"from {expectation.against}")
    if expectation.border is not None:
        parts.append(f"border {quantity(expectation.border, '%')}")
    if expectation.uv is not None:
        parts.append(f'uv "{expectation.uv}"')
    if expectation.share is not None:
        parts.append(f"on {quantity(expectation.share, '%')}")
    over = [*expectation.over, *(f"pose {pose}" for pose in expectation.over_poses)]
    over += [f'clip "{file}"' for file in expectation.over_clips]
    if expectation.over_everything:
        over.append("everything")
    if over:
        parts.append("over " + ", ".join(over))
    return " ".join(parts)
