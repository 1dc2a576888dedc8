"""The page in a browser: what it shows, what moves, what it computes, and that it asks for nothing."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

import plica
from plica.curves import POINT_CURVES
from plica.evaluate import Evaluator, poses_from
from plica.evaluate.curves import curve_values
from plica.evaluate.poses import plain_pose
from plica.evaluate.vectors import vectors
from plica.mesh.normals import Normals
from tests.sheet.conftest import MARKUP, Made
from tests.support.node import FOLDER
from tests.support.sheet_page import OpenPage, opened

if TYPE_CHECKING:
    from playwright.sync_api import Browser

MICROMETRE = 1e-6
POSE = "(plain) => { sheet.go(sheet.skeleton.posed(plain), 'given'); sheet.draw(); }"


TRAVEL = """([name, value]) => {
  const { travel } = sheet.record.rows.find((row) => row.name === name);
  sheet.go(sheet.skeleton.along(travel, value, sheet.pose), "");
}"""


def at_rest(page: OpenPage) -> None:
    page.says("() => document.getElementById('rest').click()")
    page.settled()


def test_it_is_alive_and_asks_for_nothing(page: OpenPage, wren: Made) -> None:
    assert page.tab.get_attribute("body", "data-ready") == "yes"
    assert page.tab.get_attribute("body", "data-live") == "yes"
    assert page.problems == []
    assert [url for url in page.requests if not url.startswith(("data:", "blob:"))] == [wren.file.as_uri()]


def test_the_picture_does_not_wait_for_the_rows(page: OpenPage, wren: Made) -> None:
    text = wren.sheet.page.decode("utf-8")
    assert text.index("<script>") < text.index('id="report"') < text.index('id="rows"')
    # What is tried out has fields only where somebody asked for them.
    assert "<form" not in text[text.index('id="report"') :]
    assert page.says("() => performance.getEntriesByName('first picture').length") == 1
    neutral, first = page.says("() => [sheet.record.arrays.inverses.at, sheet.record.arrays.offsets.at]")
    assert neutral < first


def test_data_that_end_too_soon_are_told(browser: Browser, wren: Made, tmp_path: Path) -> None:
    text = wren.file.read_text("utf-8")
    cut = tmp_path / "cut.html"
    place = text.index("</script>", text.index('id="block"'))
    cut.write_text(text[: place - 4000] + text[place:], "utf-8")
    shown = browser.new_page()
    shown.goto(cut.as_uri())
    shown.wait_for_selector("body[data-ready=failed]", state="attached")
    assert "end too soon" in shown.inner_text("#why") or "script ended" in shown.inner_text("#why")
    shown.close()


def test_strengths_are_the_evaluators(page: OpenPage, wren: Made) -> None:
    rig = wren.character.rig
    assert rig is not None
    examples = vectors(rig)[::9]
    script = "(poses) => poses.map((plain) => sheet.evaluation.of(sheet.skeleton.posed(plain)))"
    found = [row[: len(rig.strengths)] for row in page.says(script, [plain_pose(one.pose) for one in examples])]
    expected = Evaluator(rig).strengths(poses_from(rig, [one.pose for one in examples]))
    assert np.abs(np.array(found) - expected).max() <= 1e-12


def test_places_and_normals_on_the_card_are_ours(page: OpenPage, wren: Made) -> None:
    """Read back from what was drawn: 20 micrometres, and normals on the whole within a degree."""
    mesh = wren.mesh
    for strengths in ({"left_elbow_bend": 1.0, "right_knee_bend": 0.6}, {"left_fist": 1.0, "right_head_turn": 0.5}):
        pose = plica.pose(wren.character, strengths=strengths)
        plain = _plain(pose)
        page.says(POSE, plain)
        places, summed = (page.numbers(f"sheet.stage.skin.{what}()").reshape(-1, 4) for what in ("places", "normals"))
        expected = plica.deform_mesh(mesh, pose).positions[0]
        assert np.linalg.norm(places[:, :3] - expected, axis=1).max() <= 20 * MICROMETRE
        normals = Normals(mesh.mesh).of(expected)
        angles = np.degrees(np.arccos(np.clip((summed[:, :3] * normals).sum(axis=1), -1.0, 1.0)))
        assert np.percentile(angles, 99.9) <= 1.0
    at_rest(page)


def _plain(pose: plica.Poses) -> dict[str, object]:
    joints = {
        name: {"rotation": pose.rotations[0, row].tolist(), "translation": pose.translations[0, row].tolist()}
        for row, name in enumerate(pose.joints)
    }
    return {"joints": joints, "controls": dict(zip(pose.control_names, pose.controls[0].tolist(), strict=True))}


def test_a_slider_moves_its_joint_and_all_that_follows(page: OpenPage, wren: Made) -> None:
    row = page.says("() => sheet.record.rows.find(({ name }) => name === 'left_elbow_bend')")
    page.says("(id) => { document.getElementById(id).open = true; }", row["block"])
    page.says("(id) => { document.getElementById(id).scrollIntoView(); }", row["block"])
    page.settled()
    before = page.picture()
    slider = page.tab.locator(f"[data-slider='{row['strength']}']")
    slider.evaluate("(one) => { one.value = 130 * Math.PI / 180; one.dispatchEvent(new Event('input')); }")
    page.settled()
    assert page.picture() != before
    figure = page.tab.locator(f"#{row['block']} summary [data-strength='{row['strength']}']")
    assert figure.inner_text() == "1.000"
    assert page.tab.locator(f"[data-output='{row['strength']}']").inner_text() == "130.0 deg"
    assert page.tab.inner_text("#state") == "left_elbow_bend at 130.0 deg"
    swell = page.says("() => sheet.record.blocks['shape left_upperarm_swell']")
    assert page.tab.inner_text(f"#{swell} [data-strength]") == "1.000"
    slider.focus()
    page.tab.keyboard.press("ArrowLeft")
    page.settled()
    assert figure.inner_text() != "1.000"
    at_rest(page)
    assert figure.inner_text() == "0.000"


def test_the_picture_without_shapes_is_another(page: OpenPage) -> None:
    page.says(TRAVEL, ["left_elbow_bend", 2.2])
    page.settled()
    with_shapes = page.numbers("sheet.stage.skin.places()")
    page.tab.click("#shapes")
    page.settled()
    without = page.numbers("sheet.stage.skin.places()")
    page.tab.click("#shapes")
    assert np.abs(with_shapes - without).max() > 1e-3
    at_rest(page)


def test_sides_are_exchanged(page: OpenPage, wren: Made) -> None:
    page.says(TRAVEL, ["left_elbow_bend", 1.2])
    page.settled()
    ours = (
        "() => ['left_elbow_bend', 'right_elbow_bend'].map((name) => sheet.found[sheet.evaluation.numbers.get(name)])"
    )
    left, right = page.says(ours)
    page.tab.click("#mirror")
    page.settled()
    assert page.says(ours) == pytest.approx([right, left], abs=1e-9)
    at_rest(page)


def test_poses_and_clips_are_gone_to(page: OpenPage, wren: Made) -> None:
    page.tab.select_option("#pose", label="salute")
    page.settled()
    assert page.says("() => sheet.found[sheet.evaluation.numbers.get('left_elbow_bend')]") == pytest.approx(
        1.0, abs=1e-5
    )
    clip = plica.read_clips(wren.character, wren.file.parent / "clips/rounds.glb").clips[0]
    expected = plica.compute_strengths(wren.character, clip.poses)
    frame = len(clip.times) // 2
    page.tab.locator("#time").evaluate(
        "(one, time) => { one.value = time; one.dispatchEvent(new Event('input')); }", float(clip.times[frame])
    )
    page.settled()
    found = page.says("() => Array.from(sheet.found).slice(0, sheet.record.strengths.length)")
    # Turns of clips are stored to 16 bits.
    assert np.abs(np.array(found) - expected.values[frame]).max() < 2e-3
    page.tab.click("#play")
    page.tab.wait_for_selector("#play[aria-pressed=true]")
    page.tab.click("#play")
    at_rest(page)


def test_an_expectation_leads_to_its_worst_place(page: OpenPage, wren: Made) -> None:
    failed = next(one for one in wren.sheet.results if one.status == "fails")
    assert failed.place is not None
    page.tab.click(f"#expect-{failed.index} [data-jump]")
    page.settled()
    assert failed.title in page.tab.inner_text("#state")
    assert page.says("() => sheet.stage.marked") == failed.place.vertex
    assert page.tab.is_visible("#mark")
    at_rest(page)


def test_a_click_on_the_skin_tells_who_drives_it(page: OpenPage, wren: Made) -> None:
    assert wren.mesh.attached is not None
    shape = wren.mesh.attached.shapes["left_upperarm_swell"].primary
    vertex = int(shape.indices[np.linalg.norm(shape.offsets, axis=1).argmax()])
    page.says("(vertex) => { sheet.stage.lookAt(vertex); sheet.stage.marked = -1; sheet.draw(); }", vertex)
    box = page.tab.locator("#stage").bounding_box()
    assert box is not None
    page.tab.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.settled()
    told = page.tab.inner_text("#here")
    assert "left_upperarm_swell" in told and "follows left_elbow_bend" in told and "upperarm_lf" in told
    page.says("() => sheet.pick(-1)")


def test_the_skin_is_coloured(page: OpenPage) -> None:
    page.says("() => { sheet.stage.camera.stand('slant'); }")
    page.tab.select_option("#pose", label="salute")
    plain = page.picture()
    kinds = page.says("() => [...document.querySelectorAll('#colour option')].map((one) => one.dataset.kind)")
    for kind in ("stretch", "folds", "region", "shape", "fold"):
        page.tab.select_option("#colour", index=kinds.index(kind))
        assert page.picture() != plain
        assert page.tab.is_visible("#legend") and not page.tab.is_visible("#unknown")
    # Nobody looked for crossings in a declared pose, and the page says so.
    page.tab.select_option("#colour", index=kinds.index("crossing"))
    assert page.tab.is_visible("#unknown")
    page.tab.select_option("#colour", index=0)
    at_rest(page)


def test_a_tried_span_and_curve_are_shown_and_give_the_lines(page: OpenPage) -> None:
    row = page.says("() => sheet.record.rows.find(({ name }) => name === 'left_knee_bend')")
    page.says(
        "(id) => document.querySelectorAll(`#${id}, #${id} .trying`).forEach((one) => { one.open = true; })",
        row["block"],
    )
    form = page.tab.locator(f"[data-try-span='{row['strength']}']")
    page.says("(row) => sheet.move(row, 1)", row)
    page.settled()
    before = page.says("(row) => sheet.found[row.strength]", row)
    form.locator("input").nth(1).fill("60")
    page.settled()
    assert form.locator("code").inner_text().split() == ["span", "0", "deg", "..", "60", "deg"]
    assert page.says("(row) => sheet.found[row.strength]", row) > before
    form.locator("input").nth(1).fill("120")
    form.locator("input").nth(2).fill("0 0, 0.3 0.6, 0.7 0.65, 1 1")
    page.settled()
    assert form.locator("code").inner_text().split("\n") == ["curve  0 0, 0.3 0.6, 0.7 0.65, 1 1"]
    curve = POINT_CURVES["monotone"]([(0.0, 0.0), (0.3, 0.6), (0.7, 0.65), (1.0, 1.0)])
    for share in (0.1, 0.35, 0.5, 0.9):
        page.says("([row, value]) => sheet.move(row, value)", [row, share * np.radians(120.0)])
        page.settled()
        found = page.says("(row) => sheet.found[row.strength]", row)
        assert found == pytest.approx(float(curve_values(curve, share)), abs=1e-6)
    page.says("(row) => sheet.move(row, 1)", row)
    form.locator("button[type=reset]").click()
    page.settled()
    assert page.says("(row) => sheet.found[row.strength]", row) == pytest.approx(before, abs=1e-12)
    at_rest(page)


def test_a_tried_limit_gives_the_line(page: OpenPage, wren: Made) -> None:
    failed = next(one for one in wren.sheet.results if one.status == "fails")
    row = page.tab.locator(f"#expect-{failed.index}")
    row.locator(".trying summary").click()
    row.locator("input").fill("90")
    assert row.locator("output").inner_text() == "would hold"
    assert "at most 90 %" in row.locator("code").inner_text()


def test_search_keeps_what_holds_all_words(page: OpenPage) -> None:
    page.tab.fill("#search", "knuckle index left")
    shown = page.tab.locator("[data-words]:visible")
    assert shown.count() > 0 and all("index" in text for text in shown.all_inner_texts())
    assert page.tab.inner_text("#found").startswith(f"{shown.count()} of ")
    page.tab.fill("#search", "")
    assert page.tab.locator("#drivers .row:visible").count() > 5


def test_texts_of_others_stay_texts(page: OpenPage, wren: Made) -> None:
    assert page.tab.title() == "wren: sheet"
    shown = page.tab.locator("#spec").inner_html()
    assert "&lt;/script&gt;&lt;img" in shown
    assert page.says("() => document.querySelectorAll('img:not(.stills img, .worst img), article script').length") == 0
    assert MARKUP not in wren.sheet.page.decode("utf-8")


def test_nothing_serious_for_those_who_do_not_see(page: OpenPage) -> None:
    axe = FOLDER / "node_modules/axe-core/axe.min.js"
    if not axe.exists():
        pytest.skip("node's packages are missing: npm ci --prefix tests/node")
    opened_rows = "details.row:first-of-type, details.row:first-of-type .trying, .expectation .trying"
    page.says(f"() => document.querySelectorAll('{opened_rows}').forEach((one) => {{ one.open = true; }})")
    page.tab.evaluate(axe.read_text("utf-8"))
    script = "({ id, impact, nodes }) => [id, impact, nodes[0].html]"
    found = page.says(f"async () => (await axe.run({{ resultTypes: ['violations'] }})).violations.map({script})")
    assert [one for one in found if one[1] in ("serious", "critical")] == []


def test_a_lost_card_is_filled_again(page: OpenPage) -> None:
    before = page.numbers("sheet.stage.skin.places()")
    page.says(
        """() => new Promise((done) => {
          const lose = sheet.stage.gl.getExtension("WEBGL_lose_context");
          document.getElementById("stage").addEventListener("webglcontextrestored", () => setTimeout(done, 100));
          lose.loseContext();
          setTimeout(() => lose.restoreContext(), 100);
        })"""
    )
    page.settled()
    assert np.array_equal(page.numbers("sheet.stage.skin.places()"), before)


def test_another_script_does_not_run(browser: Browser, wren: Made, tmp_path: Path) -> None:
    text = wren.file.read_text("utf-8")
    changed = tmp_path / "changed.html"
    changed.write_text(
        text.replace("globalThis.sheet = view;", "globalThis.sheet = view; document.title = 'ran';"), "utf-8"
    )
    shown = browser.new_page()
    shown.goto(changed.as_uri())
    assert shown.title() == "wren: sheet" and shown.get_attribute("body", "data-ready") is None
    shown.close()


def test_without_a_card_there_are_pictures_and_tables(launched: Callable[..., Browser], wren: Made) -> None:
    with opened(launched("--disable-3d-apis"), wren.file) as shown:
        assert shown.problems == []
        assert shown.tab.is_visible(".stills img") and not shown.tab.is_visible("#stage")
        assert shown.tab.inner_text("#why") == "There is no live picture: this browser has no WebGL 2."
        row = shown.says("() => sheet.record.rows.find(({ name }) => name === 'left_elbow_bend')")
        shown.says("(row) => sheet.move(row, 130 * Math.PI / 180)", row)
        shown.settled()
        assert shown.says("(row) => sheet.found[row.strength]", row) == pytest.approx(1.0)


def test_a_print_shows_the_picture(page: OpenPage) -> None:
    """What a browser prints is what is drawn when printing begins; tools and buttons stay away."""
    page.tab.emulate_media(media="print")
    drawn = page.says(
        """() => {
          dispatchEvent(new Event("beforeprint"));
          const { gl } = sheet.stage, pixels = new Uint8Array(4 * gl.drawingBufferWidth * gl.drawingBufferHeight);
          gl.readPixels(0, 0, gl.drawingBufferWidth, gl.drawingBufferHeight, gl.RGBA, gl.UNSIGNED_BYTE, pixels);
          return pixels.filter((value, place) => place % 4 === 3 && value === 255).length / (pixels.length / 4);
        }"""
    )
    assert 0.02 < drawn < 0.9
    assert not page.tab.is_visible("#rest") and not page.tab.is_visible("nav") and page.tab.is_visible("#expectations")
    page.tab.emulate_media(media="screen")
