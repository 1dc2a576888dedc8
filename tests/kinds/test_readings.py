"""What holds for every kind of reading is tried for all that have a record; a kind that lacks something is refused."""

from __future__ import annotations

import ast
import operator
import re
from collections.abc import Mapping
from itertools import combinations
from pathlib import Path
from typing import Any, Literal, NamedTuple, get_args

import pytest

from plica.emit.features import READINGS
from plica.evaluate.evaluator import Evaluator
from plica.evaluate.inverse_readings import INVERSES, ReadingInverter
from plica.evaluate.pose_components import skeleton_of
from plica.evaluate.poses import poses_from, rest_poses
from plica.evaluate.readings import GROUPS
from plica.kinds.phrases import symbols
from plica.kinds.reading_kind import IncompleteKindError, Needs, Part, ReadingKind, checked, of_all
from plica.kinds.readings import READING_KINDS, Reading, complete, controls_of, joints_of, kind_of
from plica.rig.entry_text import axis_text, filled, quantity_text, reading_text, span_text
from plica.rig.expand_readings import COMPUTED, check_computed
from plica.rig.rig import Rig
from plica.rig.rig_json import read_rig, write_rig
from plica.rig.strengths import Combination, Driver, Strength, StrengthOf
from plica.rig.surfaces import JointPose, RegionSource, StrengthPose
from plica.spec.entries import RegionSourceOf
from plica.syntax import nodes
from plica.syntax.parser_tables import parser
from plica.targets.python.readings import EXPRESSIONS
from plica.targets.python.source import OTHERS
from plica.units import Dimension
from plica.values import Curve
from tests.support.data import ROOT
from tests.support.rigs import random_rig
from tests.support.texts import compiled, rig_of

CONTROL = "control dial both { range -1 .. 1 }\n"
WRITTEN: Mapping[Part, tuple[str, ...]] = {
    Part.JOINT: ("lowerarm", "head"),
    Part.ROTATION_AXIS: ("z",),
    Part.DIRECTION: ("y", "x"),
    Part.CHANNEL: ("x",),
    Part.ORDER: ("zxy",),
    Part.CONTROL: ("dial",),
    Part.MORPH: ('"smile_left"',),
}
SPANS = {
    Dimension.ANGLE: "0 deg .. 60 deg",
    Dimension.LENGTH: "0 mm .. 20 mm",
    Dimension.NUMBER: "0 .. 0.5",
    Dimension.SHARE: "0 % .. 50 %",
}
KINDS = pytest.mark.parametrize("kind", READING_KINDS.values(), ids=lambda kind: kind.name)
UNIONS: tuple[Any, ...] = (
    nodes.Placed,
    Reading,
    Strength,
    Combination | StrengthOf,
    RegionSource,
    RegionSourceOf,
    StrengthPose | JointPose,
    Curve,
)


def phrase_of(kind: ReadingKind[Any]) -> str:
    """A phrase of the kind with all of its parts filled in."""
    left = {sort: list(words) for sort, words in WRITTEN.items()}
    filled_in = re.sub(r"\{(\w+)\}", lambda name: left[kind.parts[name[1]]].pop(0), kind.phrase)
    return filled_in.replace("[", "").replace("]", "")


def example(kind: ReadingKind[Any]) -> Rig:
    """A rig with one driver, on both sides, that reads this kind."""
    text = f"driver tried both {{ reads {phrase_of(kind)}   span {SPANS[kind.dimension]} }}\n"
    return rig_of((CONTROL if kind.named(Part.CONTROL) else "") + text)


def drivers_of(rig: Rig) -> list[Driver]:
    return [strength for strength in rig.strengths if isinstance(strength, Driver)]


@KINDS
def test_a_phrase_has_a_symbol_for_each_child_of_the_rule(kind: ReadingKind[Any]) -> None:
    rules = [rule for rule in parser().rules if rule.alias == kind.key]
    assert rules, "the grammar knows no such reading"
    terminals = {terminal.name: terminal.pattern.value for terminal in parser().terminals}
    for rule in rules:
        written = iter(rule.expansion)
        empty = rule.options.empty_indices or [False] * len(rule.expansion)
        children = [None if absent else next(written).name for absent in empty]
        assert len(children) == len(symbols(kind.phrase))
        for symbol, child in zip(symbols(kind.phrase), children, strict=True):
            if child is not None and not symbol.startswith("{"):
                assert terminals[child] == symbol


def test_every_reading_of_the_grammar_has_a_kind() -> None:
    assert {rule.alias for rule in parser().rules if rule.origin.name == "reading"} == {
        kind.key for kind in READING_KINDS.values()
    }


@KINDS
def test_a_written_reading_is_read_evaluated_and_turned_round(kind: ReadingKind[Any]) -> None:
    rig = example(kind)
    evaluator, inverter = Evaluator(rig), ReadingInverter(rig, skeleton_of(rig))
    assert evaluator.readings(rest_poses(rig, 1)) == pytest.approx(0.0, abs=1e-12)
    for column, driver in enumerate(drivers_of(rig)):
        assert kind_of(driver.reading) is kind
        for share in (0.25, 1.0):
            pose = inverter.pose(driver.reading, share * driver.span[1])
            assert pose is not None
            value = evaluator.readings(poses_from(rig, [pose]))[0, column]
            assert value == pytest.approx(share * driver.span[1], abs=1e-9)
            assert set(pose.joints) <= inverter.needed(driver.reading)


@KINDS
def test_what_is_said_of_a_reading_names_its_sources(kind: ReadingKind[Any]) -> None:
    rig = example(kind)
    for driver in drivers_of(rig):
        reading = driver.reading
        sources = (*joints_of(reading), *controls_of(reading))
        assert sources
        for text in (reading_text(reading), quantity_text(reading)):
            assert all(source in text for source in sources) and "{" not in text
        assert (axis_text(reading) is None) == (kind.axis is None)
        if kind.axis is not None:
            assert "{" not in filled(kind.axis.title, reading) + filled(kind.axis.shown, reading)
        assert span_text(reading, driver.span) == SPANS[kind.dimension]
    assert read_rig(write_rig(rig)) == rig


@KINDS
def test_a_span_beyond_what_a_kind_reaches_is_refused(kind: ReadingKind[Any]) -> None:
    assert kind.dimension is Dimension.ANGLE or kind.reach is None
    if kind.reach is not None:
        text = f"driver far both {{ reads {phrase_of(kind)}   span 0 deg .. 181 deg }}"
        names = [result.name for result in compiled(text).diagnostics]
        assert "span-out-of-reach" in names


@KINDS
def test_another_dimension_is_refused(kind: ReadingKind[Any]) -> None:
    other = next(span for dimension, span in SPANS.items() if dimension is not kind.dimension)
    text = CONTROL + f"driver other both {{ reads {phrase_of(kind)}   span {other} }}"
    assert compiled(text).rig is None


def test_random_rigs_hold_every_kind() -> None:
    """Laws of mirroring, targets and outside checks are tried on these."""
    assert {driver.reading.kind for driver in drivers_of(random_rig(1))} == READING_KINDS.keys()
    assert {f"reading {name}" for name in READING_KINDS} == READINGS


# ---- a kind that lacks something ----------------------------------------------------------------------------


class Wobble(NamedTuple):
    """A made-up reading."""

    joint: str
    amount: float
    kind: Literal["wobble"] = "wobble"


WOBBLE = READING_KINDS["bend"]._replace(
    name="wobble",
    record=Wobble,
    phrase="wobble of {joint}",
    parts={"joint": Part.JOINT},
    text="wobble of {joint}",
    short="wobble of {joint}",
)


@pytest.mark.parametrize("register", [GROUPS, INVERSES, {**EXPRESSIONS, **OTHERS}], ids=["frames", "inverse", "Python"])
def test_a_kind_without_an_entry_is_refused(register: Mapping[str, object]) -> None:
    with pytest.raises(IncompleteKindError, match="wobble: no"):
        of_all("entry", register, [*READING_KINDS, "wobble"])
    for name in READING_KINDS:
        with pytest.raises(IncompleteKindError, match=name):
            complete("entry", {key: entry for key, entry in register.items() if key != name})
    with pytest.raises(IncompleteKindError, match="of no such kind"):
        complete("entry", {**register, "wobble": None})


def test_a_field_that_nothing_computes_is_refused() -> None:
    with pytest.raises(IncompleteKindError, match="nothing computes amount of `wobble`"):
        check_computed({**READING_KINDS, "wobble": WOBBLE}, COMPUTED)
    with pytest.raises(IncompleteKindError, match="no kind"):
        check_computed(READING_KINDS, {**COMPUTED, "wobble": lambda _: None})


BROKEN = {
    "a text of": WOBBLE._replace(text="wobble of {elbow}"),
    "the parts of": WOBBLE._replace(phrase="wobble of {joint} by {amount}"),
    "has another kind": WOBBLE._replace(name="tremble"),
    "the joints or the control": WOBBLE._replace(needs=Needs.CHAIN),
    "there are two kinds": READING_KINDS["bend"],
}


@pytest.mark.parametrize("reason", BROKEN)
def test_a_record_at_odds_with_itself_is_refused(reason: str) -> None:
    records = [*get_args(Reading), Wobble]
    assert "wobble" in checked([*READING_KINDS.values(), WOBBLE], records)
    with pytest.raises(IncompleteKindError, match=reason):
        checked([*READING_KINDS.values(), BROKEN[reason]], records)


def test_a_record_of_the_rig_without_a_kind_is_refused() -> None:
    with pytest.raises(IncompleteKindError, match="not those of the Rig"):
        checked(READING_KINDS.values(), [*get_args(Reading), Wobble])
    with pytest.raises(IncompleteKindError, match="not those of the Rig"):
        checked([*READING_KINDS.values(), WOBBLE], get_args(Reading))


# ---- records of different kinds -----------------------------------------------------------------------------


@pytest.mark.parametrize("union", UNIONS, ids=str)
def test_records_of_different_kinds_are_never_equal(union: Any) -> None:
    members = get_args(union)
    for one, other in combinations(members, 2):
        size = min(len(one._fields), len(other._fields))
        pair = [tuple.__new__(record, "x" * size) for record in (one, other)]
        assert not operator.eq(*pair) and operator.ne(*pair) and len(set(pair)) == 2
    for record in members:
        pair = [tuple.__new__(record, "x" * len(record._fields)) for _ in range(2)]
        assert operator.eq(*pair) and not operator.ne(*pair) and len(set(pair)) == 1


# ---- where kinds are named ----------------------------------------------------------------------------------


def test_only_the_listed_files_name_kinds_of_readings() -> None:
    """The files that DEVELOPERS.md lists for a new reading, and no others, import the record of a kind."""
    listed = re.findall(r"`((?:compiler|targets)/\S+\.py)`", section("Adding a reading"))
    records = {record.__name__ for record in get_args(Reading)}
    files = [path for folder in ("compiler", "targets") for path in (ROOT / folder).rglob("*.py")]
    result = {path.relative_to(ROOT).as_posix() for path in files if records & imported(path, "plica.kinds.readings")}
    # What lies between two joints has modules of its own beside the evaluation of the others.
    assert result - {"compiler/evaluate/gaps.py", "compiler/evaluate/seen_turns.py"} <= set(listed)
    assert all((ROOT / name).is_file() for name in listed)


def section(title: str) -> str:
    """A section of DEVELOPERS.md."""
    return (ROOT / "DEVELOPERS.md").read_text("utf-8").split(f"## {title}\n")[1].split("\n## ")[0]


def imported(path: Path, module: str) -> set[str]:
    """The names that a file imports from a module."""
    tree = ast.parse(path.read_text("utf-8"))
    nodes_of = [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module == module]
    return {alias.name for node in nodes_of for alias in node.names}
