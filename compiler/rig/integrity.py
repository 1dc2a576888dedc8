"""What a Rig must hold beyond the types of its fields: names that exist, orders, shapes of tables.

Specs that were compiled hold it by construction; a Rig read from text may not.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple, assert_never

from plica.kinds.curves import curve_problem
from plica.kinds.kernels import KERNEL_KINDS, KernelKind, kernel_kind
from plica.kinds.reading_kind import Needs, Part
from plica.kinds.readings import Reading, kind_of, seen, weight_control
from plica.rig.offsets_table import Matrix4, OffsetsTable
from plica.rig.region_sources import joints_of, pose_of, regions_of, shapes_of
from plica.rig.rig import Rig, Symmetry
from plica.rig.strengths import Combination, Combine, Driver, Field, Sample, StrengthOf
from plica.rig.surfaces import JointPose, Morph, Sculpt, Shape, StrengthPose
from plica.skeleton.algebra import determinant, length
from plica.skeleton.planes import axis_of
from plica.values import Curve

_UNIT = 1e-9  # how far the length of a unit vector may be off 1


class Problem(NamedTuple):
    """One finding: the place in the Rig, written as in `strengths[3].reading.joint`, and what is wrong there."""

    path: str
    text: str


def first_problem(rig: Rig) -> Problem | None:
    """The first thing, in the order of the file, that does not hold together; None where all does."""
    return next(problems(rig), None)


def problems(rig: Rig) -> Iterator[Problem]:
    """Everything that does not hold together."""
    lists = {
        "skeleton": [joint.name for joint in rig.skeleton],
        "controls": [control.name for control in rig.controls],
        "fields": [field.name for field in rig.fields],
        "strengths": [strength.name for strength in rig.strengths],
        "regions": [region.name for region in rig.regions],
        "shapes": [shape.name for shape in rig.shapes],
        "details": [detail.name for detail in rig.details],
        "folds": [fold.name for fold in rig.folds],
        "poses": [pose.name for pose in rig.poses],
    }
    for place, names in lists.items():
        yield from _repeated(place, names)
    geometry = rig.character.geometry
    if geometry is not None and geometry.unit is not None and not geometry.unit > 0.0:
        yield Problem("character.geometry.unit", f"is {geometry.unit:g}, but a unit is a length")
    known = {place: frozenset(names) for place, names in lists.items()}
    known["morphs"] = frozenset(control.morph for control in rig.controls if control.morph is not None)
    for index, control in enumerate(rig.controls):
        if control.morph is not None and control.name != weight_control(control.morph):
            yield Problem(f"controls[{index}].name", f"must be {weight_control(control.morph)!r}")
    yield from _skeleton_problems(rig, known["skeleton"])
    yield from _symmetry_problems(rig.symmetry)
    for index, field in enumerate(rig.fields):
        yield from _field_problems(f"fields[{index}]", field, known["skeleton"])
    yield from _strength_problems(rig, known)
    yield from _region_problems(rig, known)
    yield from _shape_and_fold_problems(rig, known)
    if rig.offsets is not None:
        yield from _part_problems(rig.offsets)


def _part_problems(table: OffsetsTable) -> Iterator[Problem]:
    """Parts follow each other, and are the whole mesh."""
    first = 0
    for index, part in enumerate(table.parts):
        if part.first != first:
            yield Problem(f"offsets.parts[{index}].first", f"must be {first}, where the part before it ends")
        if not 0 <= part.points <= part.vertices:
            yield Problem(f"offsets.parts[{index}].points", "must not be more than `vertices`")
        if part.to_model[3] != (0.0, 0.0, 0.0, 1.0) or not _linear_determinant(part.to_model):
            yield Problem(f"offsets.parts[{index}].to_model", "must be an affine matrix that can be inverted")
        first += part.vertices
    if first != table.vertex_count:
        yield Problem("offsets.parts", f"have {first} vertices, but `vertex_count` is {table.vertex_count}")


def _linear_determinant(rows: Matrix4) -> float:
    x, y, z = ((row[0], row[1], row[2]) for row in rows[:3])
    return determinant((x, y, z))


def _repeated(place: str, names: Sequence[str]) -> Iterator[Problem]:
    seen: set[str] = set()
    for index, name in enumerate(names):
        if name in seen:
            yield Problem(f"{place}[{index}].name", f"{name!r} stands twice")
        seen.add(name)


def _unknown(place: str, name: str | None, known: Iterable[str], what: str) -> Iterator[Problem]:
    if name is not None and name not in known:
        yield Problem(place, f"there is no {what} {name!r}")


def _skeleton_problems(rig: Rig, joints: frozenset[str]) -> Iterator[Problem]:
    before: set[str] = set()
    for index, joint in enumerate(rig.skeleton):
        if joint.parent is not None and joint.parent not in before:
            yield Problem(f"skeleton[{index}].parent", f"no joint {joint.parent!r} stands before this one")
        yield from _unknown(f"skeleton[{index}].partner", joint.partner, joints, "joint")
        before.add(joint.name)


def _symmetry_problems(symmetry: Symmetry | None) -> Iterator[Problem]:
    if symmetry is None:
        return
    if abs(length(symmetry.normal) - 1.0) > _UNIT:
        yield Problem("symmetry.normal", "must be a unit vector")
    elif symmetry.axis != axis_of(symmetry.normal):
        yield Problem("symmetry.axis", "must be the axis that `normal` is, `null` where it is none")


def _field_problems(place: str, field: Field, joints: frozenset[str]) -> Iterator[Problem]:
    for key, name in (("joint", field.joint), ("relative_to", field.relative_to)):
        yield from _unknown(f"{place}.{key}", name, joints, "joint")
    if field.relative_to == field.joint:
        yield Problem(f"{place}.relative_to", "must be another joint")
    yield from _repeated(f"{place}.samples", [sample.name for sample in field.samples])
    columns = len(field.samples) - 1
    if columns < 1:
        yield Problem(f"{place}.samples", "must hold the rest pose and at least one more")
        return
    kind = kernel_kind(field.kernel)
    if kind.radial is not None:
        columns_of_rows, rows = columns, columns + 1
    else:
        columns_of_rows, rows = 0, 0
    if len(field.constants) != columns_of_rows:
        yield Problem(f"{place}.constants", f"must hold {columns_of_rows} numbers")
    if len(field.coefficients) != rows or any(len(row) != columns for row in field.coefficients):
        yield Problem(f"{place}.coefficients", f"must hold {rows} rows of {columns} numbers")
    if (field.metric == "direction") != (field.axis is not None):
        yield Problem(f"{place}.axis", 'must stand exactly where the metric is "direction"')
    yield from _width_problems(place, field, kind)


def _width_problems(place: str, field: Field, kind: KernelKind) -> Iterator[Problem]:
    common = kind.has_width and kind.radial is not None
    if common != (field.width is not None and field.width > 0):
        wide = " or ".join(f'"{one.name}"' for one in KERNEL_KINDS.values() if one.has_width and one.radial is not None)
        yield Problem(f"{place}.width", f"must be above 0 where the kernel is {wide}, and null elsewhere")
    for number, sample in enumerate(field.samples):
        needed = kind.radial is None and number > 0
        if sample.width is None:
            if needed:
                yield Problem(f"{place}.samples[{number}].width", f'must be above 0 where the kernel is "{kind.name}"')
        elif not (kind.has_width and sample.width > 0 and (common or needed)):
            yield Problem(f"{place}.samples[{number}].width", "must be null, or above 0 where the kernel has widths")


def _strength_problems(rig: Rig, known: dict[str, frozenset[str]]) -> Iterator[Problem]:
    fields = {field.name: frozenset(sample.name for sample in field.samples[1:]) for field in rig.fields}
    before: set[str] = set()
    for index, strength in enumerate(rig.strengths):
        place = f"strengths[{index}]"
        match strength:
            case Driver():
                yield from _reading_problems(f"{place}.reading", strength.reading, known)
                if strength.span[0] == strength.span[1]:
                    yield Problem(f"{place}.span", "its two ends are the same")
                yield from _curve_problems(f"{place}.curve", strength.curve)
            case Sample():
                yield from _unknown(f"{place}.field", strength.field, fields, "field")
                samples = fields.get(strength.field, frozenset())
                yield from _unknown(f"{place}.sample", strength.sample, samples, "sample with a strength")
            case Combine():
                yield from _combination_problems(f"{place}.combination", strength.combination, before)
            case _:
                assert_never(strength)
        before.add(strength.name)


def _reading_problems(place: str, reading: Reading, known: dict[str, frozenset[str]]) -> Iterator[Problem]:
    kind = kind_of(reading)
    for name in kind.named(Part.CONTROL):
        yield from _unknown(f"{place}.{name}", getattr(reading, name), known["controls"], "control")
    for name in kind.named(Part.MORPH):
        yield from _unknown(f"{place}.{name}", getattr(reading, name), known["morphs"], "control of the morph target")
    for name in kind.named(Part.JOINT):
        yield from _unknown(f"{place}.{name}", getattr(reading, name), known["skeleton"], "joint")
    if kind.needs is not Needs.CONTROL and seen(reading).relative_to == seen(reading).joint:
        yield Problem(f"{place}.relative_to", "must be another joint")
    for name in kind.named(Part.ORDER):
        if sorted(getattr(reading, name)) != ["x", "y", "z"]:
            yield Problem(f"{place}.{name}", "must hold each of x, y and z once")


def _curve_problems(place: str, curve: Curve) -> Iterator[Problem]:
    problem = curve_problem(curve)
    if problem is not None:
        yield Problem(f"{place}.{problem.field}", problem.text)


def _combination_problems(place: str, combination: Combination, before: set[str]) -> Iterator[Problem]:
    if not combination.parts:
        yield Problem(f"{place}.parts", "must not be empty")
    for index, part in enumerate(combination.parts):
        there = f"{place}.parts[{index}]"
        if isinstance(part, StrengthOf):
            if part.strength not in before:
                yield Problem(f"{there}.strength", f"no strength {part.strength!r} stands before this one")
        else:
            yield from _combination_problems(there, part, before)


def _region_problems(rig: Rig, known: dict[str, frozenset[str]]) -> Iterator[Problem]:
    for index, region in enumerate(rig.regions):
        source = region.source
        for part, joint in enumerate(joints_of(source)):
            yield from _unknown(f"regions[{index}].source.joints[{part}]", joint, known["skeleton"], "joint")
        for part, other in enumerate(regions_of(source)):
            yield from _unknown(f"regions[{index}].source.regions[{part}]", other, known["regions"], "region")
        for shape in shapes_of(source):
            yield from _unknown(f"regions[{index}].source", shape, known["shapes"], "shape")
        yield from _pose_problems(f"regions[{index}].source.pose", pose_of(source), known)


def _shape_and_fold_problems(rig: Rig, known: dict[str, frozenset[str]]) -> Iterator[Problem]:
    for index, shape in enumerate(rig.shapes):
        place = f"shapes[{index}]"
        yield from _unknown(f"{place}.within", shape.within, known["regions"], "region")
        yield from _unknown(f"{place}.follows", shape.follows, known["strengths"], "strength")
        for there, sculpt in _sculpts(place, shape):
            yield from _pose_problems(f"{there}.pose", sculpt.pose, known)
    for index, fold in enumerate(rig.folds):
        place = f"folds[{index}]"
        yield from _unknown(f"{place}.detail", fold.detail, known["details"], "detail")
        yield from _unknown(f"{place}.area", fold.area, known["regions"], "region")
        yield from _unknown(f"{place}.follows", fold.follows, known["strengths"], "strength")

    for index, pose in enumerate(rig.poses):
        yield from _pose_problems(f"poses[{index}].items", pose.items, known)


def _sculpts(place: str, shape: Shape) -> Iterator[tuple[str, Sculpt]]:
    if shape.source is not None and not isinstance(shape.source, Morph):
        yield f"{place}.source", shape.source
    for index, inbetween in enumerate(shape.inbetweens):
        yield f"{place}.inbetweens[{index}].sculpt", inbetween.sculpt


def _pose_problems(
    place: str, items: Sequence[StrengthPose | JointPose], known: dict[str, frozenset[str]]
) -> Iterator[Problem]:
    for index, pose in enumerate(items):
        there = f"{place}[{index}]"
        if isinstance(pose, JointPose):
            yield from _unknown(f"{there}.joint", pose.joint, known["skeleton"], "joint")
        else:
            yield from _unknown(f"{there}.strength", pose.strength, known["strengths"], "strength")
