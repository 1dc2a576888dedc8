"""Entries: one for each cause with all that it touches, what matters most first, no more of them than two screens."""

from __future__ import annotations

from pathlib import Path

from plica.diff.character_state import CharacterState
from plica.diff.comparison import compare
from plica.diff.entries import Section
from plica.diff.entry_text import entry_text
from plica.diff.report import Report, with_accepted
from plica.diff.text_report import MOST_LINES, render
from plica.rig.rig import Rig
from tests.diff.test_geometry import compared
from tests.diff.test_triples import EDITS, EDITS_OF_POSES, OLD, POSED, report_of
from tests.support.cloth import SPEC, cloth
from tests.support.texts import compiled


def of_several(edits: list[tuple[str, str]], names: tuple[str, ...] = ("otter", "heron", "vole")) -> Report:
    """What is told of the same edits in several characters."""
    states: list[dict[str, CharacterState]] = [{}, {}]
    new = OLD
    for before, after in edits:
        new = new.replace(before, after)
    for state, text in zip(states, (OLD, new), strict=True):
        rig = compiled(text).rig
        assert rig is not None
        for name in names:
            state[name] = CharacterState(f"{name}.plica", named(rig, name))
    return compare(*states)


def named(rig: Rig, name: str) -> Rig:
    return rig._replace(character=rig.character._replace(name=name))


def test_what_need_not_hold_comes_first_and_names_last() -> None:
    edits = [*EDITS_OF_POSES["pose_renamed"], *EDITS["budget"], *EDITS["dropped"], *EDITS["note"], *EDITS["feather"]]
    edits += [("reads bend of paw   span 0 deg", "reads rotation about z of paw   span -10 deg")]
    sections = [entry.section for entry in report_of(edits, POSED).entries]
    assert sections == sorted(sections)
    assert sections[0] is Section.LOOSENED and sections[1] is Section.BREAKING and sections[-1] is Section.NAMES
    text = render(report_of(edits, POSED))
    assert text.index("EXPECTATION DROPPED") < text.index("AT REST") < text.index("budget") < text.index("renamed from")


def test_the_same_edit_in_several_characters_is_one_entry() -> None:
    report = of_several(EDITS["curve"])
    assert len(report.changes) == 3
    (entry,) = report.entries
    assert entry.characters == ("heron", "otter", "vole")
    assert entry_text(entry, several=True).title == "heron, otter, vole: driver elbow (both sides)"
    assert sum("0.5 0.35" in statement.text for statement in entry_text(entry, several=True).statements) == 1


def test_of_many_characters_some_are_named_and_all_counted() -> None:
    (entry,) = of_several(EDITS["curve"], tuple(f"otter_{number:02}" for number in range(20))).entries
    title = entry_text(entry, several=True).title
    assert title.startswith("otter_00, otter_01, otter_02, otter_03, otter_04 and 15 more: ")
    assert "otter_19" in entry_text(entry, several=True, whole=True).title


def test_different_edits_stay_apart() -> None:
    assert len(report_of([*EDITS["curve"], *EDITS["feather"]]).entries) == 2


def test_what_went_and_what_says_the_same_are_one_entry() -> None:
    report = report_of(EDITS["renamed_silently"])
    (entry,) = report.entries
    assert {change.what for change in entry.changes} == {"added", "removed"}
    assert entry.section is Section.BREAKING


def test_the_fingerprint_of_an_entry_accepts_all_of_it_and_that_of_a_change_only_that() -> None:
    report = of_several(EDITS["curve"])
    whole = with_accepted(report, {report.entries[0].fingerprint: "agreed"})
    assert not whole.changes and len(whole.accepted) == 3
    one = with_accepted(report, {report.changes[0].fingerprint: "agreed"})
    assert len(one.changes) == 2 and one.entries[0].fingerprint != report.entries[0].fingerprint


def many(count: int) -> Report:
    (change,) = report_of(EDITS["span"]).changes
    changes = tuple(
        change._replace(declared=f"elbow_{number}", fingerprint=f"{number:016x}", place=None) for number in range(count)
    )
    return Report(("otter",), changes)


def test_text_has_two_screens_and_counts_the_rest() -> None:
    report = many(500)
    text = render(report)
    assert len(text.splitlines()) <= MOST_LINES + 4
    told = text.count("driver elbow_")
    assert f"… and {500 - told} risky more; `--all` shows them" in text
    assert text.endswith("500 risky; version step: minor\n")
    assert render(report, whole=True).count("driver elbow_") == 500
    assert "more; `--all`" not in render(many(5))


def test_what_is_said_alike_of_a_family_is_said_once() -> None:
    family = "each part in head, spine {\n driver {part}_bend { reads bend of {part}  span 0 deg .. 60 deg }\n}\n"
    (entry,) = report_of([(".. 60 deg", ".. 50 deg")], family).entries
    shown = entry_text(entry, several=False)
    assert shown.what == "driver head_bend, spine_bend"
    assert len(shown.statements) == 1 and "span 0 deg .. 60 deg" in shown.statements[0].text


def test_what_shows_on_the_mesh_stands_with_its_cause_however_far_away(tmp_path: Path) -> None:
    """A region, the one that is made of it, and the mask of a fold there."""
    spec = (
        SPEC.replace("area far", "area both_ends")
        + "region both_ends { union of far, near }\nregion near { skin of base   }\n"
    )
    old = cloth(tmp_path / "old", spec)
    new = cloth(tmp_path / "new", spec.replace("region far { skin of tip }", "region far { skin of base }"))
    report = compared(old, new)
    (entry,) = report.entries
    assert [change.kind for change in entry.changes] == ["region", "region", "fold"]
    assert len(entry.places) == 1
