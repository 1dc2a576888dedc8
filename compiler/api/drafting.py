"""First sculpts that the skin computes."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from plica.api.character import Character, FilePath, counted_errors, rig_of
from plica.api.posing import check_names
from plica.api.sculpting import item_words, shape_of
from plica.api.skin import AttachedMesh, attach_mesh
from plica.api.whole_files import write_whole
from plica.diagnostics import Diagnostic, Diagnostics, Severity
from plica.diagnostics.place import counted
from plica.errors import NoMeshError, PlicaError
from plica.mesh.inbetweens import Inbetweens
from plica.mesh.offsets import largest_of
from plica.mesh.pose_solver import PoseSolver
from plica.quantities import length, number, percent, quantity
from plica.readers.model_outline import UnreadableModel
from plica.rig.rig import Rig
from plica.rig.surface_circles import own_circles
from plica.rig.surfaces import JointPose, Morph, Sculpt, Shape, StrengthPose
from plica.sculpting.adoption import Ground
from plica.sculpting.draft_files import LayeredShape, draft_files
from plica.sculpting.draft_layers import StoredDraft, hand_of, read_stored
from plica.sculpting.posed_mesh import posed_mesh, shapes_before
from plica.sculpting.spec_facts import SpecFact, facts_of
from plica.units import UNITS, Dimension, units_of
from plica.values import DraftFacts
from plica.workspace import Refused, Workspace

if TYPE_CHECKING:
    from plica.drafting.problem import DraftSettings, SkinFigures
    from plica.sculpting.drafts import ShapeDraft

Items = tuple[StrengthPose | JointPose, ...]


class UnusableWishError(PlicaError, ValueError):
    """A wish for a draft that no draft can fulfil."""


@dataclass(frozen=True, eq=False, repr=False)
class DraftedSculpt:
    """A shape drafted.

    shape, declared: its output name and its name in the spec. files: what was computed, by the name that the spec is to
    give it. said, wanted: the facts that the spec says of it and is to say. sentences: what it is like, before and
    after. reached: the share of the bend, below 1 where the skin blocked. before, after: the figures of the
    skin there, without and with the draft.
    """

    shape: str
    declared: str
    files: Mapping[str, bytes]
    said: tuple[SpecFact, ...]
    wanted: tuple[SpecFact, ...]
    sentences: tuple[str, ...]
    reached: float
    before: SkinFigures
    after: SkinFigures

    @property
    def lines(self) -> tuple[str, ...]:
        """The facts that the spec is to say and does not say yet."""
        return tuple(one.words for one in self.wanted if one not in self.said)

    @property
    def obsolete(self) -> tuple[str, ...]:
        """The facts that the spec says and is to say no more."""
        return tuple(one.words for one in self.said if one not in self.wanted)

    def __repr__(self) -> str:
        return f"<DraftedSculpt of {self.shape!r}: {'; '.join(self.sentences)}>"


@dataclass(frozen=True, eq=False, repr=False)
class DraftedSculpts:
    """Shapes drafted, in the order asked for; diagnostics: why some or all of them could not be."""

    character: Character
    drafts: tuple[DraftedSculpt, ...]
    diagnostics: tuple[Diagnostic, ...]

    @property
    def ok(self) -> bool:
        """Whether every shape was drafted."""
        return not any(one.severity is Severity.ERROR for one in self.diagnostics)

    @property
    def files(self) -> dict[str, bytes]:
        """The files of all of them, by the name that the spec is to give them."""
        return {name: content for one in self.drafts for name, content in one.files.items()}

    def write(self, folder: FilePath) -> tuple[Diagnostic, ...]:
        """Write the files into the spec's folder, all or none; what stands in the way is given as diagnostics."""
        return write_whole(self.files, Path(folder))

    def write_spec(self) -> tuple[Diagnostic, ...] | None:
        """Write the spec with all that it is to say of these shapes; what stands in the way is given as diagnostics.

        None, and nothing is written, where its text does not have each of them as one declaration, or would not say
        just that then. The files have to be written before.
        """
        from plica.api.draft_spec import spec_text

        text = spec_text(self.character, [(one.shape, one.declared, one.said, one.wanted) for one in self.drafts])
        if text is None:
            return None
        name = Path(self.character.file).name
        return write_whole({name: text.encode()}, self.character.folder)

    def __repr__(self) -> str:
        return f"<DraftedSculpts: {counted(len(self.drafts), 'shape')}, {counted_errors(self.diagnostics)}>"


def draft_sculpts(
    character: Character,
    shapes: Sequence[str],
    *,
    region: str | None = None,
    volume: float | None = None,
    nearness: float | None = None,
    border: float | None = None,
    gap: float | None = None,
    inbetweens: int | None = None,
    contact: bool = True,
    progress: Callable[[str], None] = lambda step: None,
) -> DraftedSculpts:
    """Compute first sculpts: where the skin settles in the pose of each shape.

    shapes: output names, or declared names, which mean the left side's. The pose is the one that the shape's sculpt
    says, without a sculpt the one in which it is fully on; the shapes that are on in it are those of the sculpt's
    `after`, without a sculpt all that come before the shape, with those that were drafted just now.
    The rest is as the spec says of each shape, or otherwise: region, an output name; volume, the share that is kept;
    nearness; border and gap in metres; inbetweens, how many. contact: whether the skin is kept from passing through
    itself, which needs the extra `draft`; without it, it is a quick first look. What was sculpted by hand over an
    earlier draft is kept. Where the skin gets no further without tearing or passing through itself, what was reached is
    held from there on, or nothing is drafted where that is less than half of it. The method: `grammar/drafts.md`.

    What stands in the way is a diagnostic of the result. Raises NoRigError, NoMeshError, UnknownNameError, and
    PlicaError for wishes that no draft can fulfil.
    """
    rig, attached = rig_of(character), attach_mesh(character)
    if attached.attached is None:
        raise NoMeshError(next((one.message for one in attached.diagnostics), "the mesh could not be read"))
    targets = [shape_of(rig, name) for name in ([shapes] if isinstance(shapes, str) else shapes)]
    if region is not None:
        check_names("region", [region], [one.name for one in rig.regions])
    given = DraftFacts(volume, nearness, border, gap, inbetweens)
    _settings(given, contact)
    run = _Drafts(character, rig, attached, region, given, contact)
    drafts: list[DraftedSculpt] = []
    found: list[Diagnostic] = []
    for target in dict.fromkeys(targets):
        progress(target.name)
        diagnostics = Diagnostics()
        made = run.drafted(target, diagnostics)
        drafts += [] if made is None else [made]
        found += diagnostics.all
    return DraftedSculpts(character, tuple(drafts), tuple(found))


def wish(text: str, what: Literal["share", "length"]) -> float:
    """A quantity with its unit, as the language writes it: `98 %`, `4 cm`. Raises UnusableWishError."""
    dimension = Dimension.SHARE if what == "share" else Dimension.LENGTH
    known = units_of(dimension)
    match = re.fullmatch(r"(\d{1,9}(?:\.\d{1,12})?)\s*([a-zA-Z%]+)", text.strip())
    if match is None or match[2] not in known:
        raise UnusableWishError(f"takes a number with a unit ({', '.join(known)}), not `{text}`")
    return float(match[1]) * UNITS[match[2]].size


class _Drafts:
    """Shapes drafted one after the other; later ones see those before."""

    def __init__(
        self,
        character: Character,
        rig: Rig,
        mesh: AttachedMesh,
        region: str | None,
        given: DraftFacts,
        contact: bool,
    ) -> None:
        assert mesh.attached is not None
        self.rig, self.mesh, self.attached = rig, mesh, mesh.attached
        self.locate = Workspace(character.folder, character.allow).locate
        self.region, self.given, self.contact = region, given, contact
        self.solver = PoseSolver(rig)
        self.shapes: dict[str, Inbetweens] = dict(mesh.attached.shapes)

    def drafted(self, target: Shape, diagnostics: Diagnostics) -> DraftedSculpt | None:
        """A shape drafted; None, after diagnostics, where something stands in the way."""
        from plica.drafting.problem import NoContactError
        from plica.sculpting.drafts import Drafting

        wished = target if self.region is None else target._replace(within=self.region)
        facts = _over(self.given, target.draft)
        stored = self._stored(target, diagnostics)
        items = self._items(target)
        ground = None if stored is None else self._ground(target, items, diagnostics)
        if stored is None or ground is None:
            return None
        drafting = Drafting(ground, wished)
        if self._tell_circles(wished, diagnostics):
            return None
        if not drafting.joints or not drafting.is_something:
            diagnostics.add("nothing-to-draft", None, shape=target.declared)
            return None
        hand = hand_of(stored, self.rig, self.attached, target.declared, diagnostics)
        if diagnostics.has_errors:
            return None
        try:
            made = drafting.draft(_settings(facts, self.contact), diagnostics)
        except NoContactError:
            diagnostics.add("draft-without-package", None, shape=target.declared)
            return None
        if made is None:
            return None
        sentences = _sentences(made, drafting.bend(made.reached), hand, self.contact)
        strengths = posed_mesh(self.attached.mesh, self.rig, self.shapes, ground.pose, ground.shapes).shapes
        layered = LayeredShape(made.layer, hand, drafting.inputs(facts), strengths, sentences)
        files = draft_files(self.rig, self.attached, wished._replace(draft=facts), items, layered)
        self.shapes[target.name] = made.layer
        said, wanted = (facts_of(self.rig, one, item_words) for one in (target, files.shape))
        return DraftedSculpt(
            target.name,
            target.declared,
            files.files,
            said,
            wanted,
            sentences,
            made.reached,
            made.before,
            made.after,
        )

    def _tell_circles(self, wished: Shape, diagnostics: Diagnostics) -> bool:
        """Whether the shape would be kept within a region that is found with it on; a spec that says so is refused."""
        within = {one.name: wished.within for one in self.rig.shapes if one.declared == wished.declared}
        shapes = [one._replace(within=within.get(one.name, one.within)) for one in self.rig.shapes]
        found = list(own_circles(self.rig.regions, shapes))
        for circle in found[:1]:
            circle.tell(None, (), diagnostics)
        return bool(found)

    def _items(self, target: Shape) -> Items:
        """The pose that the shape's sculpt says, else the shape fully on; of a two-sided one both sides'."""
        sides = [target]
        if target.sided == "two-sided":
            sides = [one for one in self.rig.shapes if one.declared == target.declared]
        items: list[StrengthPose | JointPose] = []
        for one in sides:
            if isinstance(one.source, Sculpt):
                items += one.source.pose
            elif one.follows is not None:
                items.append(StrengthPose(one.follows, 1.0))
        return tuple(items)

    def _ground(self, target: Shape, items: Items, diagnostics: Diagnostics) -> Ground | None:
        solved = self.solver.pose(items)
        for problem in solved.problems:
            diagnostics.add_filled(problem.rule, None, problem.values)
        source = target.source
        stated = source.after if isinstance(source, Sculpt) else ()
        # What has come to the spec since an earlier draft is on too: the skin is to be good as it ends.
        on = sorted(set(stated) | (shapes_before(self.rig, target) & set(self.shapes)))
        missing = [name for name in on if name not in self.shapes]
        if missing:
            diagnostics.extend(one for one in self.mesh.diagnostics if one.severity is Severity.ERROR)
        if solved.problems or missing:
            return None
        posed = posed_mesh(self.attached.mesh, self.rig, self.shapes, solved.poses, on)
        return Ground(self.rig, self.attached, solved.poses, {name: self.shapes[name] for name in posed.shapes})

    def _stored(self, target: Shape, diagnostics: Diagnostics) -> dict[float, StoredDraft] | None:
        """The shape's earlier drafts, by the strength that they stand for; None, after a diagnostic, where it has
        sculpts that were made otherwise."""
        result = {}
        if isinstance(target.source, Morph):
            diagnostics.add("draft-over-sculpt", None, shape=target.declared, file=f"morph {target.source.name}")
            return None
        sources = {1.0: target.source, **{one.at: one.sculpt for one in target.inbetweens}}
        for at, source in sources.items():
            if not isinstance(source, Sculpt):
                continue
            path = self.locate(source.file)
            if isinstance(path, Refused):
                diagnostics.add_filled(path.name, None, path.values)
                return None
            try:
                stored = read_stored(path, self.rig)
            except UnreadableModel as error:
                diagnostics.add("unreadable-sculpt", None, file=source.file, reason=str(error))
                return None
            if stored is None:
                diagnostics.add("draft-over-sculpt", None, shape=target.declared, file=source.file)
                return None
            result[at] = stored
        return result


def _settings(facts: DraftFacts | None, contact: bool) -> DraftSettings:
    """Raises UnusableWishError."""
    from plica.drafting.problem import DraftSettings

    usual, wished = DraftSettings(), facts or DraftFacts()
    try:
        return DraftSettings(
            volume_kept=usual.volume_kept if wished.volume is None else wished.volume,
            nearness=usual.nearness if wished.nearness is None else wished.nearness,
            border=wished.border,
            gap=wished.gap,
            contact=contact,
            inbetweens=wished.inbetweens,
        )
    except ValueError as error:
        raise UnusableWishError(str(error)) from None


def _over(given: DraftFacts, said: DraftFacts | None) -> DraftFacts | None:
    """What was asked for, else what the spec says."""
    asked = {name: value for name, value in given._asdict().items() if value is not None}
    result = (said or DraftFacts())._replace(**asked)
    return None if result == DraftFacts() else result


# ---- in words ---------------------------------------------------------------------------------------


def _sentences(made: ShapeDraft, bend: str, hand: Inbetweens | None, contact: bool) -> tuple[str, ...]:
    before, after, layer = made.before, made.after, made.layer
    between = f", {counted(len(layer.at), 'inbetween')} at {', '.join(map(number, layer.at))}" if layer.at else ""
    lines = [
        f"bent {bend}: {layer.primary.count} vertices, by at most {length(largest_of(layer.primary.offsets))}{between}",
        f"volume {_share(before.volume)} to {_share(after.volume)} of the neutral",
        f"stretch at most {percent(before.worst_stretch)} to {percent(after.worst_stretch)}, "
        f"on 95 % of the area {percent(before.usual_stretch)} to {percent(after.usual_stretch)}",
        f"squeezed to at least {percent(before.least_singular_value)} to {percent(after.least_singular_value)}",
        f"crossing pairs of triangles {before.crossings} to {after.crossings}",
    ]
    if made.between is not None:
        lines.append(
            f"between its poses, evenly blended, at most {counted(made.between.crossings, 'crossing pair')} "
            f"and volume off by {percent(made.between.volume)}"
        )
    if not contact:
        lines.append("unverified: without contact skin may pass through itself, in the pose and on the way there")
    if hand is not None:
        moved = hand.primary.count + sum(one.count for one in hand.offsets)
        lines.append(f"{counted(moved, 'offset')} made by hand over it kept")
    return tuple(lines)


def _share(share: float) -> str:
    return quantity(share, "%", 4)
