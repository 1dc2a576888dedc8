"""Judgements of fields that entries of many kinds have, and of what a whole rig says of itself."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from plica.diagnostics.place import counted
from plica.diff.facts import FILES
from plica.diff.judgement import ANY, Judgement, Situation, TableJudgement, always
from plica.diff.renamed_alike import OUTPUT_NAMES
from plica.diff.shown_lines import shown_lines
from plica.diff.value_text import ARROW
from plica.diff.verdicts import GEOMETRY, NAMES, STRENGTHS, TEXTURES, WORDS, Harm, Verdict
from plica.values import About


def _output_name(situation: Situation) -> Iterator[Verdict]:
    field = situation.fields[0]
    named = f"{field.old} {ARROW} {field.new}"
    yield Verdict("output-name", Harm.BREAKING, (NAMES,), "outputs call it otherwise now", named)


def _pattern(situation: Situation) -> Iterator[Verdict]:
    fields = situation.fields
    text = f"{counted(len(fields), 'output')} named otherwise, such as {fields[0].old} {ARROW} {fields[0].new}"
    yield Verdict("output-names", Harm.BREAKING, (NAMES,), text)


def _about(situation: Situation) -> Iterator[Verdict]:
    old, new = (About() if entry is None else entry.about for entry in (situation.fact.old, situation.fact.new))
    said = [
        word
        for word, before, after in (
            ("notes", old.notes, new.notes),
            ("photos", old.photos, new.photos),
            ("what it was called", old.renamed_from, new.renamed_from),
        )
        if before != after
    ]
    texts = [(*one.notes, *(" ".join(photo).strip() for photo in one.photos)) for one in (old, new)]
    lines = shown_lines(*([text for text in texts[index] if text not in texts[1 - index]] for index in (0, 1)))
    yield Verdict("said", Harm.COSMETIC, (WORDS,), f"{', '.join(said) or 'what is said about it'} changed", lines=lines)


def _contents(situation: Situation) -> Iterator[Verdict]:
    reaches = situation.uses.reaches_of_file(situation.fact.name)
    yield Verdict("file-contents", Harm.RISKY, reaches, "the file has other contents")


JUDGEMENTS: Final = (
    Judgement("character", (OUTPUT_NAMES,), _pattern),
    Judgement(ANY, ("name",), _output_name),
    Judgement(ANY, ("about",), _about),
    Judgement(FILES, (ANY,), _contents),
    always("character", "name", "character-renamed", Harm.BREAKING, NAMES),
    always("character", "title", "title", Harm.COSMETIC, WORDS),
    always("character", "geometry", "geometry", Harm.RISKY, GEOMETRY, TEXTURES),
    always("character", "tolerance", "tolerance", Harm.RISKY, GEOMETRY),
    always("character", "stance", "stance", Harm.RISKY, STRENGTHS, GEOMETRY, TEXTURES),
    always("character", "band", "band", Harm.RISKY, GEOMETRY, TEXTURES),
    always("character", "skinning", "skinning", Harm.BREAKING, GEOMETRY),
    always("format", "format", "format", Harm.BREAKING, NAMES),
    always("version", "version", "format", Harm.BREAKING, NAMES),
)
TABLES: Final = (
    TableJudgement("character", (NAMES,)),
    TableJudgement("format", (NAMES,)),
    TableJudgement("version", (NAMES,)),
    TableJudgement(FILES, (NAMES,)),
)
