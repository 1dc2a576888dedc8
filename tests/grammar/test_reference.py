"""The language reference: every example compiles, and every word of the grammar is explained."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from lark import Lark

from plica.diagnostics import Severity
from plica.pipeline import compile_file
from plica.syntax.parser_tables import parser
from plica.syntax.tables import grammar_text
from tests.support.data import ROOT
from tests.support.stances import model

REFERENCE = (ROOT / "grammar" / "reference.md").read_text("utf-8")
BLOCKS = re.findall(r"^```(plica(?:-library)?)\n(.*?)^```", REFERENCE, re.MULTILINE | re.DOTALL)
EXAMPLES = [text for kind, text in BLOCKS if kind == "plica"]
LIBRARY = next(text for kind, text in BLOCKS if kind == "plica-library")

SKELETON = """
skeleton {
    joint spine_2 at 0 m, 1 m, 0 m
    joint head    under spine_2 at 0 m, 30 cm, 0 m
    joint jaw     under head    at 0 m, 2 cm, 4 cm
%s}
"""


def paired_joints() -> str:
    """Joints of both sides for the examples, the right ones at odd angles."""
    chain = {
        "browpad": "head", "upperarm": "spine_2", "lowerarm": "upperarm", "paw": "lowerarm",
        "lowerleg": "spine_2", "foot": "lowerleg", "toes": "foot",
    }  # fmt: skip
    chain |= {f"{finger}_{n}": "paw" for finger in ("index", "middle", "ring", "little") for n in (1, 2, 3)}
    lines = []
    for number, (name, parent) in enumerate(chain.items()):
        for side, sign, turned in (("lf", 1, f"z {number}"), ("rt", -1, f"y {number * 7}")):
            over = f"{parent}_{side}" if parent in chain else parent
            place = f"{sign * 5} cm, {number} mm, 0 m"
            lines.append(f"joint {name}_{side} under {over} at {place} turned about {turned} deg")
    return "\n".join(lines) + "\n"


def whole(example: str) -> str:
    """An example as a file of its own: with a version line and a character where it has none."""
    if example.startswith("plica"):
        return example
    lines = 'left "*_lf" right "*_rt" accept uneven-rest-pose because "the frames are odd on purpose"\n'
    if "character" in example:
        return "plica 1\n" + example
    return f"plica 1\ncharacter wren {{ {lines}{SKELETON % paired_joints()} }}\n{example}"


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda text: text.strip().splitlines()[0][:50])
def test_examples_compile(example: str, tmp_path: Path) -> None:
    folder = make_folder(tmp_path, example)
    compiled = compile_file(folder / "example.plica")
    errors = [result for result in compiled.diagnostics if result.severity is Severity.ERROR]
    assert not errors, [f"{result.span.place if result.span else ''} {result.message}" for result in errors]
    assert compiled.rig is not None


def make_folder(folder: Path, example: str) -> Path:
    """A folder with the example and (empty, only checked for being there) files that it names."""
    (folder / "library").mkdir()
    (folder / "library" / "limb.plica").write_text(LIBRARY, "utf-8")
    for name in re.findall(r'"([^"\n]+\.(?:npz|png|jpg|glb))"', example):
        path = folder / name
        path.parent.mkdir(exist_ok=True)
        path.touch()
    if "pup.gltf" in example:
        model(folder / "pup.gltf")
    text = whole(example)
    # A model cannot be empty; these examples are about the words around it.
    text = re.sub(r'geometry\s+"wren.glb"(?: mesh "skin")?', SKELETON.replace("%s", paired_joints()), text)
    text = re.sub(r'morph "smile"', 'sculpt "smile.npz"', text)
    (folder / "smile.npz").touch()
    (folder / "example.plica").write_text(text, "utf-8")
    return folder


def keywords(grammar: Lark) -> set[str]:
    """Every fixed word of the grammar."""
    words: set[str] = set()
    for terminal in grammar.terminals:
        pattern = terminal.pattern.value
        choices = re.match(r"\(\?:([a-z|-]+)\)", pattern)
        words |= set(choices[1].split("|")) if choices else {pattern} if re.fullmatch("[a-z]+", pattern) else set()
    return words


def test_every_word_of_the_grammar_is_explained() -> None:
    shown = set(re.findall(r"[a-z]+(?:-[a-z]+)*", REFERENCE))
    assert keywords(parser()) - shown == set()


def test_every_unit_of_the_grammar_is_known() -> None:
    from plica.units import UNITS

    written = re.search(r"^QUANTITY:.*?\(\?:((?:deg|rad)[^)]*)\)", grammar_text(), re.MULTILINE)
    assert written is not None
    assert set(written[1].split("|")) == set(UNITS)
