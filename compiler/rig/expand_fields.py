"""Fields written out for one side: samples, widths, and what their kernel needs."""

from __future__ import annotations

from collections.abc import Sequence

from plica.kinds.kernels import kernel_kind
from plica.named_tuples import NamedTuple
from plica.quantities import whole
from plica.rig.expand_readings import Frames, on_side
from plica.rig.field_quality import ILL_CONDITIONED, STRAYING, quality_of
from plica.rig.radial import Solution, check_distinct, rounded_solution
from plica.rig.ramps import Metric, default_widths
from plica.rig.strengths import Field, FieldSample
from plica.rounding import rounded_number
from plica.skeleton.algebra import IDENTITY_QUATERNION, Vector
from plica.spec import entries as spec
from plica.spec.entries import OneSide


class _Interpolated(NamedTuple):
    samples: Sequence[FieldSample]
    solution: Solution


def expand_field(entry: spec.Entry[spec.FieldFacts], side: OneSide, frames: Frames) -> Field | None:
    """A field for one side with its widths or solved coefficients, or None after a diagnostic."""
    declared, facts = entry.declared, entry.facts(side)
    joint_mirrored = entry.mirrored(side, "reads")
    index = facts.joint.right if side == "right" else facts.joint.left
    mirror = frames.mirror(facts.joint, joint_mirrored)
    written = facts.joint.left if joint_mirrored else index
    axis = mirror.direction(frames.direction(facts.direction, written)) if facts.direction else None
    metric: Metric = "rotation" if axis is None else "direction"
    try:
        made = _interpolated(facts, _samples(entry, side, frames), metric, axis)
    except ValueError as error:
        frames.diagnostics.add("samples-coincide", declared.span, name=declared.name, reason=error)
        return None
    field = Field(
        name=frames.naming.of(declared.name, side),
        side=side,
        declared=declared.name,
        joint=frames.joint_name(index),
        metric=metric,
        axis=axis,
        kernel=facts.kernel,
        width=made.solution.width,
        samples=tuple(made.samples),
        coefficients=made.solution.coefficients,
        constants=made.solution.constants,
        relative_to=None if facts.relative_to is None else frames.joint_name(on_side(facts.relative_to, side)),
    )
    written_here = side != "right" or not joint_mirrored
    states_widths = any(sample.width is not None for sample in facts.samples) or facts.width is not None
    if written_here and (states_widths or kernel_kind(facts.kernel).radial is not None):
        _report_quality(field, entry, frames)
    return field


def _samples(entry: spec.Entry[spec.FieldFacts], side: OneSide, frames: Frames) -> list[FieldSample]:
    """Rest, and the samples as turns since rest of this side's joint, with the widths that they state."""
    facts = entry.facts(side)
    mirrored = entry.mirrored(side, "sample")
    mirror = frames.mirror(facts.joint, mirrored)
    written = facts.joint.right if side == "right" and not mirrored else facts.joint.left
    return [
        FieldSample("rest", IDENTITY_QUATERNION),
        *(
            FieldSample(sample.name, mirror.turn(frames.turn(sample.turns, written)), sample.width)
            for sample in facts.samples
        ),
    ]


def _interpolated(
    facts: spec.FieldFacts, samples: list[FieldSample], metric: Metric, axis: Vector | None
) -> _Interpolated:
    """The samples and what is solved. Raises ValueError as `plica.rig.radial.solve` does."""
    if kernel_kind(facts.kernel).radial is not None:
        return _Interpolated(samples, rounded_solution(samples, metric, axis, facts.kernel, facts.width))
    check_distinct(samples, metric, axis)
    widths = default_widths(samples, metric, axis) if facts.width is None else [None] + [facts.width] * len(samples)
    made = [
        sample if sample.width is not None or width is None else sample._replace(width=rounded_number(width))
        for sample, width in zip(samples, widths, strict=False)
    ]
    return _Interpolated(made, Solution(None, (), ()))


def _report_quality(field: Field, entry: spec.Entry[spec.FieldFacts], frames: Frames) -> None:
    quality = quality_of(field)
    span, name = entry.declared.span, entry.declared.name
    if quality.condition is not None and quality.condition > ILL_CONDITIONED:
        frames.diagnostics.add(
            "field-ill-conditioned", span, name=name, kernel=field.kernel, condition=f"{quality.condition:.1e}"
        )
    if quality.stray > STRAYING:
        frames.diagnostics.add(
            "field-strays",
            span,
            name=name,
            kernel=field.kernel,
            sample=quality.sample,
            strength=f"{quality.stray:.2f}",
            angle=whole(quality.angle, "deg"),
        )
