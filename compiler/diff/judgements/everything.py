"""Judgements of fields that entries of many kinds have, and of what a whole rig says of itself."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from plica.diagnostics.place import counted
from plica.diff.judgement import ANY, FILES, Judgement, Situation, TableJudgement, always
from plica.diff.renamed_alike import OUTPUT_NAMES
from plica.diff.value_text import ARROW
from plica.diff.verdicts import GEOMETRY, NAMES, STRENGTHS, TEXTURES, Harm, Verdict

_WORDS: Final = {
    "notes": "notes",
    "photos": "photos",
    "renamed_from": "what it was called",
    "file": "photos",
    "caption": "photos",
}


def _output_name(situation: Situation) -> Iterator[Verdict]:
    field = situation.fields[0]
    yield Verdict("output-name", Harm.BREAKING, (NAMES,), f"output name {field.old} {ARROW} {field.new}")


def _pattern(situation: Situation) -> Iterator[Verdict]:
    fields = situation.fields
    text = f"{counted(len(fields), 'output')} named otherwise, such as {fields[0].old} {ARROW} {fields[0].new}"
    yield Verdict("output-names", Harm.BREAKING, (NAMES,), text)


def _about(situation: Situation) -> Iterator[Verdict]:
    paths = [field.path for field in situation.fields if "." in field.path]
    parts = dict.fromkeys(path.split(".")[-1].split("[")[0] for path in paths)
    said = ", ".join(dict.fromkeys(_WORDS.get(part, part) for part in parts))
    yield Verdict("said", Harm.COSMETIC, (NAMES,), f"{said or 'what is said about it'} changed")


def _contents(situation: Situation) -> Iterator[Verdict]:
    reaches = situation.uses.reaches_of_file(situation.fact.name)
    yield Verdict("file-contents", Harm.RISKY, reaches, "the file has other contents")


JUDGEMENTS: Final = (
    Judgement("character", (OUTPUT_NAMES,), _pattern),
    Judgement(ANY, ("name",), _output_name),
    Judgement(ANY, ("about",), _about),
    Judgement(FILES, (ANY,), _contents),
    always("character", "name", "character-renamed", Harm.BREAKING, NAMES),
    always("character", "title", "title", Harm.COSMETIC, NAMES),
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
