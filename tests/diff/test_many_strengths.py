"""Many changed strengths: compared in batches, on poses whose number is bounded, which is then said."""

from __future__ import annotations

from itertools import chain

import numpy as np
import pytest

from plica.diff import strength_batches, strength_changes
from plica.diff.character_state import CharacterState
from plica.diff.comparison import compare
from plica.diff.posed_amounts import posed_amounts
from plica.diff.strength_comparison import StrengthComparison
from plica.diff.text_report import render
from plica.evaluate.pose_components import skeleton_of
from plica.evaluate.pose_mirror import PoseMirror
from plica.evaluate.pose_table import table_of
from plica.evaluate.poses import poses_from
from plica.evaluate.vectors import vectors
from plica.mesh.pose_solver import PoseSolver
from plica.pipeline import compile_text
from plica.rig.rig import Rig
from plica.rig.strengths import Driver
from tests.support.rigs import random_rig

BONES = 6


def spec(curve: str) -> str:
    """Two drivers on each of some bones, whose sides stand otherwise, and what is made of both."""
    lines = ['plica 1\ncharacter crowd { left "*_lf" right "*_rt"', "skeleton { joint root at 0 m, 1 m, 0 m"]
    for number in range(BONES):
        for side, x, turned in (("lf", 0.1, f"z {10 * number}"), ("rt", -0.1, f"y {7 * number}")):
            place = f"at {x} m, 0.{number + 1} m, 0 m turned about {turned} deg"
            lines.append(f"joint bone{number}_{side} under root {place}")
    lines.append("} }")
    for number in range(BONES):
        for name, axis in (("a", "x"), ("b", "z")):
            reads = f"reads rotation about {axis} of bone{number}   span 0 deg .. {60 + 10 * number} deg"
            lines.append(f"driver {name}{number} both {{ {reads}   curve {curve} }}")
        lines.append(f"combine all{number} both = product(a{number}, b{number})")
        lines.append(f'shape swell{number} both {{ sculpt "s.npz" posed at a{number} 0.5   follows all{number} }}')
        lines.append(f'shape bulge{number} both {{ sculpt "t.npz" posed at b{number} 1   follows a{number} }}')
    return "\n".join(lines)


def rig_of(text: str) -> Rig:
    compiled = compile_text(text)
    assert compiled.rig is not None, compiled.diagnostics
    return compiled.rig


@pytest.fixture(scope="module")
def old() -> Rig:
    return rig_of(spec("0 0, 0.5 0.35, 1 1"))


@pytest.fixture(scope="module")
def new() -> Rig:
    return rig_of(spec("0 0, 0.5 0.4, 1 1"))


def test_batches_find_what_one_finds(old: Rig, new: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = StrengthComparison(old, new)
    at_once = {name: whole.change_of(name) for name in whole.affected}
    assert len(at_once) == 2 * 3 * BONES
    monkeypatch.setattr(strength_batches, "_TOGETHER", 12)
    parted = StrengthComparison(old, new)
    batches = strength_batches.strength_batches(parted.affected, parted.sources)
    assert len(batches) == BONES // 2
    assert sorted(chain.from_iterable(batches)) == sorted(at_once)
    for name, one in at_once.items():
        other = parted.change_of(name)
        assert one is not None and other is not None and not other.is_bounded
        exact = isinstance(whole.sources[1].strengths[name], Driver)  # which is posed at every knot
        within = 1e-9 if exact else 0.002
        assert other.largest == pytest.approx(one.largest, abs=within) and other.rest == one.rest, name
        declared = whole.sources[1].strengths[name].declared
        partners = {each.name for each in new.strengths if each.declared == declared}
        number = declared[-1]
        together = {
            each.name for each in new.strengths if each.declared in (f"a{number}", f"b{number}", f"all{number}")
        }
        batch = next(set(batch) for batch in batches if name in batch)
        assert partners | together <= batch, "both sides, and what shares parts, in one"


def test_few_strengths_of_one_joint_are_compared_at_once(old: Rig, new: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(strength_batches, "_READERS", 1)
    comparison = StrengthComparison(old, new)
    assert len(strength_batches.strength_batches(comparison.affected, comparison.sources)) == BONES


def test_the_bound_is_said(old: Rig, new: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    states = [{"": CharacterState("spec.plica", rig)} for rig in (old, new)]
    assert " poses" not in render(compare(*states))
    monkeypatch.setattr(strength_changes, "_MOST_NUMBERS", 1)
    monkeypatch.setattr(strength_changes, "_FEWEST", 8)
    change = StrengthComparison(old, new).change_of("left_all0")
    assert change is not None and change.is_bounded
    assert (
        f"combine all0 changes by at most {change.largest:.4g} on {change.poses} of {change.possible} poses"
        in render(compare(*states))
    )
    read_otherwise = {"": CharacterState("spec.plica", rig_of(spec("linear").replace("about x of", "about y of")))}
    assert " of " in next(one for one in render(compare(states[0], read_otherwise)).splitlines() if "poses)" in one)


def test_strengths_in_poses_of_sculpts_are_those_of_the_solver(old: Rig) -> None:
    solver = PoseSolver(old)
    asked = [(sculpt.pose, shape.follows or "") for shape in old.shapes for sculpt in shape.sculpts]
    found = posed_amounts(old, asked)
    assert len(found) == 4 * BONES
    for (items, strength), amount in found.items():
        made = solver.pose(items)
        assert not made.problems
        assert amount == pytest.approx(solver.strength(made.pose, strength), abs=1e-12)


@pytest.mark.parametrize("seed", [2, 5])
def test_poses_are_mirrored_together_as_one_by_one(seed: int) -> None:
    rig = random_rig(seed)
    assert rig.symmetry is not None
    mirror = PoseMirror(rig, skeleton_of(rig), rig.symmetry)
    poses = [example.pose for example in vectors(rig)]
    table = table_of(poses, [one.name for one in rig.skeleton], [one.name for one in rig.controls])
    for made, one_by_one in ((table, poses), (mirror.table(table), [mirror.pose(pose) for pose in poses])):
        given, wanted = made.poses(rig), poses_from(rig, one_by_one)
        np.testing.assert_allclose(given.rotations, wanted.rotations, atol=1e-13)
        np.testing.assert_allclose(given.translations, wanted.translations, atol=1e-13)
        np.testing.assert_allclose(given.controls, wanted.controls, atol=0)
        assert (given.scales is None) == (wanted.scales is None)
        if given.scales is not None and wanted.scales is not None:
            np.testing.assert_allclose(given.scales, wanted.scales, atol=1e-13)
