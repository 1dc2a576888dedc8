"""The pieces of a generated module that depend on the rig: statements, functions and the order of what is read.

They are the same in every language that a module is written in (`plica.emit.generated_code`)."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Final

from plica.emit.generated_code import Assign, Language, Literal, Note, Statement, assign
from plica.kinds.combinations import combination_kind
from plica.kinds.reading_kind import Needs
from plica.kinds.readings import Gap, Reading, chain_ends, complete, controls_of, joints_of, kind_of
from plica.rig.rig import Rig
from plica.rig.strengths import Combination, Combine, Driver, Field, Sample
from plica.skeleton.algebra import Quaternion
from plica.skeleton.chains import chains_between, flips_of, own_flip, scale_of
from plica.skeleton.skeleton import Skeleton
from plica.targets.python.arithmetic import called, less, number
from plica.targets.python.curves import response
from plica.targets.python.readings import (
    EXPRESSIONS,
    Link,
    TurnSource,
    gap_function,
    offset_table,
    seen_offset,
    seen_turn,
    turn_since,
    turn_table,
)
from plica.values import Curve, Linear

# Statements of about this many strengths stand in one function: enough to read as a whole, few enough that no
# interpreter's limits are met.
STRENGTHS_PER_FUNCTION = 200
# Products and sums of more parts than this are written in several statements, whatever a parser's depth is.
_PARTS_PER_STATEMENT = 40


@dataclass
class ModuleSource:
    """What has been written so far. `pose` lists joints that are read, `controls` controls, in reading order; `scaled`
    holds those joints whose scale is read, too."""

    rig: Rig
    language: Language
    pose: dict[str, int] = field(default_factory=dict)
    controls: dict[str, int] = field(default_factory=dict)
    scaled: set[str] = field(default_factory=set)
    functions: list[str] = field(default_factory=list)
    parts: list[str] = field(default_factory=list)
    curves: dict[tuple[Curve, bool], str] = field(default_factory=dict)
    helpers: set[str] = field(default_factory=set)
    gaps: int = 0
    seen: dict[tuple[str, str, bool], str] = field(default_factory=dict)

    @cached_property
    def control_rests(self) -> dict[str, float]:
        """The rest values of the controls."""
        return {control.name: control.rest for control in self.rig.controls}

    def read_joint(self, name: str) -> int:
        """The place of a joint in the pose that the module reads."""
        return self.pose.setdefault(name, len(self.pose))

    def read_scale(self, name: str) -> int:
        """The place of a joint in the pose that the module reads, with its scale."""
        self.scaled.add(name)
        return self.read_joint(name)

    def read_control(self, name: str) -> int:
        """The place of a control among those that the module reads."""
        return self.controls.setdefault(name, len(self.controls))

    def share_to_strength(self, driver: Driver, share: str, result: str) -> list[Statement]:
        """Statements that set `result` to the strength of a share of the span."""
        if isinstance(driver.curve, Linear):
            if not driver.clamped:
                return [assign(result, share)]
            clipped = self.language.choice([("u <= 0.0", "0.0"), ("u >= 1.0", "1.0")], "u")
            return [assign("u", share), assign(result, clipped)]
        key = (driver.curve, driver.clamped)
        if key not in self.curves:
            self.curves[key] = self.language.function_name(f"curve {len(self.curves)}")
            if driver.curve.kind == "bezier":
                self.helpers.add("easing")
            self.functions.append(response(driver.curve, driver.clamped, self.curves[key], self.language))
        return [assign(result, called(self.curves[key], share))]

    def finish_parts(self, blocks: Iterator[tuple[int, list[Statement]]]) -> None:
        """Writes blocks of (number of strengths, statements) as functions of bounded size."""
        lines: list[Statement] = []
        count = 0
        for size, block in blocks:
            if lines and count + size > STRENGTHS_PER_FUNCTION:
                self._part(lines)
                lines, count = [], 0
            lines += block
            count += size
        if lines:
            self._part(lines)

    def _part(self, lines: Sequence[Statement]) -> None:
        name = self.language.function_name(f"part {len(self.parts)}")
        self.parts.append(name)
        self.functions.append(self.language.function(name, ["pose", "c", "v"], lines))


def write_source(rig: Rig, language: Language) -> ModuleSource:
    """All statements and functions of a rig."""
    source = ModuleSource(rig, language)
    places = {strength.name: index for index, strength in enumerate(rig.strengths)}
    source.finish_parts(_joint_blocks(source, places))
    source.finish_parts(_seen_blocks(source, places))
    source.finish_parts(_other_blocks(source, places))
    source.finish_parts(_field_blocks(source, places))
    source.finish_parts(_combine_blocks(source, places))
    return source


def _share(reading: str, factor: float, span: tuple[float, float]) -> str:
    """(factor * reading - span[0]) / (span[1] - span[0]), the factor taken into the constants.

    The reading is a call, a variable or stands in parentheses.
    """
    start, width = span[0] / factor, (span[1] - span[0]) / factor
    above = less(reading, start)
    if width == 1.0:
        return above
    return f"{above if start == 0.0 else f'({above})'} / {number(width)}"


def _grouped_drivers(rig: Rig) -> dict[Reading, list[Driver]]:
    """Drivers by what they read: each reading is computed once."""
    result: dict[Reading, list[Driver]] = {}
    for strength in rig.strengths:
        if isinstance(strength, Driver):
            result.setdefault(strength.reading, []).append(strength)
    return result


def _uses(
    source: ModuleSource, places: Mapping[str, int], reading: str, drivers: Sequence[Driver], factor: float = 1.0
) -> list[Statement]:
    """Statements for all drivers of one reading, given as an expression and a factor."""
    lines: list[Statement] = []
    if len(drivers) > 1:
        lines.append(assign("r", reading))
        reading = "r"
    for driver in drivers:
        lines += source.share_to_strength(driver, _share(reading, factor, driver.span), f"v[{places[driver.name]}]")
    return lines


def _joint_blocks(source: ModuleSource, places: Mapping[str, int]) -> Iterator[tuple[int, list[Statement]]]:
    """Drivers that read one joint each, joint by joint in the order of the skeleton."""
    by_joint: dict[str, dict[Reading, list[Driver]]] = {}
    for reading, drivers in _grouped_drivers(source.rig).items():
        if reading.kind in EXPRESSIONS and chain_ends(reading) is None:
            (name,) = joints_of(reading)
            by_joint.setdefault(name, {})[reading] = drivers
    for joint in source.rig.skeleton:
        readings = by_joint.get(joint.name)
        if readings is None:
            continue
        place = source.read_joint(joint.name)
        needed = frozenset().union(*(EXPRESSIONS[reading.kind].needed(reading) for reading in readings))
        lines: list[Statement] = [Note((joint.name,))]
        needs = {kind_of(reading).needs for reading in readings}
        if Needs.TRANSLATION in needs:
            lines.append(Assign(("tx", "ty", "tz"), f"pose[{place}][0]"))
        if Needs.SCALE in needs:
            lines.append(Assign(("sx", "sy", "sz"), f"pose[{source.read_scale(joint.name)}][2]"))
        turn = turn_since(joint.neutral.rotation, needed)
        if needed:
            lines += [Assign(("x", "y", "z", "w"), f"pose[{place}][1]"), *turn.statements]
        for reading, drivers in readings.items():
            source.helpers.add(reading.kind)
            expression = EXPRESSIONS[reading.kind]
            text = expression.text(reading, turn, joint, source.language)
            lines += _uses(source, places, text, drivers, expression.factor)
        yield sum(map(len, readings.values())), lines


def _seen_blocks(source: ModuleSource, places: Mapping[str, int]) -> Iterator[tuple[int, list[Statement]]]:
    """Drivers that read a joint as another one sees it."""
    from plica.evaluate.pose_components import skeleton_of

    skeleton = skeleton_of(source.rig)
    joints = {joint.name: joint for joint in source.rig.skeleton}
    for reading, drivers in _grouped_drivers(source.rig).items():
        ends = chain_ends(reading)
        if reading.kind not in EXPRESSIONS or ends is None:
            continue
        kind = kind_of(reading)
        lines: list[Statement] = [Note(ends)]
        if kind.needs is Needs.TRANSLATION and kind.axis is not None:
            table = _seen_table(source, skeleton, ends, offset=True)
            text, factor = seen_offset(table, kind.axis.vector(reading), source.language), 1.0
        else:
            expression = EXPRESSIONS[reading.kind]
            turn = seen_turn(_seen_table(source, skeleton, ends), source.language)
            source.helpers.add(reading.kind)
            lines += turn.statements
            text = expression.text(reading, turn, joints[ends[0]], source.language)
            factor = expression.factor
        yield len(drivers), [*lines, *_uses(source, places, text, drivers, factor)]


def _seen_table(source: ModuleSource, skeleton: Skeleton, ends: tuple[str, str], *, offset: bool = False) -> str:
    """The name of the table of two joints, which is written once."""
    key = (*ends, offset)
    if key not in source.seen:
        source.seen[key] = name = source.language.constant_name(f"seen {len(source.seen)}")
        source.helpers.update({"seen", "placed"})
        chains = chains_between(skeleton, *ends)
        links = [_links(source, skeleton, chain, scaled=offset) for chain in (chains.first, chains.second)]
        if offset:
            table = offset_table(name, links, scale_of(skeleton, chains.ancestor), source.language)
        else:
            table = turn_table(name, links, own_flip(skeleton, ends[0], chains), source.language)
        source.functions.append(table)
    return source.seen[key]


def _other_blocks(source: ModuleSource, places: Mapping[str, int]) -> Iterator[tuple[int, list[Statement]]]:
    """Drivers that read a control or the gap between two joints."""
    from plica.evaluate.pose_components import skeleton_of

    skeleton = skeleton_of(source.rig)
    for reading, drivers in _grouped_drivers(source.rig).items():
        if reading.kind in OTHERS:
            yield len(drivers), _uses(source, places, OTHERS[reading.kind](source, skeleton, reading), drivers)


def _control(source: ModuleSource, _: Skeleton, reading: Reading) -> str:
    (name,) = controls_of(reading)
    value = less(f"c[{source.read_control(name)}]", source.control_rests[name])
    return f"({value})" if " " in value else value


def _gap(source: ModuleSource, skeleton: Skeleton, reading: Gap) -> str:
    name = source.language.function_name(f"gap {source.gaps}")
    rest = source.language.constant_name(f"gap {source.gaps} rest")
    source.gaps += 1
    at_rest = source.language.constant(rest, called(name, source.language.rest_pose))
    source.functions += [_gap_function(source, skeleton, reading, name), at_rest]
    source.helpers.add("placed")
    return f"({called(name, 'pose')} - {rest})"


# Each takes the record of its kind.
OTHERS: Final[Mapping[str, Callable[[ModuleSource, Skeleton, Any], str]]] = {
    "gap": _gap,
    "control": _control,
    "weight": _control,
}
"""For each kind that does not read one joint: the expression for it."""
complete("Python expression", {**EXPRESSIONS, **OTHERS})


def _gap_function(source: ModuleSource, skeleton: Skeleton, reading: Gap, name: str) -> str:
    """The function of a gap; its rest value is what the same arithmetic gives."""
    chains = chains_between(skeleton, reading.joint, reading.other)
    links = [_links(source, skeleton, chain, scaled=True) for chain in (chains.first, chains.second)]
    first, second = ([link.place for link in chain] for chain in links)
    return gap_function(name, first, second, scale_of(skeleton, chains.ancestor), source.language)


def _links(source: ModuleSource, skeleton: Skeleton, chain: tuple[int, ...], *, scaled: bool) -> list[Link]:
    """The joints of a chain; the scale of its first joint does not move the joint itself."""
    names = [skeleton.joints[index].name for index in chain]
    places = [
        source.read_scale(name) if scaled and depth else source.read_joint(name) for depth, name in enumerate(names)
    ]
    return [Link(place, flip) for place, flip in zip(places, flips_of(skeleton, chain), strict=True)]


def _field_blocks(source: ModuleSource, places: Mapping[str, int]) -> Iterator[tuple[int, list[Statement]]]:
    """Each field that has strengths, as one call with its tables."""
    columns = {
        (field.name, sample.name): column
        for field in source.rig.fields
        for column, sample in enumerate(field.samples[1:])
    }
    by_field: dict[str, list[Sample]] = {}
    for strength in source.rig.strengths:
        if isinstance(strength, Sample):
            by_field.setdefault(strength.field, []).append(strength)
    for number_of_field, entry in enumerate(source.rig.fields):
        samples = by_field.get(entry.name)
        if samples is None:
            continue
        source.helpers.update({"field", "placed"})
        language = source.language
        table = language.constant_name(f"field {number_of_field}")
        arguments = map(language.literal, _field_arguments(entry))
        source.functions.append(language.constant(table, called(language.function_name("field table"), *arguments)))
        lines = _field_lines(entry, _field_turn(source, entry), table, language)
        lines += [assign(f"v[{places[each.name]}]", f"f[{columns[each.field, each.sample]}]") for each in samples]
        yield len(samples), lines


def _field_turn(source: ModuleSource, entry: Field) -> TurnSource:
    """The turn that a field looks at."""
    from plica.evaluate.pose_components import skeleton_of

    if entry.relative_to is not None:
        table = _seen_table(source, skeleton_of(source.rig), (entry.joint, entry.relative_to))
        return seen_turn(table, source.language)
    rest: Quaternion = next(joint.neutral.rotation for joint in source.rig.skeleton if joint.name == entry.joint)
    turn = turn_since(rest, frozenset("xyzw"))
    read = Assign(("x", "y", "z", "w"), f"pose[{source.read_joint(entry.joint)}][1]")
    return turn._replace(statements=(read, *turn.statements))


def _field_lines(entry: Field, turn: TurnSource, table: str, language: Language) -> list[Statement]:
    call = called(language.function_name("field"), turn.x, turn.y, turn.z, turn.w, f"{language.spread}{table}")
    return [Note((entry.name,)), *turn.statements, assign("f", call)]


def _field_arguments(entry: Field) -> tuple[Literal, ...]:
    """What the module needs to know of a field."""
    rotations = tuple(sample.rotation for sample in entry.samples)
    widths = tuple(entry.width if sample.width is None else sample.width for sample in entry.samples)
    return entry.axis, entry.kernel, widths, rotations, entry.coefficients, entry.constants


def _combine_blocks(source: ModuleSource, places: Mapping[str, int]) -> Iterator[tuple[int, list[Statement]]]:
    """Strengths made of others, in the order of the rig, in which they stand after their parts."""
    for strength in source.rig.strengths:
        if isinstance(strength, Combine):
            lines: list[Statement] = []
            result = _combination(strength.combination, places, lines, 0, source.language)
            yield 1, [*lines, assign(f"v[{places[strength.name]}]", result)]


def _combination(
    combination: Combination, places: Mapping[str, int], lines: list[Statement], depth: int, language: Language
) -> str:
    """Adds statements that leave a combination in a variable of its own; returns the variable."""
    result = f"a{depth}"
    parts: list[str] = []
    for index, part in enumerate(combination.parts):
        if isinstance(part, Combination):
            inner = _combination(part, places, lines, depth + 1, language)
            lines.append(assign(f"a{depth}_{index}", inner))
            parts.append(f"a{depth}_{index}")
        else:
            parts.append(f"v[{places[part.strength]}]")
    lines += _joined(combination.how, parts, result, language)
    return result


def _joined(how: str, parts: Sequence[str], result: str, language: Language) -> list[Statement]:
    """Statements that set `result` to the combination of the parts, by the name of its kind."""
    kind = combination_kind(how)
    lines: list[Statement] = []
    for start in range(0, len(parts), _PARTS_PER_STATEMENT):
        some = [*([result] if start else []), *parts[start : start + _PARTS_PER_STATEMENT]]
        lines.append(assign(result, kind.expression(some)))
    if kind.most is not None:
        most = number(kind.most)
        lines.append(assign(result, language.choice([(f"{result} > {most}", most)], result)))
    return lines
