"""Changes of texts that no entry of a rig shows: comments, and what is written otherwise to the same effect."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from plica.diff.facts import TEXTS, Difference, FieldChange
from plica.diff.shown_lines import shown_lines
from plica.diff.text_pairs import TextPair, TextPairs
from plica.diff.verdicts import WORDS, Harm, Judged, Verdict
from plica.diff.written import Piece, pieces_of
from plica.source import Span
from plica.syntax.nodes import Comment

_NAME = re.compile(r'"(?:[^"\\\n]++|\\.)*+"|\w+')  # or a quoted text, which is no name


class ToldState(NamedTuple):
    """The texts of one character's two states, the pieces of them whose change is told of, and whether any is.

    `renamed`: declared names that are new, by those that they replace.
    """

    character: str
    pairs: TextPairs
    pieces: Iterable[Piece]
    any_change: bool
    renamed: Mapping[str, str]


class WordingChange(NamedTuple):
    """A change of a text, with the characters that are made of it."""

    judged: Judged
    characters: tuple[str, ...]
    place: Span | None
    beside: Span | None
    is_gone: bool


class _Wording(NamedTuple):
    """A file whose texts differ, the characters that are made of it, and the pieces that are told of no entry.

    `quiet`: nothing is told of these characters at all.
    """

    pair: TextPair
    characters: tuple[str, ...]
    quiet: bool
    gone: list[Piece]
    new: list[Piece]


def text_changes(states: Sequence[ToldState]) -> Iterator[WordingChange]:
    """What is told of no entry of any character, each text once; what moved to another text is told where it stood."""
    files = list(_wordings(states))
    arrived = {piece.said: one.pair.path for one in files for piece in one.new}
    left = {
        piece.said for one in files for piece in one.gone if arrived.get(piece.said, one.pair.path) != one.pair.path
    }
    for one in files:
        staying = one._replace(new=[piece for piece in one.new if piece.said not in left])
        for verdict, fields, spans in (_of_comments(one.pair), _of_pieces(staying, arrived)):
            if verdict is not None:
                yield _change(one.pair, verdict, fields, spans, one.characters)


def _wordings(states: Sequence[ToldState]) -> Iterator[_Wording]:
    known = {_key(piece) for state in states for piece in state.pieces}
    met: dict[str, list[tuple[ToldState, TextPair]]] = {}
    for state in states:
        for pair in state.pairs.pairs if state.pairs.are_texts else ():
            if pair.differs:
                met.setdefault(pair.path, []).append((state, pair))
    for users in met.values():
        state, pair = users[0]
        characters = tuple(dict.fromkeys(one.character for one, _ in users))
        before, after = (() if one is None else tuple(pieces_of(one)) for one in (pair.old, pair.new))
        before = tuple(_in_new_names(piece, state.renamed) for piece in before)
        gone = [piece for piece in state.pairs.changed(before, after, old=True) if _key(piece) not in known]
        new = [piece for piece in state.pairs.changed(after, before) if _key(piece) not in known]
        yield _Wording(pair, characters, not any(one.any_change for one, _ in users), gone, new)


def _key(piece: Piece) -> tuple[str, int, str]:
    """Where a piece stands, and its text: the same place may be another piece's in the other state."""
    source, start, end = piece.span
    return source.path, start, source.text[start:end]


_Found = tuple[Verdict | None, FieldChange, tuple[list[Span], list[Span]]]


def _of_comments(pair: TextPair) -> _Found:
    before, after = (() if one is None else one.comments for one in (pair.old, pair.new))
    gone, new = _without(before, after), _without(after, before)
    texts = [[comment.text for comment in comments] for comments in (gone, new)]
    documents = (pair.old, pair.new)
    spans = [
        [document.span(comment) for comment in comments] if document is not None else []
        for document, comments in zip(documents, (gone, new), strict=True)
    ]
    verdict = Verdict("comments", Harm.COSMETIC, (WORDS,), "comments changed", lines=shown_lines(*texts))
    field = FieldChange("comments", tuple(texts[0]), tuple(texts[1]))
    return verdict if gone or new else None, field, (spans[0], spans[1])


def _without(comments: Iterable[Comment], others: Iterable[Comment]) -> list[Comment]:
    """The comments that the others do not hold, or not so often."""
    left = Counter(one.text.rstrip() for one in others)
    result = []
    for comment in comments:
        text = comment.text.rstrip()
        if left[text]:
            left[text] -= 1
        else:
            result.append(comment)
    return result


def _of_pieces(file: _Wording, arrived: Mapping[tuple[str, str], str]) -> _Found:
    moved = {arrived[piece.said] for piece in file.gone if piece.said in arrived} - {file.pair.path}
    all_moved = moved and all(piece.said in arrived for piece in file.gone)
    texts = [[*_shown(pieces)] for pieces in (file.gone, file.new)]
    done = f"moved to {', '.join(sorted(moved))}" if all_moved and not file.new else "written otherwise"
    effect = ", to the same effect" if file.quiet else "; all that differs is told elsewhere"
    verdict = Verdict("wording", Harm.COSMETIC, (WORDS,), f"{done}{effect}", lines=shown_lines(*texts))
    field = FieldChange("text", tuple(texts[0]), tuple(texts[1]))
    spans = [piece.span for piece in file.gone], [piece.span for piece in file.new]
    return verdict if file.new or file.gone else None, field, spans


def _shown(pieces: Sequence[Piece]) -> Iterator[str]:
    """The pieces as they are written; of a declaration that is there as a whole its head alone."""
    whole = {piece.of for piece in pieces if piece.is_head}
    for piece in pieces:
        if piece.is_head:
            has_facts = any(other.of == piece.of and not other.is_head for other in pieces)
            yield f"{piece.shown} {{ ... }}" if has_facts else piece.shown
        elif piece.of not in whole:
            yield piece.shown


def _in_new_names(piece: Piece, renamed: Mapping[str, str]) -> Piece:
    """A piece of an old text with the names that things have now: who only follows a new name is not told of."""
    if not renamed:
        return piece
    words, of = (_NAME.sub(lambda word: renamed.get(word[0], word[0]), text) for text in (piece.words, piece.of))
    return piece._replace(words=words, of=of)


def _change(
    pair: TextPair,
    verdict: Verdict,
    field: FieldChange,
    spans: tuple[list[Span], list[Span]],
    characters: tuple[str, ...],
) -> WordingChange:
    gone, new = spans
    fact = Difference("changed", TEXTS, "text", pair.path, "none", pair.path, None, None, (field,))
    judged = Judged(fact, (verdict,))
    if new:
        return WordingChange(judged, characters, new[0], new[0], is_gone=False)
    line, _ = gone[0].source.line_and_column(gone[0].start)
    return WordingChange(judged, characters, gone[0], pair.where_it_stood(line), is_gone=True)
