"""Families of joints: chains whose joints are counted, and sets of chains side by side, such as fingers.

A chain is joints of one kind that hang below each other without a fork. Chains side by side start from the same joint;
fingers are those of one side, wherever the file hangs them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

from plica.skeleton.body import Body
from plica.start.name_templates import NameTemplate, template_of
from plica.start.subjects import Subject
from plica.start.verdicts import JointVerdict

Judge = Callable[[Sequence[Subject]], JointVerdict | None]
VARIABLES: Final = {"finger": "finger", "toes": "toe", "wing": "feather", "tentacle": "tentacle", "ear": "part"}


class FamilyRow(NamedTuple):
    """Joints that are declared by one declaration: what their names have in common, and how they are read."""

    members: tuple[Subject, ...]
    template: NameTemplate
    verdict: JointVerdict


class Family(NamedTuple):
    """Declarations in one `each`: what its variable is called, and the rows, whose templates have the same values.

    `chains`: whether its values are chains side by side, and the rows their joints from the first on; else its one row
    is a chain.
    """

    variable: str
    rows: tuple[FamilyRow, ...]
    chains: bool

    @property
    def members(self) -> tuple[Subject, ...]:
        """Every joint of it."""
        return tuple(member for row in self.rows for member in row.members)


def families_of(body: Body, subjects: Sequence[Subject], judge: Judge) -> tuple[Family, ...]:
    """The families among the joints to read, no joint twice; `judge` tells how joints are read together."""
    chains = _chains(body, subjects)
    result: list[Family] = []
    left: list[tuple[Subject, ...]] = []
    for beside in _side_by_side(body, subjects, chains):
        found = _grid(beside, judge) if len(beside) > 1 else []
        result += found
        taken = {member for family in found for member in family.members}
        left += [tuple(joint for joint in chain if joint not in taken) for chain in beside]
    for chain in left:
        result += _runs(chain, judge)
    return tuple(sorted(result, key=lambda family: family.rows[0].members[0].joint))


def kind_of_part(part: str) -> str:
    """What a chain is made of: the joints of a finger are all of fingers."""
    return part.split()[0]


# ---- chains ------------------------------------------------------------------------------------------------------


def _chains(body: Body, subjects: Sequence[Subject]) -> list[tuple[Subject, ...]]:
    by_joint = {subject.joint: subject for subject in subjects}
    below: dict[int, list[Subject]] = {}
    above: dict[int, int | None] = {}
    for subject in subjects:
        above[subject.joint] = _before(body, subject, by_joint)
        parent = above[subject.joint]
        if parent is not None:
            below.setdefault(parent, []).append(subject)
    chains = []
    for subject in subjects:
        parent = above[subject.joint]
        if parent is not None and _next(by_joint[parent], below) == subject:
            continue
        chain = [subject]
        following = _next(subject, below)
        while following is not None:
            chain.append(following)
            following = _next(following, below)
        chains.append(tuple(chain))
    return chains


def _before(body: Body, subject: Subject, by_joint: dict[int, Subject]) -> int | None:
    """The nearest joint to read that its bones come from."""
    at = body.bones.before[subject.joint]
    while at is not None and at not in by_joint:
        at = body.bones.before[at]
    return at


def _next(subject: Subject, below: dict[int, list[Subject]]) -> Subject | None:
    """The one joint of the same kind that follows in the chain; None where there is none or a fork."""
    same = [
        one
        for one in below.get(subject.joint, [])
        if kind_of_part(one.part) == kind_of_part(subject.part) and (one.partner is None) == (subject.partner is None)
    ]
    return same[0] if len(same) == 1 else None


def _side_by_side(
    body: Body, subjects: Sequence[Subject], chains: Sequence[tuple[Subject, ...]]
) -> list[list[tuple[Subject, ...]]]:
    """The chains, those together that start from the same joint and are of the same kind."""
    by_joint = {subject.joint: subject for subject in subjects}
    groups: dict[object, list[tuple[Subject, ...]]] = {}
    for chain in chains:
        first = chain[0]
        kind = kind_of_part(first.part)
        start = body.side[first.joint] if kind == "finger" else ("below", _before(body, first, by_joint))
        groups.setdefault((kind, first.partner is None, start), []).append(chain)
    return list(groups.values())


# ---- families ----------------------------------------------------------------------------------------------------


def _grid(chains: Sequence[tuple[Subject, ...]], judge: Judge) -> list[Family]:
    """Chains side by side, as one family where the same word differs in all their joints, else one for each row."""
    kind = kind_of_part(chains[0][0].part)
    variable = VARIABLES.get(kind, "one")
    rows = []
    for level in range(max(map(len, chains))):
        joints = tuple(chain[level] for chain in chains if len(chain) > level)
        template = template_of([joint.base for joint in joints])
        if template is None or (kind == "unknown" and template.numbers is None):
            continue
        verdict = judge(joints)
        if verdict is not None:
            rows.append(FamilyRow(joints, template, verdict))
    families: dict[tuple[str, ...], list[FamilyRow]] = {}
    for row in rows:
        families.setdefault(row.template.values, []).append(row)
    return [Family(variable, tuple(one), True) for one in families.values()]


def _runs(chain: Sequence[Subject], judge: Judge) -> list[Family]:
    """The stretches of a chain whose names count on and whose joints are read alike."""
    result = []
    start = 0
    while start < len(chain):
        end, row = start + 1, None
        while end < len(chain):
            longer = _row(chain[start : end + 1], judge)
            if longer is None:
                break
            end, row = end + 1, longer
        if row is not None:
            result.append(Family("number", (row,), False))
        start = end
    return result


def _row(joints: Sequence[Subject], judge: Judge) -> FamilyRow | None:
    template = template_of([joint.base for joint in joints])
    if template is None or not all(value.isdecimal() for value in template.values):
        return None
    numbers = [int(value) for value in template.values]
    if numbers != list(range(numbers[0], numbers[0] + len(numbers))):
        return None
    verdict = judge(joints)
    return None if verdict is None else FamilyRow(tuple(joints), template, verdict)
