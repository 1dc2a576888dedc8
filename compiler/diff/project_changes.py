"""What changed in the `plica.toml` of a project: what it accepts, which specs it has, what is built and measured."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from difflib import SequenceMatcher
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from plica.diff.accepted_rules import AcceptedRule
from plica.diff.broken_state import BrokenState, mistake_text
from plica.diff.change_places import ChangePlace
from plica.diff.facts import PROJECT, Difference, FieldChange, What
from plica.diff.judgements.texts import acceptance_verdict
from plica.diff.shown_lines import shown_lines
from plica.diff.value_text import ARROW
from plica.diff.verdicts import (
    BUDGET,
    CHECKS,
    GEOMETRY,
    NAMES,
    STRENGTHS,
    TEXTURES,
    WORDS,
    Harm,
    Judged,
    Verdict,
)
from plica.project.members import within
from plica.project.places import comments
from plica.project.root import FILE
from plica.project.settings import AcceptedFinding
from plica.source import Source, Span

if TYPE_CHECKING:
    from plica.diff.project_states import ProjectState

_BUILT: Final = (NAMES, STRENGTHS, GEOMETRY, TEXTURES, BUDGET)
_ANYTHING: Final = (*_BUILT, CHECKS)
_KIND: Final = "setting"
_LISTED: Final[Mapping[str, tuple[str, Harm, Harm]]] = {
    "libraries": ("libraries that are checked", Harm.RISKY, Harm.SAFE),
    "folders": ("folders that every spec may use files of", Harm.RISKY, Harm.RISKY),
    "clips": ("motion that `prove` goes over", Harm.RISKY, Harm.SAFE),
}
"""Lists of texts: what they are of, and how bad it is that one is gone, and that one is new."""


class ProjectChange(NamedTuple):
    """A change of a `plica.toml`, judged, and where it was made."""

    judged: Judged
    place: ChangePlace


class _WholeText(NamedTuple):
    """A whole text, as an entry that came or went."""

    text: str


def broken_project(state: ProjectState) -> BrokenState:
    """A `plica.toml` with mistakes as what does not compile."""
    return BrokenState(state.source.path, FILE, state.errors)


def project_changes(
    old: ProjectState | None, new: ProjectState | None, was: Mapping[str, str], now: Mapping[str, str]
) -> Iterator[ProjectChange]:
    """Every change; `was` and `now` are the characters of both states by the path of their spec in the project."""
    if old is None or new is None:
        state = new or old
        if state is not None:
            yield from _alone(state, old is None, was if new is None else now)
    elif old.errors or new.errors:
        if old.source.text != new.source.text or bool(old.errors) != bool(new.errors):
            yield _mistake(old, new)
    else:
        yield from _of_both(_Pair(old, new), was, now)


class _Pair(NamedTuple):
    """The two states."""

    old: ProjectState
    new: ProjectState

    def written(self, ways: Iterable[tuple[str | int, ...]], name: str) -> ChangePlace:
        """The first of the values that are new; else the setting, where it is gone in the old text."""
        for way in (*ways, (name,)):
            if (span := self.new.place(way)) is not None:
                return ChangePlace(span, span)
        return self.gone(self.old.place((name,)))

    def gone(self, span: Span | None) -> ChangePlace:
        """What stood in the old text, and the line of the new text where it would stand."""
        return ChangePlace(span, None if span is None else _stood(span, self.new.source), is_gone=True)


def _of_both(pair: _Pair, was: Mapping[str, str], now: Mapping[str, str]) -> Iterator[ProjectChange]:
    yield from _accepts(pair, was, now)
    yield from _characters(pair, was, now)
    for name, (about, gone, new) in _LISTED.items():
        yield from _list(pair, name, about, gone, new)
    yield from _targets(pair)
    yield from _single(pair, "out", (NAMES,), "the folder that builds go to")
    yield from _single(pair, "accepted-changes", (CHECKS,), "the file of changes that `plica diff` takes for agreed to")
    yield from _comments(pair)


# ---- what is accepted ------------------------------------------------------------------------------------------


def _accepts(pair: _Pair, was: Mapping[str, str], now: Mapping[str, str]) -> Iterator[ProjectChange]:
    before, after = _accepted(pair.old), _accepted(pair.new)
    for key in dict.fromkeys((*after, *before)):
        old, new = before.get(key), after.get(key)
        if old is None and new is not None:
            yield _acceptance(new, "added", now, ChangePlace(new.at, new.at))
        elif new is None and old is not None:
            yield _acceptance(old, "removed", was, pair.gone(old.at))
        elif old is not None and new is not None and old.because != new.because:
            fields = (FieldChange("reason", old.because, new.because),)
            rules = [AcceptedRule(one.finding, one.because) for one in (old, new)]
            text = f"for another reason: {old.because} {ARROW} {new.because}"
            fact = _fact("changed", "accept", _called(new), (rules[0], rules[1]), fields)
            yield _change(fact, Verdict("reason", Harm.COSMETIC, (WORDS,), text), ChangePlace(new.at, new.at))


def _accepted(state: ProjectState) -> dict[tuple[object, ...], AcceptedFinding]:
    """What a state accepts, by the finding, where, and which of several that say the same of these."""
    met: Counter[tuple[object, ...]] = Counter()
    found: dict[tuple[object, ...], AcceptedFinding] = {}
    for one in state.project.accepts if state.project is not None else ():
        key = (one.finding, tuple(sorted(set(one.within))))
        found[*key, met[key]] = one
        met[key] += 1
    return found


def _acceptance(one: AcceptedFinding, what: What, characters: Mapping[str, str], place: ChangePlace) -> ProjectChange:
    rule = AcceptedRule(one.finding, one.because)
    is_new = what == "added"
    fact = _fact(what, "accept", _called(one), (None, rule) if is_new else (rule, None))
    return _change(fact, acceptance_verdict(rule, is_new, _where(one, characters)), place)


def _called(one: AcceptedFinding) -> str:
    listed = f" within {', '.join(one.within)}" if one.within else ""
    return f"{one.finding} of the project{listed}"


def _where(one: AcceptedFinding, characters: Mapping[str, str]) -> str:
    if not one.within:
        return ", in every character and library of the project"
    names = _names(name for path, name in characters.items() if within(one.within, path))
    return f", in {names} and what else the patterns match" if names else ", in no character, but where patterns match"


# ---- patterns and lists ------------------------------------------------------------------------------------------


def _characters(pair: _Pair, was: Mapping[str, str], now: Mapping[str, str]) -> Iterator[ProjectChange]:
    name = "characters"
    gone, new = _gone_and_new(pair, name)
    if not gone and not new:
        return
    before, after = ({text: text for text in state.value(name)} for state in pair)
    patterns = tuple(before), tuple(after)
    left = _names(one for path, one in now.items() if path in was and _in(patterns[0], path) > _in(patterns[1], path))
    came = _names(one for path, one in now.items() if _in(patterns[1], path) > (_in(patterns[0], path) and path in was))
    said = _listed(gone, new)
    verdicts = []
    if left:
        text = f"NO LONGER IN THE PROJECT: {left}: checked, built and measured by no command of the project; {said}"
        verdicts.append(Verdict("left-project", Harm.BREAKING, (NAMES, CHECKS), text))
    if came:
        verdicts.append(Verdict("joined-project", Harm.SAFE, (NAMES, CHECKS), f"in the project now: {came}; {said}"))
    if not verdicts:
        text = f"patterns of characters: {said}; every spec that is there now is in the project as before"
        verdicts.append(Verdict("patterns", Harm.SAFE, (CHECKS,), text))
    yield _changed_list(pair, name, new, verdicts)


def _in(patterns: Sequence[str], path: str) -> bool:
    return bool(patterns) and within(patterns, path)


def _list(pair: _Pair, name: str, about: str, harm_gone: Harm, harm_new: Harm) -> Iterator[ProjectChange]:
    gone, new = _gone_and_new(pair, name)
    if gone or new:
        harm = min([harm_gone] * bool(gone) + [harm_new] * bool(new))
        yield _changed_list(pair, name, new, [Verdict(name, harm, (CHECKS,), f"{about}: {_listed(gone, new)}")])


def _changed_list(pair: _Pair, name: str, new: Sequence[str], verdicts: Sequence[Verdict]) -> ProjectChange:
    values = tuple(pair.old.value(name)), tuple(pair.new.value(name))
    ways = [(name, index) for index, text in enumerate(values[1]) if text in new]
    fact = _fact("changed", _KIND, name, values, (FieldChange(name, *values),))
    return _change(fact, verdicts, pair.written(ways, name))


def _gone_and_new(pair: _Pair, name: str) -> tuple[list[str], list[str]]:
    old, new = (list(dict.fromkeys(state.value(name))) for state in pair)
    return [one for one in old if one not in new], [one for one in new if one not in old]


def _listed(gone: Sequence[str], new: Sequence[str]) -> str:
    parts = ["no longer " + ", ".join(f"`{one}`" for one in gone)] if gone else []
    return "; ".join([*parts, *(["now " + ", ".join(f"`{one}`" for one in new)] if new else [])])


def _names(names: Iterable[str]) -> str:
    return ", ".join(dict.fromkeys(names))


# ---- single settings -----------------------------------------------------------------------------------------------


def _targets(pair: _Pair) -> Iterator[ProjectChange]:
    before, after = ({} if one.project is None else one.project.targets for one in pair)
    for target in dict.fromkeys((*after, *before)):
        old, new = before.get(target), after.get(target)
        if old == new:
            continue
        entries = (_entry(old), _entry(new))
        if new is None:
            verdict = Verdict(
                "target-gone", Harm.BREAKING, _BUILT, "NOT BUILT ANY MORE: the project has no such output"
            )
            place = pair.gone(pair.old.key_place(("targets", target)))
            yield _change(_fact("removed", "target", target, entries), verdict, _written(pair, place))
        elif old is None:
            text = f"built now{f' with {_options(new)}' if new else ''}"
            span = pair.new.key_place(("targets", target))
            place = _written(pair, ChangePlace(span, span))
            yield _change(_fact("added", "target", target, entries), Verdict("target", Harm.SAFE, _BUILT, text), place)
        else:
            names = [name for name in dict.fromkeys((*new, *old)) if old.get(name) != new.get(name)]
            fields = tuple(FieldChange(name, _option(old.get(name)), _option(new.get(name))) for name in names)
            text = ", ".join(f"{one.path} {one.old or 'not given'} {ARROW} {one.new or 'not given'}" for one in fields)
            ways = [("targets", target, name) for name in names if name in new]
            span = next(iter(map(pair.new.place, ways)), pair.new.key_place(("targets", target)))
            fact = _fact("changed", "target", target, entries, fields)
            yield _change(fact, Verdict("target-options", Harm.RISKY, _BUILT, text), ChangePlace(span, span))


def _written(pair: _Pair, place: ChangePlace) -> ChangePlace:
    """The place; where nothing is written of what holds by itself, that of the setting on the other side."""
    return place if place.span is not None else pair.written((), "targets")


def _entry(options: Mapping[str, Sequence[str]] | None) -> _WholeText | None:
    return None if options is None else _WholeText(_options(options))


def _options(options: Mapping[str, Sequence[str]]) -> str:
    return ", ".join(f"{name} {_option(value)}" for name, value in options.items())


def _option(value: Sequence[str] | None) -> str | None:
    return None if value is None else ", ".join(value)


def _single(pair: _Pair, name: str, reaches: tuple[str, ...], about: str) -> Iterator[ProjectChange]:
    old, new = (state.value(name) for state in pair)
    if old != new:
        text = f"{about}: {old or 'none'} {ARROW} {new or 'none'}"
        fact = _fact("changed", _KIND, name, (old, new), (FieldChange(name, old, new),))
        yield _change(fact, Verdict(name, Harm.RISKY, reaches, text), pair.written((), name))


def _comments(pair: _Pair) -> Iterator[ProjectChange]:
    old, new = ([Span(state.source, *one) for one in comments(state.source.text)] for state in pair)
    texts = [[span.source.text[span.start : span.end].rstrip() for span in spans] for spans in (old, new)]
    counts = [Counter(found) for found in texts]
    gone, come = [*(counts[0] - counts[1]).elements()], [*(counts[1] - counts[0]).elements()]
    if gone or come:
        if come:
            span = new[texts[1].index(come[0])]
            place = ChangePlace(span, span)
        else:
            place = pair.gone(old[texts[0].index(gone[0])])
        fact = _fact("changed", "text", FILE, (None, None), (FieldChange("comments", tuple(gone), tuple(come)),))
        lines = shown_lines(gone, come)
        yield _change(fact, Verdict("comments", Harm.COSMETIC, (WORDS,), "comments changed", lines=lines), place)


# ---- the whole file ------------------------------------------------------------------------------------------------


def _alone(state: ProjectState, is_new: bool, characters: Mapping[str, str]) -> Iterator[ProjectChange]:
    """A `plica.toml` that came or went, with what it accepts; its lines are shown, because all of them count."""
    lines = [line.strip() for line in state.source.text.splitlines() if line.strip()]
    if state.errors:
        text = f"{'new' if is_new else 'gone'}, and with mistakes: {mistake_text(broken_project(state))}"
    else:
        text = "new: what it says holds now" if is_new else "gone: nothing of what it says holds any more"
    harm = Harm.BREAKING if not is_new or state.errors else Harm.RISKY
    shown = shown_lines([], lines) if is_new else shown_lines(lines, [])
    verdict = Verdict("project-file", harm, _ANYTHING, text, lines=shown)
    whole = _WholeText(state.source.text)
    what: What = "added" if is_new else "removed"
    span = Span(state.source, 0, 0)

    def at(place: Span | None) -> ChangePlace:
        return ChangePlace(place, place) if is_new else ChangePlace(place, None, is_gone=True)

    yield _change(_fact(what, "project", FILE, (None, whole) if is_new else (whole, None)), verdict, at(span))
    for one in _accepted(state).values():
        yield _acceptance(one, what, characters, at(one.at))


def _mistake(old: ProjectState, new: ProjectState) -> ProjectChange:
    """That one of the files has mistakes, or both: with the first one, and the lines that differ."""
    lines = [state.source.text.splitlines() for state in (old, new)]
    steps = SequenceMatcher(None, lines[0], lines[1], autojunk=False).get_opcodes()
    gone = [line.strip() for kind, start, end, _, _ in steps if kind != "equal" for line in lines[0][start:end]]
    come = [line.strip() for kind, _, _, start, end in steps if kind != "equal" for line in lines[1][start:end]]
    if new.errors:
        when = "has mistakes, before and now" if old.errors else "HAS MISTAKES NOW, so no command takes it"
        harm = Harm.RISKY if old.errors else Harm.BREAKING
        text, span = f"{when}: {mistake_text(broken_project(new))}", new.errors[0].span
    else:
        text = "has no mistakes any more; before it did, so what changed is not known: "
        text, harm, span = text + mistake_text(broken_project(old)), Harm.RISKY, None
    span = span or Span(new.source, 0, 0)
    gone, come = ([line for line in found if line] for found in (gone, come))
    mistakes = [state.errors[0].code if state.errors else None for state in (old, new)]
    fields = (FieldChange("mistake", *mistakes), FieldChange("lines", tuple(gone), tuple(come)))
    verdict = Verdict("project-mistake", harm, _ANYTHING, text, lines=shown_lines(gone, come))
    return _change(_fact("changed", "project", FILE, (None, None), fields), verdict, ChangePlace(span, span))


def _stood(span: Span, new: Source) -> Span:
    """The line of the new text where what stood in the old one would stand."""
    lines = [source.text.splitlines() for source in (span.source, new)]
    line = span.source.line_and_column(span.start)[0] - 1
    at = 0
    for kind, start, end, there, _ in SequenceMatcher(None, lines[0], lines[1], autojunk=False).get_opcodes():
        if start <= line < end:
            at = there + (line - start if kind == "equal" else 0)
    offset = new.line_starts[min(at, len(new.line_starts) - 1)]
    return Span(new, offset, offset)


def _fact(
    what: What, kind: str, declared: str, both: tuple[Any, Any], fields: tuple[FieldChange, ...] = ()
) -> Difference:
    return Difference(what, PROJECT, kind, declared, "none", declared, *both, fields)


def _change(fact: Difference, verdicts: Verdict | Sequence[Verdict], place: ChangePlace) -> ProjectChange:
    each = (verdicts,) if isinstance(verdicts, Verdict) else tuple(verdicts)
    return ProjectChange(Judged(fact, each), place)
