"""Where a change is shown: at the line that was changed, which need not be the declaration that it shows in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final, NamedTuple

from plica.diff.character_state import CharacterState
from plica.diff.facts import ACCEPTS, DECLARED, FILES, Difference
from plica.diff.text_pairs import TextPairs
from plica.diff.written import EntryPieces, Piece, piece_at, pieces_of
from plica.rig.files import files_of
from plica.source import Span

_SAYS: Final[Mapping[str, tuple[str, ...]]] = {
    "about": ("note", "photo", "renamed"),
    "title": ("character",),
    "output_names": ("names", "sides"),
    "geometry": ("geometry", "unit"),
    "name": ("character",),
    "neutral": ("joint", "geometry", "stance"),
    "rest": ("joint", "geometry", "stance"),
    "parent": ("joint", "geometry"),
    "skinned": ("geometry",),
    "side": ("left", "right", "pair", "pairs"),
    "partner": ("left", "right", "pair", "pairs"),
    "axis": ("symmetry",),
    "offset": ("symmetry",),
    "found": ("symmetry",),
    "joint": ("alias",),
    "aliases": ("alias",),
    "skeleton": ("joint", "geometry"),
}
"""The first words of what the character says for fields of its own entries; for others the name of the field."""
_MADE_WITH: Final = ("names", "sides", "left", "right", "pair", "pairs", "symmetry", "stance", "joint", "geometry")
"""The first words of what the character says that any entry may depend on."""


class ChangePlace(NamedTuple):
    """`span` is where the change was made: in the old text, where what stood there is gone (`is_gone`).

    `beside`: a place in the new text, which review tools can show. `pieces`: every piece of either text that was
    changed for it.
    """

    span: Span | None
    beside: Span | None
    is_gone: bool = False
    pieces: tuple[Piece, ...] = ()


class ChangePlaces:
    """Finds the places of the changes between two states of a character."""

    def __init__(self, before: CharacterState, after: CharacterState) -> None:
        self._states = before, after
        self._writings = before.writing, after.writing
        self.pairs = TextPairs(before.writing.documents, after.writing.documents)
        self._beside = after.origins.get(("character", after.rig.character.name))

    def of(self, fact: Difference) -> ChangePlace:
        """The place of one entry's change."""
        declared = self._declared(fact)
        usual = ChangePlace(declared, declared)
        if fact.new is None:
            usual = ChangePlace(declared, self._stood(declared), is_gone=True)
        if fact.table == ACCEPTS:
            return usual._replace(pieces=self._accepting(fact))
        new, gone = self._changed(fact)
        if not any((*new[:3], *gone[:3])):
            return self._in_character(fact, new.character, gone.character, usual)
        pieces = tuple(piece for found in (*new[:3], *gone[:3]) for piece in found)
        if fact.old is None:
            pieces = (*pieces, *self._in_place_of(new.own[:1] or new.around, old=True))
        elif fact.new is None:  # of one side alone the other is declared there still
            pieces = (*pieces, *self._in_place_of(gone.own[:1]))
        if (new.own or gone.own) and (fact.new is None or fact.old is None or fact.what == "renamed"):
            return usual._replace(pieces=pieces)
        return self._changed_place(fact, new, gone, usual)._replace(pieces=pieces)

    def _changed(self, fact: Difference) -> tuple[EntryPieces, EntryPieces]:
        """The pieces of an entry that are new, and those that are gone."""
        was, now = (self._pieces(fact, index) for index in (0, 1))
        new = EntryPieces(*(tuple(self.pairs.changed(*both)) for both in zip(now, was, strict=True)))
        gone = EntryPieces(*(tuple(self.pairs.changed(*both, old=True)) for both in zip(was, now, strict=True)))
        if fact.old is None and not any(self.pairs.changed(new.own, self._every(0))):
            new = new._replace(own=())  # a family or a library writes it out anew, from what was written before
        if fact.new is None and not any(self.pairs.changed(gone.own, self._every(1), old=True)):
            gone = gone._replace(own=())
        if fact.new is None and not gone.own:
            new = new._replace(around=tuple(self._in_place_of(gone.around)))
        return new, gone

    def _changed_place(self, fact: Difference, new: EntryPieces, gone: EntryPieces, usual: ChangePlace) -> ChangePlace:
        """The first of what was changed: facts, overrides, the head, what lies around; then of what is gone."""
        facts = [piece for piece in new.own if not piece.is_head]
        for found in (_naming(fact, facts), new.overrides, new.own, new.around):
            if found:
                return ChangePlace(found[0].span, found[0].span)
        for found in (gone.overrides, () if gone.own else gone.around):
            if found:
                return ChangePlace(found[0].span, self._stood(found[0].span), is_gone=True)
        return usual

    # ---- what stands where

    def _declared(self, fact: Difference) -> Span | None:
        """Where the entry itself is declared."""
        state = self._states[fact.new is not None]
        origins, rig = state.origins, state.rig
        if fact.table == ACCEPTS:
            return self._writings[fact.new is not None].accepts[fact.name].at
        if fact.table == FILES:
            if (named := self._writings[1].naming(fact.name)) is not None:
                return named.span
            users = (origins.get((kind, name)) for file, _, kind, name in files_of(rig) if file == fact.name)
            return next((span for span in users if span is not None), None)
        if fact.table == "expectations":
            entries = rig.expectations
            return origins.get(("expect", str(entries.index(fact.entry)))) if fact.entry in entries else None
        if fact.table == "skeleton" and (stands := self._model_piece()) is not None:
            return stands.span
        kind = "shape" if fact.kind == "offsets" else fact.kind
        return origins.get((kind, fact.name)) or origins.get(("character", rig.character.name))

    def _accepting(self, fact: Difference) -> tuple[Piece, ...]:
        """The facts of both texts that accept a rule."""
        found = [writing.accepts.get(fact.name) for writing in self._writings]
        return tuple(piece_at(one.at) for one in found if one is not None)

    def _model_piece(self) -> Piece | None:
        """Where the new text names the model that joints come from."""
        return next((piece for piece in self._writings[1].character if piece.words.startswith("geometry ")), None)

    def _pieces(self, fact: Difference, index: int) -> EntryPieces:
        """The pieces of the old (0) or the new (1) entry."""
        entry, state, writing = (fact.old, fact.new)[index], self._states[index], self._writings[index]
        if entry is None or fact.table not in DECLARED:
            return EntryPieces(character=writing.character)
        if fact.table == "expectations":
            entries = state.rig.expectations
            at = state.origins.get(("expect", str(entries.index(entry)))) if entry in entries else None
            return EntryPieces(character=writing.character) if at is None else writing.of_expectation(at)
        declared, side = getattr(entry, "declared", fact.declared), getattr(entry, "side", fact.side)
        return writing.of(fact.kind, str(declared), str(side))

    def _every(self, index: int) -> tuple[Piece, ...]:
        """All that the old (0) or the new (1) texts say."""
        return tuple(piece for document in self._writings[index].documents for piece in pieces_of(document))

    def _in_place_of(self, pieces: Iterable[Piece], *, old: bool = False) -> Iterator[Piece]:
        """The changed pieces of the new text (or of the `old` one) that stand where some of the other text stand: those
        that begin with the same words, as an argument does whose value was changed.
        """
        wanted = {tuple(piece.words.split()[:2]) for piece in pieces}
        for piece in self._every(0 if old else 1):
            if tuple(piece.words.split()[:2]) in wanted and self.pairs.is_touched(piece, old=old):
                yield piece

    def _stood(self, span: Span | None) -> Span | None:
        """The line of the new text that stands where a place of the old one stood; else the character."""
        pair = None if span is None else self.pairs.of(span)
        if span is None or pair is None:
            return self._beside
        line, _ = span.source.line_and_column(span.start)
        return pair.where_it_stood(line) or self._beside

    def _in_character(
        self, fact: Difference, new: Sequence[Piece], gone: Sequence[Piece], usual: ChangePlace
    ) -> ChangePlace:
        """The place of a change whose entry was written as before: where the character was changed, if it was."""
        said: tuple[str, ...] = _MADE_WITH
        if fact.table in ("character", "skeleton", "symmetry", "aliases"):
            firsts = [field.first for field in fact.fields] or [fact.table]
            said = tuple(word for first in firsts for word in _SAYS.get(first, (first, *_MADE_WITH)))
        found, lost = (_naming(fact, _saying(pieces, said)) for pieces in (new, gone))
        pieces = (*found, *lost)
        if found:
            return ChangePlace(found[0].span, found[0].span, pieces=pieces)
        if lost:
            return ChangePlace(lost[0].span, self._stood(lost[0].span), is_gone=True, pieces=pieces)
        return usual


def _saying(pieces: Iterable[Piece], words: Sequence[str]) -> list[Piece]:
    """The pieces that begin with one of some words, in the order of the words."""
    found = [piece for piece in pieces if piece.words.split(" ", 1)[0] in words]
    return sorted(found, key=lambda piece: words.index(piece.words.split(" ", 1)[0]))


def _naming(fact: Difference, pieces: Sequence[Piece]) -> list[Piece]:
    """The pieces, those first that name the entry (a sample, a joint, an alias)."""
    name = fact.declared.split(".")[-1]
    return sorted(pieces, key=lambda piece: name not in piece.words.replace('"', " ").split())
