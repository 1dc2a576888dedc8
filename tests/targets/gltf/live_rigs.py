"""Rigs as behaviour graphs without a file: where their joints would stand, and what a graph reads there in a pose."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any

import numpy as np

from plica.evaluate.evaluator import Evaluator
from plica.evaluate.poses import SparsePose, poses_from
from plica.kinds.readings import Reading
from plica.rig.radial import solve
from plica.rig.ramps import default_widths
from plica.rig.rig import Rig
from plica.rig.strengths import Driver, Field, FieldSample, Sample
from plica.skeleton.algebra import about, unit
from plica.targets.gltf.live.document import extension_of
from plica.targets.gltf.live.driving import DrivenWeight, graph_of
from plica.targets.gltf.live.joints import FilePlaces
from plica.values import Bezier, Hermite
from tests.support.behaviour import Behaviour
from tests.targets.rigs import driver, whole_rig

# Every way in which an easing is solved: between and beyond turning points, level at either end or at both, straight,
# and so near to a parabola that no closed form is good.
EASINGS = (
    (0.42, 0.0, 0.58, 1.0),
    (0.42, 0.0, 1.0, 1.0),
    (0.0, 0.0, 0.58, 1.0),
    (0.0, 0.5, 1.0, 0.5),
    (0.1, 0.7, 0.95, 0.2),
    (0.0, 0.3, 0.1, 0.8),
    (0.9, 0.2, 1.0, 0.5),
    (1 / 3, 0.2, 2 / 3, 0.7),
    (0.4, 0.0, 0.733, 1.0),
    (1.0, 0.2, 0.0, 0.7),
)
KNOTS = tuple((place / 8, (place / 8) ** 2, 1.5 * place / 8) for place in range(9))


def seen_rig() -> Rig:
    """Every reading of a joint as other joints see it, below scales that mirror; fields of any number of samples."""
    rig = whole_rig()
    skeleton = list(rig.skeleton)
    for place, scale in ((1, (1.1, -1.1, 1.1)), (3, (-1.0, 0.9, 1.0))):
        placed = skeleton[place].neutral._replace(scale=scale)
        skeleton[place] = skeleton[place]._replace(neutral=placed, rest=placed)
    fields = (*_fields("ramp", "rotation", (1, 2, 4, 6)), *_fields("ramp", "direction", (3, 5)))
    fields += (*_fields("gaussian", "direction", (5,)), *_fields("linear", "rotation", (4,)))
    samples = [
        Sample(f"{one.name}_{each.name}", "none", one.name, one.name, each.name)
        for one in fields
        for each in one.samples[1:]
    ]
    easings = [
        driver(f"easing_{number}", next(_controls(rig)), (0.0, 1.0), Bezier(controls))
        for number, controls in enumerate(EASINGS)
    ]
    many = driver("many_knots", next(_controls(rig)), (0.0, 1.0), Hermite("monotone", KNOTS))
    return rig._replace(
        skeleton=tuple(skeleton),
        fields=fields,
        strengths=(*_seen_drivers(rig), *easings, many, *samples),
        shapes=(),
        folds=(),
    )


def _controls(rig: Rig) -> Iterator[Reading]:
    return (one.reading for one in rig.strengths if isinstance(one, Driver) and one.name == "linear_clamped")


def _seen_drivers(rig: Rig) -> list[Driver]:
    """Each reading that another joint can see, from above, from below and from beside; cut and not."""
    result = []
    kinds: dict[str, int] = {}
    for one in rig.strengths:
        reading = one.reading if isinstance(one, Driver) else None
        if reading is None or "relative_to" not in reading._fields or reading.joint == "root":
            continue
        for eye in ("root", "left_hand", "left_whiskerpad"):
            count = kinds.setdefault(f"{reading.kind} {eye}", 0)
            if eye != reading.joint and count < 2:
                kinds[f"{reading.kind} {eye}"] += 1
                seen = reading._replace(relative_to=eye)
                result.append(
                    one._replace(
                        name=f"{one.name}_from_{eye}", reading=seen, clamped=count == 0, span=(0.0, one.span[1])
                    )
                )
    return result


def _fields(kernel: str, metric: Any, counts: Sequence[int]) -> Iterator[Field]:
    axis = (0.6, 0.0, 0.8) if metric == "direction" else None
    for count in counts:
        turns = [about(unit((np.cos(2.4 * k), np.sin(2.4 * k), 0.5 * k - 1)), 0.5 + 0.15 * k) for k in range(count)]
        samples = [
            FieldSample("rest", (0.0, 0.0, 0.0, 1.0)),
            *(FieldSample(f"s{k}", one) for k, one in enumerate(turns)),
        ]
        eye = "root" if count % 2 else None
        if kernel == "ramp":
            widths = default_widths(samples, metric, axis)
            samples = [one._replace(width=width) for one, width in zip(samples, widths, strict=True)]
            solved: tuple[Any, ...] = (None, (), ())
        else:
            solved = solve(samples, metric, axis, kernel)
        name = f"{kernel}_{metric}_{count}"
        yield Field(name, "none", name, "left_hand", metric, axis, kernel, solved[0], tuple(samples), *solved[1:], eye)


def places_of(rig: Rig) -> FilePlaces:
    """Joints, controls and weights one node after the other, all at rest where the rig has them."""
    joints = {joint.name: number for number, joint in enumerate(rig.skeleton)}
    controls = {control.name: len(joints) + number for number, control in enumerate(rig.controls)}
    morphs = {control.morph: (controls[control.name], 0) for control in rig.controls if control.morph is not None}
    return FilePlaces(joints, controls, morphs, {joint.name: joint.neutral for joint in rig.skeleton})


def reader(rig: Rig, places: FilePlaces, pose: SparsePose) -> Callable[[str], Any]:
    """The value of every pointer in a pose."""
    joints = {number: name for name, number in places.joints.items()}
    values = {places.controls[one.name]: pose.controls.get(one.name, one.rest) for one in rig.controls}

    def read(pointer: str) -> Any:
        _, _, number, part, *_ = pointer.split("/")
        if int(number) in values:
            value = values[int(number)]
            return value if part == "weights" else (value, 0.0, 0.0)
        name = joints[int(number)]
        moved = getattr(pose.joints.get(name), part, None)
        return moved or getattr(places.neutral[name], part)

    return read


class Compiled:
    """A rig's graph in an interpreter."""

    def __init__(self, rig: Rig, precision: type = np.float64, written: Sequence[DrivenWeight] = ()) -> None:
        self.rig, self.places = rig, places_of(rig)
        self.graph, self.read = graph_of(rig, self.places, written)
        self.behaviour = Behaviour({"extensions": {"KHR_interactivity": extension_of(self.graph)}}, precision)

    def strengths(self, pose: SparsePose) -> dict[str, float]:
        """All strengths in a pose."""
        self.behaviour.tick(reader(self.rig, self.places, pose))
        return {name: float(value) for name, value in zip(self.behaviour.names, self.behaviour.variables, strict=True)}

    def errors(self, poses: Sequence[SparsePose]) -> dict[str, float]:
        """How far each strength is off the evaluator's in the worst of the poses; infinite where it is no number."""
        evaluator = Evaluator(self.rig)
        expected = evaluator.strengths(poses_from(self.rig, poses))
        found = np.array([list(self.strengths(pose).values()) for pose in poses])
        assert self.behaviour.names == list(evaluator.names)
        off = np.nan_to_num(np.abs(found - expected), nan=np.inf).max(axis=0)
        return dict(zip(evaluator.names, off.tolist(), strict=True))
