"""Commits as a team makes them, read as a reviewer does: each change is told, at the line that was changed, once."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import pytest

from plica.diff.judged_change import JudgedChange
from plica.diff.report import Report
from plica.diff.text_report import render
from plica.diff.verdicts import Harm
from tests.support.post import LIBRARY, edited, post, report_of, spec_of

DOT, MOSS, WREN = (spec_of(name) for name in ("dot", "moss", "wren"))
NOD = 'driver nod { reads bend of head   span 0 deg .. 40 deg   note "as far as the collar lets it" }\n'


class Told(NamedTuple):
    """An entry of a report: its title, the text of the line that it is shown at, and a part of what is said."""

    title: str
    line: str
    said: str
    harm: Harm = Harm.RISKY


class Commit(NamedTuple):
    """What is edited (file, old text, new text), the entries that are told, by character, and all of them or some."""

    edits: tuple[tuple[str, str, str], ...]
    told: dict[str, tuple[Told, ...]]
    every: bool = True


def everyone(*told: Told) -> dict[str, tuple[Told, ...]]:
    """The same of all three characters."""
    return dict.fromkeys(("dot", "moss", "wren"), told)


BULGE = "shape bulge (both sides)"
ELBOW = "driver elbow (both sides)"
WIDER = "    fingers = index, ring\n    most = 120 deg\n"
COMMITS: dict[str, Commit] = {
    "an argument is given": Commit(
        ((WREN, "    fingers = index, ring\n", WIDER),),
        {
            "wren": (
                Told(ELBOW, "most = 120 deg", "the extreme moved from 130 deg to 120 deg"),
                Told(BULGE, "most = 120 deg", "where bulge.npz was sculpted, elbow is 0.75 now (0.6627 before)"),
            )
        },
    ),
    "the default of a library": Commit(
        ((LIBRARY, "most = 130 deg", "most = 110 deg"),),
        everyone(
            Told(ELBOW, "parameter most = 110 deg", "strength changes by at most 0.232, at 110 deg"),
            Told(BULGE, "parameter most = 110 deg", "elbow is 0.8595 now"),
        ),
    ),
    "a curve that is shared": Commit(
        ((LIBRARY, "0.5 0.35", "0.5 0.2"),),
        everyone(
            Told(ELBOW, "curve soft = 0 0, 0.5 0.2, 1 1", "strength changes by at most 0.15, at 65 deg"),
            Told(BULGE, "curve soft = 0 0, 0.5 0.2, 1 1", "elbow is 0.5562 now"),
        ),
    ),
    "a member of a family is dropped": Commit(
        ((MOSS, "index, ring\n", "index\n"),),
        {"moss": (Told("driver ring_curl (both sides)", "fingers = index", "removed", Harm.BREAKING),)},
    ),
    "an override": Commit(
        ((WREN, NOD, f'{NOD}override driver elbow right {{ span 0 deg .. 100 deg   note "the boot is stiff" }}\n'),),
        {
            "wren": (
                Told("driver elbow (right)", "override driver elbow right {", "0 deg .. 130 deg → 0 deg .. 100 deg"),
                Told("shape bulge (right)", "override driver elbow right {", "right_elbow is 1 now (0.6627 before)"),
            )
        },
    ),
    "a note in an override": Commit(
        ((DOT, NOD, f'{NOD}override driver wrist left {{ note "splint until May" }}\n'),),
        {"dot": (Told("driver wrist (left)", "override driver wrist left {", "+ splint until May", Harm.COSMETIC),)},
    ),
    "an accepted warning": Commit(
        ((WREN, '    right  "*_rt"\n', '    right  "*_rt"\n    accept unused-strength because "the set reads it"\n'),),
        {"wren": (Told("accept unused-strength", "accept unused-strength", "NOT REPORTED ANY MORE: PL220"),)},
    ),
    "an accepted warning in a library": Commit(
        ((LIBRARY, "    curve  soft\n", '    curve  soft\n    accept same-on-both-sides because "looked at"\n'),),
        everyone(Told("accept same-on-both-sides of driver elbow both", "accept same-on-both-sides", "looked at")),
    ),
    "the rest of a control": Commit(
        ((MOSS, "rest 0 }", "rest 0.25 }"),),
        {"moss": (Told("control mood", "control mood {", "driver frown changes by at most 0.25"),)},
    ),
    "a comment of a library": Commit(
        ((LIBRARY, "front leg does.", "front leg does, and no hind leg."),),
        {"": (Told(f"text {LIBRARY}", "// What every", "front leg does, and no", Harm.COSMETIC),)},
    ),
    "an expectation is dropped": Commit(
        ((DOT, "expect both { stretch of forearm at most 30 %   over elbow, pose reaching }\n", ""),),
        {"dot": (Told("expect stretch of forearm (both sides)", "expect both { stretch of", "EXPECTATION DROPPED"),)},
    ),
    "an expectation of a library is loosened": Commit(
        ((LIBRARY, "within 4 %", "within 9 %"),),
        everyone(Told("expect volume of forearm (both sides)", "expect both { volume", "LOOSENED: 4 % → 9 %")),
    ),
    "another pose of a sculpt": Commit(
        ((WREN, "posed at about z of lowerarm 100 deg", "posed at about z of lowerarm 80 deg"),),
        {"wren": (Told(BULGE, "shape bulge both", "lowerarm_lf turned by 100 deg → 80 deg"),)},
    ),
    "a sample is turned": Commit(
        ((MOSS, "about z 60 deg", "about z 75 deg"),),
        {"moss": (Told("field lift (both sides)", "sample up", "sample up is another pose, 15 deg away"),)},
    ),
    "a driver is not clamped": Commit(
        ((WREN, "span 0 .. 1 }", "span 0 .. 1   unclamped }"),),
        {"wren": (Told("driver frown", "driver frown", "not kept between 0 and 1 any more: strength changes"),)},
    ),
    "a joint stands elsewhere": Commit(
        ((DOT, "under lowerarm_lf at 20 cm", "under lowerarm_lf at 20 cm, 1 mm, 0 m // "),),
        {"dot": (Told("joint paw_lf", "joint paw_lf", "in its parent moved by 1 mm"),)},
        every=False,
    ),
    "a declaration moves to the library": Commit(
        (*((file, NOD, "") for file in (DOT, MOSS, WREN)), (LIBRARY, "driver wrist", f"{NOD}driver wrist")),
        {
            name: (
                Told(f"text {spec_of(name)}", "driver nod", f"moved to {LIBRARY}, to the same effect", Harm.COSMETIC),
            )
            for name in ("dot", "moss", "wren")
        },
    ),
    "a pattern of names": Commit(
        ((WREN, '    right  "*_rt"\n', '    right  "*_rt"\n    names  "{name}_{side}"\n'),),
        {"wren": (Told("names {side}_{name} → {name}_{side}", "names", "28 outputs named otherwise", Harm.BREAKING),)},
    ),
    "a library gets a prefix": Commit(
        (
            (DOT, '"../library/limb.plica" with', '"../library/limb.plica" as front with'),
            (DOT, "elbow", "front_elbow"),
            (DOT, "forearm", "front_forearm"),
            (DOT, "press", "front_press"),
        ),
        {"dot": (Told("driver front_elbow (both sides)", "limb.plica", "added", Harm.SAFE),)},
        every=False,
    ),
    "one side of a shape": Commit(
        ((DOT, "shape raise both", "shape raise left"),),
        {"dot": (Told("shape raise (right)", "shape raise both", "removed", Harm.BREAKING),)},
    ),
    "another kernel": Commit(
        ((MOSS, "    sample up ", "    kernel gaussian\n    sample up "),),
        {"moss": (Told("field lift (both sides)", "kernel gaussian", "kernel ramp → gaussian"),)},
    ),
    "a photograph": Commit(
        ((WREN, "driver nod {", 'driver nod { photo "r.png" "the collar"  '),),
        {"wren": (Told("driver nod", "driver nod {", "+ r.png the collar", Harm.COSMETIC),)},
    ),
    "a parameter is written out": Commit(
        ((LIBRARY, "parameter most = 130 deg\n", ""), (LIBRARY, "{most}", "130 deg")),
        {"": (Told(f"text {LIBRARY}", "span", "to the same effect", Harm.COSMETIC),)},
    ),
    "what clips call a joint": Commit(
        ((MOSS, '    right  "*_rt"\n', '    right  "*_rt"\n    alias "Head" = head\n'),),
        {"moss": (Told("alias Head", 'alias "Head" = head', "added", Harm.SAFE),)},
    ),
    "a default that nobody uses": Commit(
        ((LIBRARY, "parameter fingers", "parameter fingers = index"),),
        {"": (Told(f"text {LIBRARY}", "parameter fingers", "to the same effect", Harm.COSMETIC),)},
    ),
}


def line_of(change: JudgedChange) -> str:
    """The line that a change is shown at, without the words before its place."""
    assert change.place is not None
    source = change.place.source
    line, _ = source.line_and_column(change.place.start)
    return source.line_text(line).strip()


def said_of(change: JudgedChange) -> str:
    return "\n".join("\n".join((one.text, one.exact, *one.lines)) for one in change.verdicts)


@pytest.fixture
def folders(tmp_path: Path) -> tuple[Path, Path]:
    """The old and the new state, alike."""
    return post(tmp_path / "old"), post(tmp_path / "new")


def committed(folders: tuple[Path, Path], *edits: tuple[str, str, str]) -> Report:
    """What is told of some edits."""
    for edit in edits:
        edited(folders[1], *edit)
    return report_of(*folders)


@pytest.mark.parametrize("name", COMMITS)
def test_a_commit_is_told_at_the_line_that_was_changed(name: str, folders: tuple[Path, Path]) -> None:
    commit = COMMITS[name]
    new = folders[1].as_posix()
    edits = commit.edits
    if name == "a joint stands elsewhere":
        edits = ((DOT, "under lowerarm_lf at 20 cm, 0 m", "under lowerarm_lf at 20 cm, 1 mm"),)
    report = committed(folders, *edits)
    wanted = [(character, one) for character, told in commit.told.items() for one in told]
    found = {(change.character, change.title.replace(f"{new}/", "")): change for change in report.changes}
    for character, one in wanted:
        change = found[character, one.title]
        assert one.line in line_of(change)
        assert one.said in said_of(change).replace(f"{new}/", "")
        assert change.harm is one.harm
    if commit.every:
        assert len(report.changes) == len(wanted), render(report)
    assert report.is_whole


def test_nothing_is_told_of_what_is_alike(folders: tuple[Path, Path]) -> None:
    assert report_of(*folders).changes == ()
    assert committed(folders, (MOSS, "    symmetry across x\n", "    symmetry  across x\n\n")).changes == ()


def test_what_a_library_changes_is_one_cause_with_all_that_it_touches(folders: tuple[Path, Path]) -> None:
    (entry,) = committed(folders, (LIBRARY, "most = 130 deg", "most = 110 deg")).entries
    (place,) = entry.places
    assert place.place.endswith(f"{LIBRARY}:3:1")
    assert entry.characters == ("dot", "moss", "wren")
    assert {change.title for change in entry.changes} == {ELBOW, BULGE}


def test_what_a_prefix_renames_is_one_entry(folders: tuple[Path, Path]) -> None:
    entries = committed(folders, *COMMITS["a library gets a prefix"].edits).entries
    (entry,) = [one for one in entries if any(change.kind == "driver" for change in one.changes)]
    assert {change.declared for change in entry.changes} >= {"elbow", "front_elbow", "wrist", "front_wrist"}


def test_what_is_gone_is_shown_where_it_stood(folders: tuple[Path, Path]) -> None:
    """And for tools that know the new text alone, at the line that stands there now."""
    dropped = "expect both { stretch of forearm at most 30 %   over elbow, pose reaching }\n"
    (change,) = committed(folders, (DOT, dropped, "")).changes
    assert change.is_gone and change.place is not None and change.beside is not None
    assert change.place.source.path.startswith(folders[0].as_posix())
    assert change.beside.source.path == f"{folders[1].as_posix()}/{DOT}"
    lines = [span.source.line_and_column(span.start)[0] for span in (change.place, change.beside)]
    assert lines[0] == lines[1]
    assert change.beside.source.line_text(lines[1]) == "expect { rest }"


def test_an_override_that_goes_is_shown_where_it_stood(folders: tuple[Path, Path]) -> None:
    override = f"{NOD}override driver elbow right {{ span 0 deg .. 100 deg }}\n"
    edited(folders[0], WREN, NOD, override)
    change = next(one for one in report_of(*folders).changes if one.kind == "driver")
    assert change.is_gone and "override driver elbow right" in line_of(change)
