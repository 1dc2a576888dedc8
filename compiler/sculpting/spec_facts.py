"""What a spec says of a drafted shape and is to say: facts in words, and the spec's text with them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Final, NamedTuple

from plica.quantities import number, quantity
from plica.rig.rig import Rig
from plica.rig.surfaces import Inbetween, JointPose, Sculpt, Shape, StrengthPose
from plica.syntax.fact_kinds import FACT_KINDS
from plica.syntax.nodes import Block, Document
from plica.values import DraftFacts

ItemWords = Callable[[StrengthPose | JointPose, Mapping[str, str]], str]
UNITS: Final[Mapping[str, str]] = {"volume": "%", "border": "mm", "gap": "mm"}
_INDENT: Final = "    "


class SpecFact(NamedTuple):
    """A fact of a shape: the group of facts that it is of (`plica.syntax.fact_kinds`), and its words."""

    group: str
    words: str


def facts_of(rig: Rig, shape: Shape, item_words: ItemWords) -> tuple[SpecFact, ...]:
    """What a spec says of a shape where that has to do with its draft."""
    names = {one.name: one.declared for one in (*rig.strengths, *rig.shapes, *rig.regions)}

    def said(sculpt: Sculpt) -> str:
        pose = ", ".join(item_words(item, names) for item in sculpt.pose)
        after = ", ".join(dict.fromkeys(names[name] for name in sculpt.after))
        return f'"{sculpt.file}"' + (f"  posed at {pose}" if pose else "") + (f"  after {after}" if after else "")

    def between(one: Inbetween) -> SpecFact:
        return SpecFact("inbetween", f"inbetween {number(one.at)} {said(one.sculpt)}")

    facts = [SpecFact("source", f"sculpt {said(shape.source)}")] if isinstance(shape.source, Sculpt) else []
    facts += map(between, shape.inbetweens)
    facts += [] if shape.within is None else [SpecFact("within", f"within {names[shape.within]}")]
    facts += [] if shape.sided is None else [SpecFact("sided", shape.sided)]
    for name, value in (shape.draft or DraftFacts())._asdict().items():
        if value is not None:
            facts.append(SpecFact(f"draft_{name}", f"draft {name} {quantity(value, UNITS.get(name, ''))}"))
    return tuple(facts)


def with_facts(document: Document, shape: str, said: Sequence[SpecFact], wanted: Sequence[SpecFact]) -> str | None:
    """The document's text with the wanted facts in a shape's block in the place of what it said.

    None where the text does not have the shape as one declaration of its own. Facts that stay are not touched.
    """
    blocks = [
        one
        for one in document.declarations
        if isinstance(one, Block) and one.kind == "shape" and one.name is not None and one.name.text == shape
    ]
    text = document.source.text
    if len(blocks) != 1:
        return None
    (block,) = blocks
    changed = {one.group for one in {*said} ^ {*wanted}}
    new = [one.words for one in wanted if one.group in changed]
    gone = [fact for fact in block.facts if (FACT_KINDS[fact.key].group or fact.key) in changed]
    brace = text.index("{", block.name.end if block.name is not None else block.start)
    edits = [(fact.start, fact.end, "") for fact in gone]
    edits.append((brace + 1, brace + 1, "".join(f"\n{_INDENT}{words}" for words in new) + f"\n{_INDENT}"))
    for start, end, put in sorted(edits, reverse=True):
        text = text[:start] + put + text[end:]
    return text
