"""What beginners write: each mistake is one error, at its place, with a hint.

The mistakes were made up by us, in the demo character and its libraries. A row holds its name, the file, the text there
that is replaced, what is written instead, the rule that has to tell it, and the text at the place where it is told.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from plica.demo import demo_files
from plica.diagnostics import Diagnostics, Severity
from plica.emit.writer import write
from plica.pipeline import compile_file


class Mistake(NamedTuple):
    """One mistake; `at` is "" for the beginning of the file."""

    what: str
    file: str
    right: str
    wrong: str
    rule: str
    at: str


W, HAND = "wren.plica", "library/hand.plica"

MISTAKES = (
    Mistake("hash comment", W, "// ---- head", "# ---- head", "unexpected-text", "#"),
    Mistake("block comment", W, "// ---- head", "/* head */", "unexpected-text", "/*"),
    Mistake("dash comment", W, "// ---- head", "-- the head", "unexpected-text", "--"),
    Mistake(
        "colon after a fact", W, "    span  0 deg .. 112 deg", "    span: 0 deg .. 112 deg", "unexpected-text", ":"
    ),
    Mistake("equals in a fact", W, "    span  0 deg .. 112 deg", "    span = 0 deg .. 112 deg", "unexpected-text", "="),
    Mistake("semicolon", W, "    span  0 deg .. 112 deg", "    span  0 deg .. 112 deg;", "unexpected-text", ";"),
    Mistake("to in a span", W, "    span  0 deg .. 112 deg", "    span  0 deg to 112 deg", "unexpected-text", "to"),
    Mistake("dash in a span", W, "    span  0 deg .. 112 deg", "    span  0 deg - 112 deg", "unexpected-text", "-"),
    Mistake("three dots", W, "    span  0 deg .. 112 deg", "    span  0 deg ... 112 deg", "unexpected-text", "."),
    Mistake("comma in a span", W, "    span  0 deg .. 112 deg", "    span  0 deg, 112 deg", "unexpected-text", ","),
    Mistake(
        "brackets around a list",
        W,
        "fingers = index, middle, ring, little ",
        "fingers = [index, middle, ring, little] ",
        "unexpected-text",
        "[",
    ),
    Mistake("curly quotes", W, 'painted "masks/muzzle.png"', "painted “masks/muzzle.png”", "unexpected-text", "“"),
    Mistake("single quotes", W, 'painted "masks/muzzle.png"', "painted 'masks/muzzle.png'", "unexpected-text", "'"),
    Mistake("non-breaking space", W, "feather 12 mm", "feather 12\xa0mm", "unexpected-text", "\xa0"),
    Mistake("decimal comma", W, "tolerance  0.01 mm", "tolerance  0,01 mm", "unexpected-text", ","),
    Mistake(
        "comma between facts",
        W,
        'relaxed "maps/relaxed.png"   contracted',
        'relaxed "maps/relaxed.png",   contracted',
        "unexpected-text",
        ",",
    ),
    Mistake("colon in an argument", W, "lift  = 4 mm", "lift:  4 mm", "unexpected-text", ":"),
    Mistake("long dash minus", W, "-60 mm .. -130 mm", "−60 mm .. -130 mm", "unexpected-text", "−"),
    Mistake(
        "parentheses around facts",
        W,
        "control sniff         { range 0 .. 1   rest 0 }",
        "control sniff         ( range 0 .. 1   rest 0 )",
        "unexpected-text",
        "(",
    ),
    Mistake(
        "combine in a block",
        W,
        "combine reach_up both = greatest(armpit, shoulder.raised)",
        "combine reach_up both { greatest(armpit, shoulder.raised) }",
        "unexpected-text",
        "{",
    ),
    Mistake(
        "value with an operator",
        W,
        "combine nose     both = greatest(whisker_lift, sniffing)",
        "combine nose     both = whisker_lift * sniffing",
        "unexpected-text",
        "*",
    ),
    Mistake("misspelt declaration", W, "driver head_turn both", "dirver head_turn both", "unexpected-text", "dirver"),
    Mistake("capital keyword", W, "driver head_turn both", "Driver head_turn both", "unexpected-text", "Driver"),
    Mistake(
        "misspelt fact",
        W,
        "skin of lowerarm         feather 12 mm",
        "skin of lowerarm         feathr 12 mm",
        "unexpected-text",
        "feathr",
    ),
    Mistake(
        "misspelt reading",
        W,
        "reads rotation about y of head",
        "reads rotaton about y of head",
        "unexpected-text",
        "rotaton",
    ),
    Mistake("a word left out", W, "skin of upperarm  ", "skin upperarm  ", "unexpected-text", "upperarm"),
    Mistake(
        "side before the name", W, "driver head_turn both {", "driver both head_turn {", "unexpected-text", "head_turn"
    ),
    Mistake("name missing", W, "driver head_turn both {", "driver {", "unexpected-text", "{"),
    Mistake("two words as a name", W, "driver head_turn both {", "driver head turn both {", "unexpected-text", "turn"),
    Mistake("hyphen in a name", W, "driver head_turn both {", "driver head-turn both {", "unexpected-text", "-"),
    Mistake(
        "fact of another declaration",
        W,
        "fold nape_lines both {",
        "fold nape_lines both {\n    feather 3 mm",
        "unexpected-text",
        "feather",
    ),
    Mistake("capital axis", W, "rotation about y of head", "rotation about Y of head", "unexpected-text", "Y"),
    Mistake(
        "expect without braces",
        W,
        "expect both { crossing of paw none                          over fist }",
        "expect both crossing of paw none over fist",
        "unexpected-text",
        "crossing",
    ),
    Mistake("misspelt curve", W, "curve  ease-in-out", "curve  easeinout", "unknown-name", "easeinout"),
    Mistake("points without commas", W, "curve smooth }", "curve 0 0 0.5 0.3 1 1 }", "unexpected-text", "0.5"),
    Mistake(
        "invented word for each",
        HAND,
        "each finger in",
        "for finger in",
        "unexpected-text",
        "for",
    ),
    Mistake(
        "use without quotes",
        W,
        'use "library/brow.plica" with',
        "use library/brow.plica with",
        "unexpected-text",
        "library",
    ),
    Mistake(
        "brace not closed",
        W,
        "    tolerance  8 %\n}\n\nfold cheek_lines",
        "    tolerance  8 %\n\nfold cheek_lines",
        "unclosed-block",
        "fold",
    ),
    Mistake(
        "brace too many",
        W,
        "    tolerance  8 %\n}\n\nfold cheek_lines",
        "    tolerance  8 %\n}\n}\n\nfold cheek_lines",
        "stray-brace",
        "}",
    ),
    Mistake("brace not opened", W, "fold nape_lines both {", "fold nape_lines both", "unexpected-end", "h"),
    Mistake(
        "quote not closed",
        W,
        'contracted "maps/contracted.png"',
        'contracted "maps/contracted.png',
        "unclosed-text",
        '"',
    ),
    Mistake("no unit", W, "feather 12 mm", "feather 12", "missing-unit", "12"),
    Mistake("wrong dimension", W, "feather 12 mm", "feather 12 deg", "wrong-dimension", "12 deg"),
    Mistake("degrees in full", W, "span 5 deg .. 60 deg", "span 5 deg .. 60 degrees", "unknown-unit", "degrees"),
    Mistake("degree sign", W, "span 5 deg .. 60 deg", "span 5 deg .. 60°", "unknown-unit", "°"),
    Mistake("megabytes", W, "budget 2 MiB", "budget 2 MB", "unknown-unit", "MB"),
    Mistake("no percent", W, "volume of forearm within 3 %", "volume of forearm within 3", "missing-unit", "3"),
    Mistake("unit on a number", W, "range 0 .. 1   rest 0", "range 0 .. 1   rest 0 deg", "unit-not-wanted", "0 deg"),
    Mistake("first of a span without unit", W, "span 5 deg .. 60 deg", "span 5 .. 60 deg", "missing-unit", "5"),
    Mistake("span of nothing", W, "span 5 deg .. 60 deg", "span 60 deg .. 60 deg", "empty-span", "span 60"),
    Mistake("misspelt joint", W, "bend of paw", "bend of pav", "unknown-joint", "pav"),
    Mistake("joint of one side", W, "bend of paw", "bend of paw_lf", "joint-of-one-side", "paw_lf"),
    Mistake("misspelt driver", W, "follows    head_turn", "follows    head_trun", "unknown-name", "head_trun"),
    Mistake("region for a driver", W, "follows    head_turn", "follows    nape", "unknown-name", "nape"),
    Mistake("nothing that near", W, "follows    head_turn", "follows    xylophone", "unknown-name", "xylophone"),
    Mistake(
        "same name twice",
        W,
        "region calf ",
        "region shank both { skin of lowerleg }\nregion calf ",
        "duplicate-name",
        "shank",
    ),
    Mistake(
        "side left out",
        W,
        "combine fist  both =",
        "combine fist =",
        "side-needed",
        "index_base",
    ),
    Mistake("unknown combination", W, "= greatest(armpit,", "= max(armpit,", "unknown-combination", "max"),
    Mistake(
        "override of a misspelt name",
        W,
        "override driver knee_bend",
        "override driver knee_bned",
        "nothing-to-override",
        "knee_bned",
    ),
    Mistake("reads left out", W, "reads rotation about y of head ", " ", "missing-fact", "head_turn"),
    Mistake(
        "fact twice", W, "span 5 deg .. 60 deg", "span 5 deg .. 60 deg span 5 deg .. 60 deg", "duplicate-fact", "span"
    ),
    Mistake("sample left out", W, "shoulder.raised", "shoulder", "sample-needed", "shoulder"),
    Mistake("misspelt sample", W, "shoulder.raised", "shoulder.rased", "unknown-name", "rased"),
    Mistake("missing argument", W, "joint = lowerarm ", "", "missing-argument", '"library/limb.plica"'),
    Mistake("misspelt argument", W, "curl = 80 deg", "crul = 80 deg", "unknown-argument", "crul"),
    Mistake("argument of the wrong dimension", W, "curl = 80 deg", "curl = 80 mm", "wrong-dimension", "80 mm"),
    Mistake("argument without a unit", W, "curl = 80 deg", "curl = 80", "missing-unit", "80"),
    Mistake("argument that is no joint", W, "joint = lowerarm ", "joint = lowerram ", "unknown-joint", "lowerram"),
    Mistake(
        "misspelt placeholder",
        HAND,
        "span   0 deg .. {curl}",
        "span   0 deg .. {crul}",
        "unknown-placeholder",
        "{crul}",
    ),
    Mistake("name without braces", HAND, "{finger}_base", "finger_base", "name-not-varied", "finger_base"),
    Mistake(
        "backslash in a path", W, '"sculpts/knee_hold.npz"', '"sculpts\\knee_hold.npz"', "backslash-in-path", '"sculpts'
    ),
    Mistake("backslash n in a path", W, '"maps/relaxed.png"', '"maps\\new\\relaxed.png"', "backslash-in-path", '"maps'),
    Mistake("misspelt file", W, '"masks/muzzle.png"', '"masks/muzle.png"', "missing-file", '"masks'),
    Mistake("misspelt folder", W, '"masks/muzzle.png"', '"mask/muzzle.png"', "missing-folder", '"mask/'),
    Mistake("ending left out", W, '"library/brow.plica"', '"library/brow"', "missing-file", '"library'),
    Mistake("misspelt model", W, '"wren.glb"', '"wern.glb"', "missing-file", '"wern'),
    Mistake("misspelt mesh", W, 'mesh "skin"', 'mesh "skim"', "unknown-mesh", '"skim"'),
    Mistake("pattern without a star", W, 'left       "*_lf"', 'left       "_lf"', "not-a-pattern", '"_lf"'),
    Mistake("absolute path", W, '"masks/muzzle.png"', '"/home/me/masks/muzzle.png"', "file-outside", '"/home'),
    Mistake("version with a dot", W, "plica 1\n", "plica 1.0\n", "missing-version", ""),
    Mistake("no version", W, "plica 1\n", "", "missing-version", ""),
)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = tmp_path_factory.mktemp("demo")
    write(demo_files(), folder, Diagnostics())
    # A spec of the mistakes' own, so that the demo's may become another.
    (folder / W).write_bytes((Path(__file__).parent / "beginners" / W).read_bytes())
    yield folder


def assert_one_error(mistake: Mistake, demo: Path) -> None:
    """Make the mistake in the demo, and assert that one error tells it at its place, with a hint."""
    file = demo / mistake.file
    text = file.read_text("utf-8")
    assert mistake.right in text
    file.write_text(text.replace(mistake.right, mistake.wrong, 1), "utf-8")
    try:
        found = compile_file(demo / W).diagnostics
    finally:
        file.write_text(text, "utf-8")
    errors = [one for one in found if one.severity is Severity.ERROR]
    assert [one.name for one in errors] == [mistake.rule]
    assert errors[0].hint
    span = errors[0].span
    assert span is not None
    if mistake.at:
        assert span.source.text[span.start :].startswith(mistake.at)
    else:
        assert span.start == 0


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda one: one.what)
def test_a_mistake_is_told_once_at_its_place_with_a_hint(mistake: Mistake, demo: Path) -> None:
    assert_one_error(mistake, demo)


def test_the_demo_itself_has_no_mistake(demo: Path) -> None:
    assert not [one for one in compile_file(demo / W).diagnostics if one.severity is Severity.ERROR]


def test_a_folder_that_is_missing_is_told_once(demo: Path) -> None:
    (demo / "sculpts").rename(demo / "elsewhere")
    try:
        found = [one for one in compile_file(demo / W).diagnostics if one.severity is Severity.ERROR]
    finally:
        (demo / "elsewhere").rename(demo / "sculpts")
    assert [one.name for one in found] == ["missing-folder"]
    assert len(found[0].places) > 5


@pytest.mark.parametrize("file", ["sculpts/new.npz", "shapes/new.npz"])
def test_who_names_a_sculpt_that_is_still_to_be_made_is_told_the_order(tmp_path: Path, file: str) -> None:
    """`plica pose` needs a spec without mistakes, so the fact cannot come before the file."""
    spec = tmp_path / "new.plica"
    spec.write_text(f'plica 1\ncharacter new {{ }}\nshape swell {{ sculpt "{file}"  follows none }}\n', "utf-8")
    (tmp_path / "sculpts").mkdir()
    (found,) = [one for one in compile_file(spec).diagnostics if one.name.startswith("missing")]
    assert found.hint is not None and found.hint.startswith("before there is a sculpt") and "plica adopt" in found.hint
