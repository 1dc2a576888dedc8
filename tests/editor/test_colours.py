"""The colours that real editors give, by their own engine: no part of a name is coloured as something else."""

from __future__ import annotations

import re
from pathlib import Path

from tests.support import node
from tests.support.data import ROOT

GRAMMAR = ROOT / "grammar" / "plica.tmLanguage.json"
NAMES = """plica 1
driver arm_x both { reads bend of x_arm from joint_2 }
combine z1 both = sum(arm_5, within_arm, arm_within, läufer_x, 骨_mm, a1e5)
driver turn2 { reads rotation about -z of arm   span 0 deg .. 1.5e2 deg   curve ease-in-out }
each finger in index, 2 { shape {finger}_at_{finger}_x both { follows {finger}_2x } }
shape s { sculpt "a within \\" x 5 mm {finger}"  note "open
driver after both { span -3 mm .. +.5 in }  // within 5 mm
"""


def test_names_stay_whole_in_a_real_engine(tmp_path: Path) -> None:
    """Whatever is coloured is a whole word; and every text of the package is coloured with words where they are."""
    text = tmp_path / "names.plica"
    text.write_text(NAMES, "utf-8")
    specs = sorted((ROOT / "specs").rglob("*.plica"))
    answer = node.answer("colours.mjs", GRAMMAR, text, *specs)
    assert isinstance(answer, list)
    for path, lines in zip([text, *specs], answer, strict=True):
        for number, line in enumerate(lines, 1):
            assert _cut(line) == [], f"{path.name}:{number}"
    found = {tuple(one) for line in answer[0] for one in line}
    declared = {name for name, scope in found if scope == "entity.name.type.plica"}
    assert {"arm_x", "z1", "turn2", "{finger}_at_{finger}_x", "s", "after"} <= declared
    assert {("mm", "keyword.other.unit.plica"), ("1.5e2", "constant.numeric.plica")} <= found
    assert {("-z", "constant.language.axis.plica"), ("ease-in-out", "constant.language.plica")} <= found
    # A text that is not closed ends with its line.
    assert [scope for word, scope in answer[0][6] if word == "driver"] == ["keyword.declaration.plica"]
    # A side after a keyword is no name.
    sides = [scope for line in answer[0] for word, scope in line if word == "both"]
    assert set(sides) == {"constant.language.plica"}


def _cut(line: list[list[str]]) -> list[str]:
    """The names of a line that are coloured in parts, outside texts and comments."""
    joined = "".join(text for text, _ in line)
    borders = [0]
    for text, _ in line:
        borders.append(borders[-1] + len(text))
    inside = {
        index
        for (text, scope), start in zip(line, borders, strict=False)
        if not scope.startswith(("string", "comment"))
        for index in range(start, start + len(text))
    }
    plain = [
        (match.start(), match.end())
        for match in re.finditer(r"(?:[^\W\d]|\{[^\W\d]\w*\})(?:\w|\{[^\W\d]\w*\})*", joined)
        if match.start() in inside
    ]
    return [joined[start:end] for start, end in plain if any(start < border < end for border in borders)]
