"""Drafts of shapes: computed, written, read again as the sculpts they are, and drafted again under the hand's work."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import plica
from plica.diagnostics import Diagnostics
from plica.drafting import solve
from plica.drafting.problem import Draft, DraftProblem, DraftSettings, NoContactError
from plica.mesh.arrays import Floats
from plica.mesh.attach import attach
from plica.mesh.computed_cache import ComputedCache
from plica.sculpting import drafts
from plica.workspace import Workspace
from tests.support.arms import ELBOW_AT, arms_mesh, rig_from
from tests.support.drafted_arms import HEAD, DraftedArms, crept, moved
from tests.support.sculpted import bumped, obj

SAID = 'sculpt "sculpts/hold.npz"  posed at elbow 1\none-sided\n'
HALF = 'inbetween 0.5 "sculpts/hold_50.npz"  posed at elbow 0.5\n'


def volume(places: Floats) -> float:
    """What the left tube encloses (divergence theorem), cubic metres."""
    faces = arms_mesh(rig_from("")).triangles
    corners = places[faces[faces.max(axis=1) < len(places) // 2]]
    return float(np.einsum("ti,ti->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) / 6.0)


def test_a_drafted_shape_puts_both_sides_where_the_skin_settles(tmp_path: Path) -> None:
    arms = DraftedArms(tmp_path)
    rest, bare = arms.skin("left elbow 0"), arms.skin()
    made = arms.draft(inbetweens=0)
    (one,) = made.drafts
    assert "\n".join(one.lines) == f"{SAID}draft inbetweens 0" and one.reached == 1.0
    arms.write("\n".join(one.lines))
    assert arms.notes() == []
    assert abs(volume(arms.skin()) / volume(rest) - 1.0) < 0.2 * abs(volume(bare) / volume(rest) - 1.0)
    count = len(rest) // 2
    right = arms.skin("right elbow 1")
    assert np.abs(right[count:] - arms.skin()[:count] * (-1.0, 1.0, 1.0)).max() < 1e-6
    # What is said already is not said again, and the same draft has the same bytes.
    again = plica.draft_sculpts(arms.character, ["hold"], contact=False)
    assert again.drafts[0].lines == () and again.files == made.files


def test_what_is_wished_is_said_in_the_spec_or_asked_for(tmp_path: Path) -> None:
    arms = DraftedArms(tmp_path)
    asked = arms.draft(volume=0.95, border=0.03, inbetweens=1)
    assert asked.drafts[0].lines[1:] == (HALF.strip(), "one-sided", "draft volume 95 %", "draft border 30 mm",
                                         "draft inbetweens 1")  # fmt: skip
    arms.write(SAID + HALF + "draft volume 95 %   draft border 30 mm   draft inbetweens 1")
    assert arms.notes() == []
    assert arms.draft().files == asked.files
    assert asked.drafts[0].after.volume == pytest.approx(0.95, abs=0.005)
    with pytest.raises(plica.PlicaError, match="volume"):
        arms.draft(volume=0.5)


def test_a_region_says_what_is_free_and_cuts_nothing_off(tmp_path: Path) -> None:
    arms = DraftedArms(tmp_path)
    made = arms.draft(region="left_forearm")
    assert "within forearm" in made.drafts[0].lines
    arms.write(SAID + "within forearm")
    assert arms.notes() == []
    inside = arms.skin()
    weights = plica.attach_mesh(arms.character).regions["left_forearm"]
    moves = np.linalg.norm(inside - arms.skin(shapes=False), axis=1)
    assert moves[weights < 0.3].max() > 1e-4  # beyond what is free it fades over its border
    arms.write(SAID)
    assert np.abs(arms.skin() - inside).max() < 1e-9


def sculpted_over(arms: DraftedArms, strength: float = 1.0) -> Floats:
    """The skin handed out with its draft on, sculpted by hand, and taken in; where it was put."""
    posed = plica.pose_skin(arms.character, "hold", strength=strength)
    assert posed.record.shapes == {"left_hold": pytest.approx(strength)}
    middle = int(np.argmin(np.linalg.norm(posed.positions - (ELBOW_AT, 0.05, 0.0), axis=1)))
    result = bumped(posed.positions, middle, 0.04, 0.006)
    for name, content in posed.files("back.obj").items():
        (arms.folder / name).write_bytes(content)
    (arms.folder / "back.obj").write_bytes(obj(result, posed.mesh.triangles))
    taken = plica.adopt_sculpt(arms.character, "hold", arms.folder / "back.obj")
    said = "posed at elbow 1   one-sided" if strength == 1.0 else f"posed at elbow {strength}"
    assert taken.ok and taken.line == said and taken.strength == strength, taken.diagnostics
    assert "layer of its own" in " ".join(taken.sentences)
    assert not taken.write(arms.folder / taken.file)
    return result


def test_work_by_hand_stays_when_the_shape_is_drafted_again(tmp_path: Path) -> None:
    arms = DraftedArms(tmp_path)
    arms.put_draft(1)
    arms.write(SAID + HALF + "draft inbetweens 1")
    plain = arms.offsets()
    wanted = sculpted_over(arms)
    assert np.abs(arms.skin() - wanted).max() < 2e-6 and arms.notes() == []
    whole, half = (now - before for now, before in zip(arms.offsets(), plain, strict=True))
    assert np.abs(half - 0.5 * whole).max() < 1e-8 < np.abs(whole).max()  # nobody sculpted on the inbetween
    before = arms.stored()
    arms.write(SAID + HALF + "draft inbetweens 1   draft volume 95 %")
    assert [one.split(":")[0] for one in arms.notes()] == ["draft-out-of-date"]
    made = arms.draft()
    assert "made by hand" in made.drafts[0].sentences[-1] and arms.notes() == []
    after = arms.stored()
    assert before.draft is not None and after.draft is not None
    assert not np.array_equal(before.draft.offsets.offsets, after.draft.offsets.offsets)
    hands = [_hand(one.offsets, one.draft.offsets) for one in (before, after) if one.draft is not None]
    assert np.abs(hands[0] - hands[1]).max() < 5e-9 and np.abs(hands[0]).max() > 1e-3


def test_work_by_hand_on_an_inbetween_is_kept_there(tmp_path: Path) -> None:
    arms = DraftedArms(tmp_path)
    arms.put_draft(1)
    arms.write(SAID + HALF + "draft inbetweens 1")
    whole, _ = arms.offsets()
    wanted = sculpted_over(arms, 0.5)
    assert np.abs(arms.skin("left elbow 0.5") - wanted).max() < 2e-6 and arms.notes() == []
    assert np.array_equal(arms.offsets()[0], whole)
    # The next draft has no inbetween, and the hand's stays.
    arms.write(SAID + HALF + "draft inbetweens 0   draft volume 98 %")
    made = arms.draft()
    assert made.drafts[0].lines == () and list(made.files) == ["sculpts/hold.npz", "sculpts/hold_50.npz"]
    assert arms.notes() == []
    whole, half = arms.offsets()
    stored = arms.stored("sculpts/hold_50.npz")
    assert stored.draft is not None
    assert np.abs(_hand(stored.offsets, stored.draft.offsets)).max() > 1e-3
    assert np.abs(half - 0.5 * whole).max() > 1e-3


def _hand(whole: object, drafted: object) -> Floats:
    result = np.zeros((1400, 3))
    for one, sign in ((whole, 1.0), (drafted, -1.0)):
        result[one.indices] += sign * one.offsets  # type: ignore[attr-defined]
    return result


def test_what_a_draft_hangs_on_is_told_when_it_changes(tmp_path: Path) -> None:
    arms = DraftedArms(tmp_path)
    arms.put_draft()
    arms.write(SAID)
    changes = {
        "the skin weights": lambda: arms.write_model(crept(arms_mesh(rig_from("")))),
        "the pose, or what is on in it": lambda: arms.write(SAID, HEAD.replace("100 deg", "90 deg")),
        "the region": lambda: arms.write(SAID + "within forearm"),
        "what the spec says of the draft, or which volumes it expects": lambda: arms.write(SAID + "draft nearness 7"),
    }
    for said, change in changes.items():
        change()
        (note,) = arms.notes()
        assert note.startswith("draft-out-of-date") and note.endswith(f": {said}"), note
        arms.write_model(arms_mesh(rig_from("")))
        arms.write(SAID)


def test_an_edited_mesh_asks_for_another_draft_and_keeps_the_hand(tmp_path: Path) -> None:
    arms = DraftedArms(tmp_path)
    arms.put_draft()
    arms.write(SAID)
    sculpted_over(arms)
    before = arms.stored()
    (tmp_path / "before.gltf").write_bytes((tmp_path / "arms.gltf").read_bytes())
    (tmp_path / "before.bin").write_bytes(b"")
    arms.write_model(moved(arms_mesh(rig_from("")), 300, 0.004))
    assert "draft-of-edited-neutral" in [one.split(":")[0] for one in arms.notes()]
    carried = plica.rebase_sculpts(arms.character, tmp_path / "before.gltf")
    assert carried.ok
    assert arms.draft().ok and not [one for one in arms.notes() if one.startswith("draft")]
    after = arms.stored()
    assert before.draft is not None and after.draft is not None
    hands = [_hand(one.offsets, one.draft.offsets) for one in (before, after) if one.draft is not None]
    assert np.abs(hands[0] - hands[1]).max() < 5e-9
    # Carried over to the edited model, a draft is a draft still, and says that it is not of this mesh.
    assert not carried.write(tmp_path)
    assert [one.split(": ")[-1] for one in arms.notes() if one.startswith("draft")] == ["the undeformed mesh"]
    other = arms.stored()
    assert other.draft is not None
    assert np.abs(_hand(other.offsets, other.draft.offsets) - hands[0]).max() < 5e-9


def test_what_is_not_a_draft_is_never_replaced(tmp_path: Path) -> None:
    arms = DraftedArms(tmp_path)
    posed = plica.pose_skin(arms.character, "hold")
    (tmp_path / "back.obj").write_bytes(obj(bumped(posed.positions, 300, 0.04, 0.006), posed.mesh.triangles))
    taken = plica.adopt_sculpt(arms.character, "hold", tmp_path / "back.obj")
    (tmp_path / "sculpts").mkdir()
    assert not taken.write(tmp_path / "sculpts" / "hold.npz")
    arms.write(SAID)
    assert [one.name for one in arms.draft().diagnostics] == ["draft-over-sculpt"]


def test_a_pose_that_bends_nothing_is_refused(tmp_path: Path) -> None:
    arms = DraftedArms(tmp_path)
    arms.put_draft()
    arms.write(SAID.replace("elbow 1", "elbow 0"))
    assert [one.name for one in arms.draft().diagnostics] == ["nothing-to-draft"]
    arms.write(SAID)
    assert [one.name for one in arms.draft(region="right_forearm").diagnostics] == ["nothing-to-draft"]


def blocking(reached: float):  # type: ignore[no-untyped-def]
    """A solver that goes no farther than so much of the bend."""

    def drafted(problem: DraftProblem, settings: DraftSettings) -> Draft:
        if settings.contact:
            raise NoContactError
        part = DraftProblem(
            problem.neutral, problem.triangles, problem.points, lambda s: problem.skinned(s * reached), problem.region
        )
        result = solve.drafted(part, settings)
        return result._replace(
            reached=reached, poses=tuple(one._replace(share=one.share * reached) for one in result.poses)
        )

    return drafted


def test_a_skin_that_blocks_is_held_where_it_got_to(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    arms = DraftedArms(tmp_path)
    monkeypatch.setattr(drafts, "drafted", blocking(0.8))
    made = arms.draft(inbetweens=0)
    assert [one.name for one in made.diagnostics] == ["draft-blocked"] and "80 of 100 deg" in made.diagnostics[
        0
    ].message
    assert made.drafts[0].lines[1] == 'inbetween 0.8 "sculpts/hold_80.npz"  posed at elbow 0.8'
    arms.write(SAID + made.drafts[0].lines[1])
    attached = plica.attach_mesh(arms.character).attached
    assert attached is not None
    shape = attached.shapes["left_hold"]
    assert np.abs(shape.primary.offsets - shape.offsets[0].offsets).max() < 5e-9
    monkeypatch.setattr(drafts, "drafted", blocking(0.3))
    assert [one.name for one in arms.draft().diagnostics] == ["draft-blocked-early"]


def test_without_the_extra_contact_is_refused_with_a_way_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    arms = DraftedArms(tmp_path)
    monkeypatch.setattr(drafts, "drafted", blocking(1.0))
    made = plica.draft_sculpts(arms.character, ["hold"])
    assert [one.name for one in made.diagnostics] == ["draft-without-package"]
    assert not made.ok and made.files == {}


def test_a_later_shape_is_drafted_over_the_one_before(tmp_path: Path) -> None:
    arms = DraftedArms(tmp_path)
    arms.spec.write_text(arms.spec.read_text("utf-8") + "shape more both { follows elbow }\n", "utf-8")
    made = plica.draft_sculpts(arms.character, ["hold", "more"], contact=False)
    assert [one.declared for one in made.drafts] == ["hold", "more"]
    assert made.drafts[1].lines[0] == 'sculpt "sculpts/more.npz"  posed at elbow 1  after hold'
    with pytest.raises(plica.PlicaError, match="did you mean `hold`"):
        plica.draft_sculpts(arms.character, ["hald"], contact=False)


CREASE = "region crease both { shortened posed at elbow 1 after hold   peak of 4 cm2 }\n"


def test_a_shape_is_not_drafted_within_what_it_finds(tmp_path: Path) -> None:
    """The spec that says so would be refused; drafting tells it before anything is computed."""
    arms = DraftedArms(tmp_path)
    arms.write("", HEAD + CREASE)
    made = arms.draft(region="left_crease")
    assert [one.name for one in made.diagnostics] == ["region-of-its-own-shape"]
    assert not made.files


def test_an_area_over_a_drafted_pose_hangs_on_the_draft(tmp_path: Path) -> None:
    """What is remembered of an area is forgotten when the draft changes; so is what was drafted within the area."""
    arms, memory, evenly = DraftedArms(tmp_path), ComputedCache(), "draft inbetweens 0"
    arms.put_draft(0)
    fine = "shape fine both { within crease   follows elbow   draft inbetweens 0\n%s }\n"
    arms.write(f"{SAID}{evenly}", HEAD + CREASE + fine % "")
    (second,) = plica.draft_sculpts(arms.character, ["fine"], contact=False).drafts
    (tmp_path / "sculpts" / "fine.npz").write_bytes(second.files["sculpts/fine.npz"])
    assert second.lines[0] == 'sculpt "sculpts/fine.npz"  posed at elbow 1  after hold'
    head = HEAD + CREASE + fine % "\n".join(second.lines)
    arms.write(f"{SAID}{evenly}", head)
    assert arms.notes() == []

    def found(memory: ComputedCache | None) -> Floats:
        rig = arms.character.rig
        assert rig is not None
        result = attach(rig, Workspace(tmp_path).locate, Diagnostics(), memory=memory)
        assert result is not None
        return result.regions["left_crease"]

    first = found(memory)
    arms.write(f"{SAID}{evenly}   draft volume 90 %", head)
    arms.draft()
    changed = found(memory)
    assert np.abs(changed - first).max() > 0.01
    assert (changed == found(None)).all()
    (note,) = arms.notes()
    assert note.startswith("draft-out-of-date: `fine`") and "the region" in note and "what is on in it" in note


EXPECTED = "".join(f"expect both {{ volume of {name} within 0.6 % over elbow }}\n" for name in ("forearm", "upper"))


def test_a_draft_keeps_the_volumes_that_are_expected_over_the_whole_bend(tmp_path: Path) -> None:
    """Each by itself, as `plica prove` measures them; a draft that did not know them is out of date."""
    arms = DraftedArms(tmp_path)
    made = arms.draft()
    arms.write("\n".join(made.drafts[0].lines), HEAD + EXPECTED)
    assert plica.prove_expectations(arms.character).failed
    (note,) = arms.notes()
    assert note.startswith("draft-out-of-date: `hold`") and "which volumes it expects" in note
    arms.write("", HEAD + EXPECTED)
    made = arms.draft()
    arms.write("\n".join(made.drafts[0].lines), HEAD + EXPECTED)
    assert arms.notes() == []
    assert plica.prove_expectations(arms.character).holds


def test_a_shape_that_came_since_is_on_when_drafted_again(tmp_path: Path) -> None:
    """So that the volume is kept for the skin as it ends, whatever else is on in the pose."""
    arms = DraftedArms(tmp_path)
    arms.put_draft(0)
    count = arms_mesh(rig_from("")).vertex_count
    bulge = {
        "indices": np.arange(40, 60),
        "offsets": np.tile([0.0, 0.01, 0.0], (20, 1)),
        "vertex_count": np.array(count),
    }
    np.savez(tmp_path / "sculpts" / "bulge.npz", **bulge)  # type: ignore[arg-type]
    head = HEAD + 'shape bulge both { sculpt "sculpts/bulge.npz"   follows elbow }\n'
    arms.write(SAID, head)
    made = arms.draft(inbetweens=0)
    assert made.drafts[0].lines[0] == 'sculpt "sculpts/hold.npz"  posed at elbow 1  after bulge'
    arms.write("\n".join(made.drafts[0].lines), head)
    assert arms.notes() == []
    assert made.drafts[0].after.volume == pytest.approx(1.0, abs=0.005)
