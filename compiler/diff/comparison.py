"""The whole comparison: characters matched, facts judged, what is alike on both sides told once, all added up.

Every character is compared by itself: one that does not compile is told with its first mistake and compared as far as
its text goes, and keeps nothing from being said of the others.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Final, Literal, NamedTuple

from plica.diff.alike import alike, general, said_once, side_order, users_once, with_numbers
from plica.diff.broken_state import BrokenState, TextualChange, mistake_verdict, textual_changes
from plica.diff.change_places import ChangePlace, ChangePlaces
from plica.diff.character_state import CharacterState
from plica.diff.collect import told
from plica.diff.dependents import Dependents
from plica.diff.entries import section_of
from plica.diff.facts import TEXTS, Difference, FieldChange, What
from plica.diff.fingerprints import fingerprint_of
from plica.diff.judge import Judge
from plica.diff.judged_change import JudgedChange
from plica.diff.kept_judgements import Keeping, kept_or_judged
from plica.diff.project_changes import broken_project, project_changes
from plica.diff.renamed_alike import renamed_joints, with_joints_called
from plica.diff.report import Broken, Report
from plica.diff.sculpt_strengths import POSED_STRENGTH
from plica.diff.text_changes import ToldState, text_changes
from plica.diff.verdicts import NAMES, REACHES, Harm, Judged, Verdict
from plica.project.root import FILE
from plica.syntax.nodes import Document

if TYPE_CHECKING:
    from plica.diff.project_states import ProjectStates

Version = CharacterState | BrokenState
_NAMED: Final = frozenset({"controls", "fields", "strengths", "regions", "shapes", "folds", "poses"})
Versions = Mapping[str, Version]
_STATES: Final[tuple[Literal["old", "new"], ...]] = ("old", "new")


def compare(
    old: Versions, new: Versions, keeping: Keeping | None = None, projects: ProjectStates = (None, None)
) -> Report:
    """Compare characters under the same key (a relative path; one key for two single files).

    `keeping`: where judgements of earlier comparisons are found and those of this one kept; `projects`: the
    `plica.toml` of both states.
    """
    changes: list[JudgedChange] = []
    names: dict[str, None] = {}
    unmeasured: list[str] = []
    broken: list[Broken] = []
    texts: list[ToldState] = []
    textual: list[tuple[str, TextualChange]] = []
    for key in sorted({*old, *new}):
        before, after = old.get(key), new.get(key)
        either = after or before
        assert either is not None
        name = _name(either)
        names[name] = None
        broken += _broken(name, before, after)
        if isinstance(before, CharacterState) and isinstance(after, CharacterState):
            compared = _compared(before, after, keeping)
            changes += compared.changes
            texts.append(compared.text)
            unknown = [compared.problem, *_missing(before, after)]
            unmeasured += [f"{name}: {one}" for one in unknown if one is not None]
        elif isinstance(before, BrokenState) or isinstance(after, BrokenState):
            changes += _mistakes(name, before, after)
            if before is not None and after is not None:
                textual += ((name, change) for change in textual_changes(_documents(before), _documents(after)))
        else:
            changes.append(_alone(before, after))
    changes += [*_textual(textual), *_texts(texts), *_of_projects(projects, old, new)]
    for version, project in zip(_STATES, projects, strict=True):
        if project is not None and project.errors:
            broken.append(Broken(FILE, version, broken_project(project)))
    ordered = sorted(changes, key=lambda change: (section_of(change), change.harm))
    return Report(tuple(names), tuple(ordered), unmeasured=tuple(unmeasured), broken=tuple(broken))


def _name(state: Version) -> str:
    return state.name if isinstance(state, BrokenState) else state.rig.character.name


def _missing(before: CharacterState, after: CharacterState) -> Iterator[str]:
    """Files of computed offsets that are not there, where both states have any."""
    if before.rig.offsets is None or after.rig.offsets is None:
        return
    for version, state in ((before, "old"), (after, "new")):
        if version.missing is not None:
            yield f"{state} state: `{version.missing}` is not there, so of offsets only the sums were compared"


def _of_projects(projects: ProjectStates, old: Versions, new: Versions) -> Iterator[JudgedChange]:
    was, now = ({key: _name(version) for key, version in versions.items()} for versions in (old, new))
    for one in project_changes(*projects, was, now):
        yield _change("", [one.judged], one.judged.verdicts, one.place, ())


# ---- what does not compile -----------------------------------------------------------------------------------


def _broken(name: str, before: Version | None, after: Version | None) -> Iterator[Broken]:
    if isinstance(before, BrokenState):
        yield Broken(name, "old", before)
    if isinstance(after, BrokenState):
        yield Broken(name, "new", after)


def _mistakes(name: str, before: Version | None, after: Version | None) -> Iterator[JudgedChange]:
    """That a character of which a state has mistakes compiles no more, or again."""
    old, new = (state if isinstance(state, BrokenState) else None for state in (before, after))
    if old is None or new is None:
        yield _mistake(name, old, new, before is None, after is None)


def _textual(changes: Sequence[tuple[str, TextualChange]]) -> Iterator[JudgedChange]:
    """Which lines differ of characters of which a state has mistakes; those of a library once."""
    groups: dict[tuple[object, ...], tuple[TextualChange, list[str]]] = {}
    for name, change in changes:
        stands = None if change.place is None else change.place.place
        groups.setdefault((stands, change.is_gone, change.judged.verdicts), (change, []))[1].append(name)
    for change, names in groups.values():
        place = ChangePlace(change.place, change.beside, change.is_gone)
        yield _of_text(names, change.judged, place)


def _mistake(name: str, old: BrokenState | None, new: BrokenState | None, is_new: bool, is_gone: bool) -> JudgedChange:
    """That a character compiles no more, or again; of one that came or went that it does not."""
    what: What = "added" if is_new else "removed" if is_gone else "changed"
    field = FieldChange("mistake", *(None if one is None else one.first.code for one in (old, new)))
    fact = Difference(what, TEXTS, "character", name, "none", name, None, None, (field,))
    verdict = mistake_verdict(old, new)
    if is_gone:
        verdict = Verdict("removed", Harm.BREAKING, (NAMES,), "the whole character is gone; it did not compile")
    state = new or old
    assert state is not None
    span = state.first.span
    if new is not None:
        place = ChangePlace(span, span)
    else:
        place = ChangePlace(span, None, is_gone=True)
    return _change(name, [Judged(fact, (verdict,))], (verdict,), place, ())


def _documents(state: Version) -> Sequence[Document]:
    return state.documents if isinstance(state, BrokenState) else state.writing.documents


# ---- what compiles ---------------------------------------------------------------------------------------------


def _alone(before: CharacterState | None, after: CharacterState | None) -> JudgedChange:
    """A whole character that came or went."""
    version = after or before
    assert version is not None
    name = version.rig.character.name
    what, harm = ("added", Harm.SAFE) if before is None else ("removed", Harm.BREAKING)
    text = "a whole character, new" if before is None else "the whole character is gone"
    old, new = (None if one is None else one.rig.character for one in (before, after))
    fact = Difference("added" if before is None else "removed", "character", "character", name, "none", name, old, new)
    verdict = Verdict(what, harm, (NAMES,), text)
    span = version.origins.get(("character", name))
    place = ChangePlace(span, None, is_gone=True) if after is None else ChangePlace(span, span)
    return _change(name, [Judged(fact, (verdict,))], (verdict,), place, ())


class _Compared(NamedTuple):
    """The changes of one character, why nothing was measured on its mesh where something should have been, and what its
    texts have to say besides.
    """

    changes: list[JudgedChange]
    problem: str | None
    text: ToldState


def _compared(before: CharacterState, after: CharacterState, keeping: Keeping | None) -> _Compared:
    new = after.rig
    old = with_joints_called(before.rig, renamed_joints(before.rig, new))
    judged, problem = kept_or_judged(before, after, keeping, lambda: _judged(before, after))
    uses, places = Dependents(old, new), ChangePlaces(before, after)
    stands = {id(one): places.of(one.fact) for one in judged}
    for one in judged:
        if (cause := _cause_of(one.fact, judged, uses)) is not None:
            stands[id(one)] = stands[id(cause)]._replace(pieces=())
    changes = []
    names = said_once(old, new) if judged else {}
    for group in alike(judged, names):
        fact = group[0].fact
        verdicts = tuple(with_numbers(one, index, group) for index, one in enumerate(group[0].verdicts))
        if len(group) > 1:
            verdicts = tuple(one._replace(text=general(one.text, names)) for one in verdicts)
        used_by: tuple[str, ...] = ()
        users = uses.users_of(fact.table)
        if users is not None and fact.new is not None:
            used_by = users_once([user for one in group for user in users(one.fact.name)], names)
        changes.append(_change(new.character.name, group, verdicts, stands[id(group[0])], used_by))
    pieces = [piece for place in stands.values() for piece in place.pieces]
    renamed = {
        str(one.fact.old.declared): one.fact.declared
        for one in judged
        if one.fact.what == "renamed" and one.fact.table in _NAMED
    }
    text = ToldState(new.character.name, places.pairs, pieces, bool(changes), renamed)
    return _Compared(changes, problem, text)


def _judged(before: CharacterState, after: CharacterState) -> tuple[tuple[Judged, ...], str | None]:
    """Every fact judged, and why nothing was measured on the mesh where something should have been."""
    facts, on_mesh, old = told(before, after)
    judge = Judge(old, after.rig, on_mesh)
    return tuple(judge.judged(fact) for fact in facts), on_mesh.problem


def _cause_of(fact: Difference, judged: Sequence[Judged], uses: Dependents) -> Judged | None:
    """The change of a strength by which a sculpt that says the same as before was made at another strength."""
    if not fact.fields or any(field.path != POSED_STRENGTH for field in fact.fields):
        return None
    follows = fact.new.follows
    return next(
        (
            one
            for one in judged
            if one.fact.table == "strengths"
            and one.fact.what == "changed"
            and (one.fact.name == follows or f"shape {fact.name}" in uses.of_strength(one.fact.name))
        ),
        None,
    )


def _texts(states: Sequence[ToldState]) -> Iterator[JudgedChange]:
    """What only the texts say, each text once."""
    for change in text_changes(states):
        yield _of_text(change.characters, change.judged, ChangePlace(change.place, change.beside, change.is_gone))


def _of_text(characters: Sequence[str], judged: Judged, place: ChangePlace) -> JudgedChange:
    """A change of a text, of its one character, or of a library with those that use it."""
    alone = characters[0] if len(characters) == 1 else ""
    used_by = () if alone else tuple(f"character {name}" for name in characters)
    return _change(alone, [judged], judged.verdicts, place, used_by)


def _change(
    character: str,
    group: Sequence[Judged],
    verdicts: tuple[Verdict, ...],
    place: ChangePlace,
    used_by: tuple[str, ...],
) -> JudgedChange:
    first = group[0]
    fact = first.fact
    reached = {reach for verdict in verdicts for reach in verdict.reaches}
    hint = None
    if fact.like is not None:
        old, new = (fact.declared, fact.like) if fact.what == "removed" else (fact.like, fact.declared)
        hint = f"`{new}` says what `{old}` said; write `renamed from {old}` in it if it is the same"
    return JudgedChange(
        character=character,
        kind=fact.kind,
        declared=fact.declared,
        what=fact.what,
        sides=tuple(sorted({one.fact.side for one in group}, key=side_order)),
        harm=min(verdict.harm for verdict in verdicts),
        reaches=tuple(reach for reach in REACHES if reach in reached),
        verdicts=verdicts,
        facts=tuple(one.fact for one in group),
        fingerprint=fingerprint_of(character, [one.fact for one in group]),
        place=place.span,
        beside=place.beside,
        is_gone=place.is_gone,
        effect=first.effect,
        geometry=tuple(one.geometry for one in group),
        plot=first.plot,
        used_by=used_by,
        hint=hint,
    )
