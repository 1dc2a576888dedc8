"""Spec to Rig: every `both` becomes a left and a right entry, every name an output name."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from itertools import chain
from typing import Any, TypeVar

from plica.diagnostics import Diagnostics, Label
from plica.kinds.expectations import expectation_kind
from plica.kinds.readings import Reading, joints_of
from plica.named_tuples import NamedTuple
from plica.rig.combinations import parts_of
from plica.rig.expand_readings import Frames, expand_pose, expand_reading
from plica.rig.expand_regions import RegionExpansion
from plica.rig.expand_weights import report_fed_back, shown_weights, weight_controls
from plica.rig.output_names import SIDES, Naming
from plica.rig.pose_reach import PoseReach
from plica.rig.region_sources import regions_of
from plica.rig.rig import Character, Expectation, Pose, Rig, RigJoint, Symmetry
from plica.rig.strengths import Combination, Combine, Control, Driver, Field, Sample, Strength, StrengthOf
from plica.rig.surface_circles import report_circles
from plica.rig.surfaces import (
    Detail,
    Fold,
    Inbetween,
    JointPose,
    Morph,
    Region,
    Sculpt,
    Shape,
    StrengthPose,
)
from plica.source import Span
from plica.spec import entries as spec
from plica.spec.budget import Budget
from plica.spec.entries import OneSide
from plica.spec.ordering import circles, rounds
from plica.values import About, Side

Origins = Mapping[tuple[str, str], Span]
Named = TypeVar("Named", bound=Any)

_SIDE_ORDER = {"left": 0, "right": 1, "none": 2}


class Expanded(NamedTuple):
    """The rig, and where each of its entries was declared, by kind and output name.

    `weights`: controls for the morph targets of the skin that nothing of the rig reads, for poses of the skin.
    """

    rig: Rig
    origins: Origins
    weights: tuple[Control, ...] = ()


def expand(bound: spec.Spec, diagnostics: Diagnostics, budget: Budget) -> Expanded:
    """Expand a spec; entries with mistakes are left out and reported. `budget`: what may still be written out."""
    return _Expansion(bound, diagnostics, budget).result()


class _Expansion:
    def __init__(self, bound: spec.Spec, diagnostics: Diagnostics, budget: Budget) -> None:
        self.spec = bound
        self.diagnostics = diagnostics
        self.budget = budget
        self.origins: dict[tuple[str, str], Span] = {}
        self.naming = Naming(bound.character.names_pattern, *bound.character.side_texts)
        self.frames = Frames(bound.bound, self.naming, diagnostics)
        self.poses: dict[str, tuple[StrengthPose | JointPose, ...]] = {}

    def result(self) -> Expanded:
        bound = self.spec
        fields = self._entries("field", bound.fields, self._field)
        samples = [sample for item in fields for sample in self._samples(item)]
        drivers = self._entries("driver", bound.drivers, self._driver)
        combines = self._entries("combine", bound.combines, self._combine)
        strengths: list[Strength] = [*drivers, *samples, *self._in_order(combines)]
        self._report_clashes(strengths)
        poses = self._entries("pose", bound.poses, self._pose)
        self.poses = {pose.name: pose.items for pose in poses}
        shapes = self._entries("shape", bound.shapes, self._shape)
        self._settled("shape", {item.name: item.earlier for item in shapes})
        reach = PoseReach(strengths, fields, bound.bound.skeleton)
        self.regions = RegionExpansion(self.frames, self.budget, self._posed, reach, tuple(shapes))
        regions = self._entries("region", bound.regions, self._region)
        settled = self._settled("region", {item.name: regions_of(item.source) for item in regions})
        if len(settled) == len(regions):
            report_circles(regions, shapes, self.origins, self.diagnostics)
        report_fed_back(drivers, shapes, lambda name: self.origins[("shape", name)], self.diagnostics)
        rig = Rig(
            character=self._character(),
            skeleton=self._skeleton(),
            symmetry=self._symmetry(),
            controls=(*self._entries("control", bound.controls, self._control), *weight_controls(bound.drivers)),
            fields=tuple(fields),
            strengths=tuple(strengths),
            regions=tuple(regions),
            shapes=tuple(shapes),
            details=tuple(self._entries("detail", bound.details, self._detail)),
            folds=tuple(self._entries("fold", bound.folds, self._fold)),
            poses=tuple(poses),
            expectations=tuple(self._expectations()),
            aliases=bound.character.aliases,
        )
        return Expanded(rig, self.origins, tuple(shown_weights(bound.morphs, rig)))

    def _entries(
        self,
        kind: str,
        entries: Iterable[spec.Entry[Any]],
        make: Callable[[spec.Entry[Any], OneSide, str], Named | None],
    ) -> list[Named]:
        """One entry for each side, ordered by declared name, so that the order of declarations never shows."""
        made: list[Named] = []
        for entry in entries:
            declared = entry.declared
            for side in SIDES[declared.side]:
                name = self.naming.of(declared.name, side)
                if self.diagnostics.stopped or not self.budget.spend(len(name), declared.span):
                    return made
                self._declare(kind, name, declared.span)
                item = make(entry, side, name)
                if item is not None:
                    made.append(item)
        return sorted(made, key=_order)

    def _declare(self, kind: str, name: str, span: Span) -> None:
        other = self.origins.get((kind, name))
        if other is not None:
            self.diagnostics.add("output-name-clash", span, name=name, labels=[Label(other, "the other declaration")])
        self.origins[(kind, name)] = span

    # ---- the character

    def _character(self) -> Character:
        facts = self.spec.character
        return Character(
            name=facts.name,
            title=facts.title,
            geometry=facts.geometry,
            tolerance=facts.tolerance,
            about=facts.about,
            band=facts.band,
            skinning=facts.skinning,
            stance=self.spec.bound.stance.taken,
        )

    def _skeleton(self) -> tuple[RigJoint, ...]:
        skeleton, rest, sides = self.spec.bound.skeleton, self.spec.bound.stance.rest, self.spec.bound.sides
        joints = []
        for index, joint in enumerate(skeleton.joints):
            side: Side = "left" if index in sides.left else "right" if index in sides.right else "none"
            partner = sides.partner.get(index)
            joints.append(
                RigJoint(
                    name=joint.name,
                    parent=None if joint.parent is None else skeleton.joints[joint.parent].name,
                    neutral=joint.local,
                    rest=rest.joints[index].local,
                    side=side,
                    partner=None if partner is None else skeleton.joints[partner].name,
                    skinned=joint.skinned,
                )
            )
        return tuple(joints)

    def _symmetry(self) -> Symmetry | None:
        plane = self.spec.bound.plane
        return None if plane is None else Symmetry.of(plane, self.spec.bound.plane_found)

    def _about(self, about: About, side: OneSide) -> About:
        if about.renamed_from is None:
            return about
        return About(about.notes, about.photos, self.naming.of(about.renamed_from, side))

    # ---- strengths

    def _control(self, entry: spec.Entry[spec.ControlFacts], side: OneSide, name: str) -> Control:
        declared, facts = entry.declared, entry.facts(side)
        about = self._about(entry.about(side), side)
        return Control(name, side, declared.name, facts.range, facts.rest, about=about)

    def _driver(self, entry: spec.Entry[spec.DriverFacts], side: OneSide, name: str) -> Driver | None:
        declared, facts = entry.declared, entry.facts(side)
        mirrored = entry.mirrored(side, "reads")
        reading = expand_reading(facts.reading, side, mirrored, self.frames, declared.span)
        if reading is None:
            return None
        if side == "right" and declared.side == "both":
            self._report_same(entry, reading, name)
        self._refuse_unbound(name, joints_of(reading), declared.span)
        about = self._about(entry.about(side), side)
        return Driver(name, side, declared.name, reading, facts.span, facts.clamped, facts.curve, about)

    def _report_same(self, entry: spec.Entry[spec.DriverFacts], right: Reading, name: str) -> None:
        """Both sides reading the same number is hardly meant: an axis that the mirror leaves alone."""
        span = entry.declared.span
        left = expand_reading(entry.left.reading, "left", False, self.frames, span)
        if left == right and entry.left.span == entry.right.span:
            self.diagnostics.add("same-on-both-sides", span, name=entry.declared.name)

    def _refuse_unbound(self, name: str, joints: Iterable[str], span: Span) -> None:
        """Reports a reading that passes through a joint whose place in the neutral stance nothing states."""
        bound = self.spec.bound
        places = [bound.skeleton.index[joint] for joint in joints]
        ways = [{place, *bound.skeleton.ancestors(place)} for place in places]
        passed = set(places) if len(places) < 2 else ways[0] ^ ways[1]
        for place in sorted(passed):
            unbound = bound.stance.unbound(place)
            if unbound is not None:
                read, missing = self.frames.joint_name(place), self.frames.joint_name(unbound)
                self.diagnostics.add("reading-through-unbound", span, name=name, joint=read, unbound=missing)
                return

    def _combine(self, entry: spec.Entry[spec.CombineFacts], side: OneSide, name: str) -> Combine:
        declared = entry.declared
        combination = self._combination(entry.facts(side).combination, side)
        return Combine(name, side, declared.name, combination, self._about(entry.about(side), side))

    def _combination(self, combination: spec.CombinationOf, side: OneSide) -> Combination:
        parts: list[Combination | StrengthOf] = []
        for part in combination.parts:
            if isinstance(part, spec.CombinationOf):
                parts.append(self._combination(part, side))
            else:
                parts.append(StrengthOf(self.naming.target(part, side)))
        return Combination(combination.how, tuple(parts))

    def _field(self, entry: spec.Entry[spec.FieldFacts], side: OneSide, name: str) -> Field | None:
        from plica.rig.expand_fields import expand_field

        made = expand_field(entry, side, self.frames)
        if made is not None:
            self._refuse_unbound(name, (made.joint,), entry.declared.span)
        return None if made is None else made._replace(about=self._about(entry.about(side), side))

    def _samples(self, item: Field) -> list[Sample]:
        samples = []
        for sample in item.samples[1:]:
            name = self.naming.of(item.declared, item.side, sample.name)
            self.origins[("sample", name)] = self.origins[("field", item.name)]
            declared = f"{item.declared}.{sample.name}"
            samples.append(Sample(name, item.side, declared, item.name, sample.name))
        return samples

    def _in_order(self, combines: list[Combine]) -> list[Combine]:
        """Combines after those that they are made of; those in a cycle are reported and left out."""
        made = {combine.name: combine for combine in combines}
        settled = self._settled("combine", {name: parts_of(item.combination) for name, item in made.items()})
        return [made[name] for name in settled]

    def _report_clashes(self, strengths: list[Strength]) -> None:
        seen: dict[str, Strength] = {}
        for item in strengths:
            other = seen.setdefault(item.name, item)
            if other is not item and other.kind != item.kind:
                label = Label(self.origins[(other.kind, other.name)], "the other declaration")
                span = self.origins[(item.kind, item.name)]
                self.diagnostics.add("output-name-clash", span, name=item.name, labels=[label])

    # ---- surfaces

    def _region(self, entry: spec.Entry[spec.RegionFacts], side: OneSide, name: str) -> Region | None:
        declared, facts = entry.declared, entry.facts(side)
        source = self.regions.source(entry, side)
        if source is None:
            return None
        about = self._about(entry.about(side), side)
        return Region(name, side, declared.name, source, facts.feather, about)

    def _settled(self, kind: str, parts: Mapping[str, Iterable[str]]) -> list[str]:
        """The names, each after its parts; those that are made of themselves are reported and left out."""
        settled = dict.fromkeys(chain.from_iterable(rounds(parts)))
        told: set[tuple[Span, ...]] = set()  # left and right go round alike
        for circle in circles({name: parts[name] for name in parts if name not in settled}):
            places = tuple(dict.fromkeys(self.origins[(kind, name)] for name in circle))
            if places not in told:
                labels = [Label(place, "which leads back through this") for place in places[1:]]
                self.diagnostics.add("cycle", places[0], labels=labels, kind=kind, name=circle[0])
            told.add(places)
        return list(settled)

    def _posed(
        self,
        items: tuple[spec.StrengthPoseOf | spec.JointPoseOf | spec.NamedPoseOf, ...],
        side: OneSide,
        mirrored: bool,
    ) -> tuple[StrengthPose | JointPose, ...]:
        pose: list[StrengthPose | JointPose] = []
        for item in items:
            if isinstance(item, spec.NamedPoseOf):
                pose += self.poses.get(self.naming.target(item.pose, side), ())
            else:
                pose += expand_pose((item,), side, mirrored, self.frames)
        return tuple(pose)

    def _sculpt(self, sculpt: spec.SculptOf, side: OneSide, mirrored: bool) -> Sculpt:
        pose = self._posed(sculpt.pose, side, mirrored)
        return Sculpt(sculpt.file, pose, tuple(self.naming.target(shape, side) for shape in sculpt.after))

    def _shape(self, entry: spec.Entry[spec.ShapeFacts], side: OneSide, name: str) -> Shape:
        declared, facts = entry.declared, entry.facts(side)
        source: Sculpt | Morph | None = None
        if isinstance(facts.source, spec.SculptOf):
            source = self._sculpt(facts.source, side, entry.mirrored(side, "source"))
        elif facts.source is not None:
            source = Morph(facts.source.name)
        mirrored = entry.mirrored(side, "inbetween")
        return Shape(
            name=name,
            side=side,
            declared=declared.name,
            source=source,
            within=self._optional(facts.within, side),
            follows=self._optional(facts.follows, side),
            inbetweens=tuple(
                Inbetween(item.at, self._sculpt(item.sculpt, side, mirrored)) for item in facts.inbetweens
            ),
            threshold=facts.threshold,
            mirrored=entry.mirrored(side, "source"),
            about=self._about(entry.about(side), side),
            sided=facts.sided,
            draft=facts.draft,
        )

    def _optional(self, target: spec.EntryReference | None, side: OneSide) -> str | None:
        return None if target is None else self.naming.target(target, side)

    def _detail(self, entry: spec.Entry[spec.DetailFacts], side: OneSide, name: str) -> Detail:
        facts = entry.facts(side)
        about = self._about(entry.about(side), side)
        return Detail(name, facts.relaxed, facts.contracted, facts.uv, facts.budget, facts.mixing, about)

    def _fold(self, entry: spec.Entry[spec.FoldFacts], side: OneSide, name: str) -> Fold:
        declared, facts = entry.declared, entry.facts(side)
        return Fold(
            name=name,
            side=side,
            declared=declared.name,
            detail=self.naming.target(facts.detail, side),
            area=self.naming.target(facts.area, side),
            follows=self._optional(facts.follows, side),
            tolerance=facts.tolerance,
            about=self._about(entry.about(side), side),
        )

    # ---- poses and expectations

    def _pose(self, entry: spec.Entry[spec.PoseFacts], side: OneSide, name: str) -> Pose:
        declared = entry.declared
        items = expand_pose(entry.facts(side).items, side, entry.mirrored(side, "pose_at"), self.frames)
        return Pose(name, side, declared.name, items, self._about(entry.about(side), side))

    def _expectations(self) -> list[Expectation]:
        made: dict[Expectation, Span] = {}
        for item in self.spec.expectations:
            for side in SIDES["none" if expectation_kind(item.kind).whole else item.side]:
                expectation = self._expectation(item, side)
                if expectation in made:
                    label = Label(made[expectation], "the first one")
                    self.diagnostics.add("repeated-expectation", item.span, labels=[label])
                made[expectation] = item.span
        ordered = sorted(made, key=repr)
        for index, expectation in enumerate(ordered):
            self.origins[("expect", str(index))] = made[expectation]
        return ordered

    def _expectation(self, item: spec.ExpectationOf, side: OneSide) -> Expectation:
        return Expectation(
            kind=item.kind,
            side=side,
            of=tuple(self.naming.target(target, side) for target in item.of),
            against=self._optional(item.against, side),
            uv=item.uv,
            limit=item.limit,
            border=item.border,
            share=item.share,
            over=tuple(self.naming.target(target, side) for target in item.over),
            over_clips=item.over_clips,
            over_poses=tuple(self.naming.target(target, side) for target in item.over_poses),
            over_everything=item.over_everything,
            about=item.about,
        )


def _order(item: Any) -> tuple[str, int]:
    return item.declared if hasattr(item, "declared") else item.name, _SIDE_ORDER[getattr(item, "side", "none")]
