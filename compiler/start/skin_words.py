"""What was found on the mesh, in sentences: for the spec's comments and for whoever runs the command."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

from plica import foreign
from plica.kinds.expectations import EXPECTATION_KINDS
from plica.quantities import number, percent, whole
from plica.start.bending_joints import BendingJoint
from plica.start.skin_figures import (
    FAR_WEIGHT,
    SHARE,
    TORN,
    UNEVEN,
    BentSkin,
    FaultKind,
    SkinFigure,
    SkinLook,
    WeightFault,
)

NAMED: Final = 3
"""Joints that are named in a sentence."""
ROUNDING: Final = 1e-9
"""Figures that are computed in another order differ by less; limits have room for it."""


def limit_text(figure: SkinFigure) -> str:
    """The least limit, to a tenth of a percent, that a figure keeps to."""
    assert figure.worst is not None
    return percent(abs(figure.worst) + ROUNDING, up=True)


def figure_text(figure: SkinFigure) -> str:
    """A figure that was measured, in words."""
    assert figure.worst is not None
    if figure.kind == "crossing":
        return f"at least {figure.worst:.0f} pairs of triangles pass through each other"
    size = limit_text(figure)
    ways = EXPECTATION_KINDS[figure.kind].ways
    return f"{figure.kind} {size}" + (f" {ways[0 if figure.worst < 0.0 else 1]}" if ways else "")


def suffering_text(bent: BentSkin) -> str:
    """The figures of a joint that are worse than they may be, the worst first."""
    figures = sorted((one for one in bent.figures if one.suffers), key=lambda one: -one.badness)
    return ", ".join(map(figure_text, figures))


def bounds_text() -> str:
    """Up to where skin holds up, in words."""
    volume, stretch, squeeze = (
        percent(EXPECTATION_KINDS[kind].limit.default or 0.0) for kind in ("volume", "stretch", "squeeze")
    )
    return (
        f"its volume within {volume}, {percent(SHARE)} of it stretched by at most {stretch} and squeezed by at most "
        f"{squeeze}, no triangle through another"
    )


class FaultText(NamedTuple):
    """What is said of one kind of fault: the whole, and the joints concerned."""

    whole: str
    joints: tuple[str, ...] = ()


def fault_texts(look: SkinLook) -> list[FaultText]:
    """What is said of the faults of the weights, and of what was put right as they were read."""
    texts = [FaultText(foreign.line(problem)) for problem in look.problems]
    for kind, what in (
        ("uneven", f"{{}} whose weights differ from those of the mirror image by {percent(UNEVEN)} or more"),
        ("far", f"{{}} with a weight of {percent(FAR_WEIGHT)} or more on a joint far away"),
        ("torn", f"{{}} that one radian of a joint draws out to {TORN + 1.0:g} times the length or more"),
    ):
        faults = [fault for fault in look.faults if fault.kind == kind]
        if faults:
            total = sum(fault.size for fault in faults)
            noun = "edge" if kind == "torn" else "point"
            counted = f"{total} {noun}" + ("" if total == 1 else "s")
            texts.append(FaultText(what.format(counted), _joints(faults)))
    return texts


def _joints(faults: Sequence[WeightFault]) -> tuple[str, ...]:
    shown = [
        f"{fault.size} at {foreign.line(fault.joint)} ({_worst(fault.kind, fault.worst)} at vertex {fault.vertex}, "
        f"{_position(fault)})"
        for fault in faults[:NAMED]
    ]
    more = sum(fault.size for fault in faults[NAMED:])
    return (*shown, f"{more} elsewhere") if more else tuple(shown)


def _worst(kind: FaultKind, worst: float) -> str:
    return f"{worst + 1.0:.1f} times" if kind == "torn" else whole(worst, "%")


def _position(fault: WeightFault) -> str:
    return " ".join(number(value + 0.0, 3) for value in fault.position) + " m"


def look_sentences(look: SkinLook, subjects: Sequence[BendingJoint]) -> tuple[str, ...]:
    """What to tell whoever runs the command: weights at fault first, then what breaks first."""
    said = []
    for text in fault_texts(look):
        said.append(f"skin weights: {text.whole}" + (f": {', '.join(text.joints)}" if text.joints else ""))
    if look.why:
        return (*said, f"the skin was not measured: {foreign.line(look.why)}") if subjects else tuple(said)
    names = {subject.driver: subject.name for subject in subjects}
    suffering = [bent for bent in look.bent if bent.suffers]
    unknown = [names[bent.driver] for bent in look.bent if bent.unknown and not bent.suffers]
    for bent in suffering[:NAMED]:
        said.append(
            f"breaks {'first' if bent is suffering[0] else 'next'}: {names[bent.driver]}: {suffering_text(bent)}"
        )
    shaped = "; each of them gets a shape to be sculpted" if suffering else ""
    said.append(f"skin suffers at {len(suffering)} of {len(subjects)} joints and pairs that bend it{shaped}")
    if unknown:
        said.append(f"not measured: {', '.join(unknown)}")
    return tuple(said)
