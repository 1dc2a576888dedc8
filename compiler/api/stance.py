"""Which pose of the model is neutral, how even both are, and what the file's rest gives where it is another pose."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from plica.diagnostics.place import counted

if TYPE_CHECKING:
    from plica.pipeline import Compiled
    from plica.rig.rig import Rig
    from plica.spec.entries import ChosenStance

_SHOWN = 12  # strengths in a line, the others are counted


def stance_lines(compiled: Compiled) -> Iterator[str]:
    """What a check says of the neutral stance; nothing where the model's two poses are one."""
    if compiled.rig is None or compiled.spec is None or compiled.spec.bound.stance.bind is None:
        return
    stance = compiled.spec.bound.stance
    yield f"neutral stance: {_taken(stance)}; {_even(stance)}"
    if stance.taken == "bind":
        yield _strengths_at_rest(compiled.rig)


def _taken(stance: ChosenStance) -> str:
    name = "the bind pose" if stance.taken == "bind" else "the file's rest"
    return f"{name}, {'as stated' if stance.stated else 'the more even one'}"


def _even(stance: ChosenStance) -> str:
    if stance.bind_even is None or stance.rest_even is None:
        return "no pair of joints tells how even it is"
    bind, rest = stance.bind_even.text, stance.rest_even.text
    return f"pairs miss their mirror images by up to {bind} in the bind pose, by {rest} in the file's rest"


def _strengths_at_rest(rig: Rig) -> str:
    """The strengths that the file gives before anything moves."""
    from plica.evaluate import Evaluator
    from plica.evaluate.poses import file_rest

    values = Evaluator(rig).strengths(file_rest(rig))[0].tolist()
    given = [(one.name, value) for one, value in zip(rig.strengths, values, strict=True) if abs(value) > 5e-4]
    if not given:
        return "the file's rest gives strengths of 0"
    shown = ", ".join(f"{name} {value:.3f}" for name, value in given[:_SHOWN])
    more = f" and {counted(len(given) - _SHOWN, 'strength')} more" if len(given) > _SHOWN else ""
    return f"the file's rest gives {shown}{more}"
