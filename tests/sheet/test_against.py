"""Sheets of two states: what changed as `plica diff` tells it, both skins on the card, and what cannot be compared."""

from __future__ import annotations

import subprocess
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

import plica
from plica.api.sheeting import CharacterSheet
from plica.commands.main import run
from plica.diff.entry_text import entry_text
from plica.diff.skin_states import in_other_state
from plica.evaluate.poses import rest_poses
from plica.skeleton.quaternions import conjugate, multiply
from tests.sheet.test_sheet import PLAIN, record_in
from tests.support.cloth import bump, cloth
from tests.support.node import FOLDER
from tests.support.sheet_page import opened

if TYPE_CHECKING:
    from playwright.sync_api import Browser

OLD = (
    PLAIN
    + "driver sway { reads rotation about y of tip   span 0 deg .. 60 deg }\n"
    + 'shape hem { sculpt "hem.npz"   follows sway }\n'
)
NEW = OLD.replace("0 deg .. 90 deg", "0 deg .. 45 deg")


def states(folder: Path, old: str = OLD, new: str = NEW) -> tuple[Path, Path]:
    """The cloth before and after: another span, a sculpt that lifts higher, and one that is as it was."""
    result = []
    for name, text, height in (("old", old, 0.002), ("new", new, 0.004)):
        spec = cloth(folder / name, text)
        bump(spec.parent / "bump.npz", 30, height)
        bump(spec.parent / "hem.npz", 60, 0.001)
        result.append(spec)
    return result[0], result[1]


def made(old: Path, new: Path) -> CharacterSheet:
    sheet = plica.make_sheet(plica.compile_file(new), against=old, measure=False)
    assert sheet.ok, sheet.diagnostics
    return sheet


def test_both_states_are_shown_and_what_is_alike_is_packed_once(browser: Browser, tmp_path: Path) -> None:
    old, new = states(tmp_path)
    sheet = made(old, new)
    assert sheet.write(tmp_path / "cloth.html") == ()
    record = record_in(sheet.page)
    own = {name: place["rows"] for name, place in record["arrays"].items() if name.startswith("before ")}
    # Of all arrays only the one column that differs is there twice.
    assert own == {
        "before offset vertices": 30,
        "before offsets": 30,
        "before region vertices": 0,
        "before region weights": 0,
    }
    report = plica.compare_characters(old, new, measure=False).report
    assert report is not None
    jump = next(place for place in record["places"] if place["block"] == "change-0")
    with opened(browser, tmp_path / "cloth.html") as page:
        told = page.tab.inner_text("#changes")
        for entry in report.entries:
            said = entry_text(entry, several=False, whole=True)
            assert said.title in told and all(one.text in told for one in said.statements)
        # Where the new span ends all of 4 mm is on, and half of 2 mm was.
        assert jump["name"] in told and "lift all the way: at most 3 mm apart" in told
        page.tab.click("#change-0 [data-jump]")
        page.settled()
        assert page.tab.get_attribute(".picture", "data-states") == "side by side"
        assert page.tab.inner_text("#legend .high") == "3.00 mm apart"
        assert page.tab.inner_text("#change-0 [data-now]") == "1.000"
        assert page.tab.inner_text("#change-0 [data-before]") == "0.500"
        for which, spec in (("sheet.before.stage", old), ("sheet.stage", new)):
            places = page.numbers(f"{which}.skin.places()").reshape(-1, 4)[:, :3]
            mesh = plica.attach_mesh(plica.compile_file(spec))
            expected = plica.deform_mesh(mesh, jump["pose"]).positions[0]
            assert np.linalg.norm(places - expected, axis=1).max() <= 35e-6
        page.tab.click("[data-state='overlaid']")
        page.tab.locator("#fade").evaluate("(one) => { one.value = 0; one.dispatchEvent(new Event('input')); }")
        assert page.says("() => document.getElementById('pane-now').style.opacity") == "0"
        page.tab.click("#rest")
        page.settled()
        assert page.tab.inner_text("#legend .low") == "nowhere apart in this pose"
        assert page.problems == [] and _serious(page) == []


def _serious(page: Any) -> list[Any]:
    axe = FOLDER / "node_modules/axe-core/axe.min.js"
    if not axe.exists():
        return []
    page.tab.evaluate(axe.read_text("utf-8"))
    script = "({ id, impact, nodes }) => [id, impact, nodes[0].html]"
    found = page.says(f"async () => (await axe.run({{ resultTypes: ['violations'] }})).violations.map({script})")
    return [one for one in found if one[1] in ("serious", "critical")]


def test_a_state_that_does_not_compile_is_told_and_nothing_of_it_is_shown(tmp_path: Path) -> None:
    old, new = states(tmp_path, OLD.replace("of tip   span", "of tap   span"))
    sheet = made(old, new)
    page = sheet.page.decode("utf-8")
    assert "compiles now; before it did not, so what changed is not known" in page
    assert "the earlier state does not compile, so there is no skin to compare with" in page
    assert record_in(sheet.page)["before"] is None and 'id="stage-before"' not in page


def test_skins_of_other_vertices_stand_side_by_side_without_a_difference(browser: Browser, tmp_path: Path) -> None:
    old, new = states(tmp_path, new=OLD)
    text = (new.parent / "cloth.gltf").read_text("utf-8")
    (new.parent / "cloth.gltf").write_text(_without_last_triangle(text), "utf-8")
    sheet = made(old, new)
    assert "the mesh has other vertices now, so there is no difference to show" in sheet.page.decode("utf-8")
    assert not record_in(sheet.page)["before"]["comparable"]
    assert sheet.write(tmp_path / "cloth.html") == ()
    with opened(browser, tmp_path / "cloth.html") as page:
        page.tab.click("[data-state='side by side']")
        page.settled()
        assert page.says("() => sheet.before.stage.lists.triangles.length - sheet.stage.lists.triangles.length") == 3
        assert page.problems == []


def _without_last_triangle(text: str) -> str:
    import json

    document = json.loads(text)
    (primitive,) = document["meshes"][0]["primitives"]
    document["accessors"][primitive["indices"]]["count"] -= 3
    return json.dumps(document)


def test_a_revision_and_a_folder_without_the_character(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    old, new = states(tmp_path, new=OLD)
    for words in (["init", "-q"], ["add", "-A"], ["-c", "user.name=w", "-c", "user.email=w@w", "commit", "-qm", "one"]):
        subprocess.run(["git", *words], cwd=new.parent, check=True)
    new.write_text(NEW, "utf-8")
    out = ["--out", str(tmp_path / "page.html"), "--unmeasured", "--no-cache"]
    assert run(["sheet", str(new), "--against", "git:HEAD", *out]) == 0
    assert "What changed since git:HEAD" in (tmp_path / "page.html").read_text("utf-8")
    old.write_text(OLD.replace("character cloth", "character sail"), "utf-8")
    assert run(["sheet", str(new), "--against", str(old.parent), "--replace", *out]) == 1
    assert "PL881" in capsys.readouterr().err


def test_joints_move_since_their_own_stance_in_the_other_state(tmp_path: Path) -> None:
    rig = plica.compile_file(cloth(tmp_path, PLAIN)).rig
    assert rig is not None
    turn = np.array([0.0, 0.6, 0.0, 0.8])
    tip = rig.skeleton[1]
    stance = tip.neutral._replace(rotation=tuple(turn.tolist()), translation=(2.5, 0.0, 0.0))
    other = rig._replace(skeleton=(rig.skeleton[0], tip._replace(neutral=stance)))
    poses = rest_poses(rig)
    moved = np.array([[[0.0, 0.0, 0.0, 1.0], [0.5, 0.0, 0.0, 0.75**0.5]]])
    given = replace(poses, rotations=moved, translations=poses.translations + np.array([0.0, 0.1, 0.0]))
    carried = in_other_state(given, rig, other)
    since = multiply(conjugate(turn), carried.rotations[0, 1])
    assert since == pytest.approx(multiply(conjugate(np.array(tip.neutral.rotation)), moved[0, 1]), abs=1e-12)
    assert carried.translations[0] == pytest.approx(np.array([[0.0, 0.1, 0.0], [2.5, 0.1, 0.0]]))
    same = in_other_state(given, rig, rig)
    assert np.array_equal(same.rotations, given.rotations) and np.array_equal(same.translations, given.translations)
