"""A page that follows its files, in a browser: what changes is seen, and what a person has set up stays."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

import plica
from plica.api.previewing import Preview
from tests.preview.test_preview import PLAIN
from tests.support.cloth import bump, cloth, model
from tests.support.sheet_page import OpenPage

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@dataclass
class Followed:
    """A preview and a page that shows it."""

    spec: Path
    preview: Preview
    page: OpenPage

    def saved(self, text: str | None = None) -> list[str]:
        """Go over to what was saved; the paths that the page asked for meanwhile."""
        if text is not None:
            self.spec.write_text(text, "utf-8")
        self.page.requests.clear()
        self.preview.update(self.preview.wait())
        self.seen()
        return [url.removeprefix(self.preview.address) for url in self.page.requests if not url.startswith("data:")]

    def seen(self) -> None:
        """The page shows the newest state."""
        number = self.preview._number
        self.page.tab.wait_for_selector(f"body[data-state='{number}']", state="attached", timeout=120_000)
        self.page.settled()


@pytest.fixture(scope="module")
def followed(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Followed]:
    spec = cloth(tmp_path_factory.mktemp("cloth"), PLAIN)
    shown = browser.new_context(viewport={"width": 900, "height": 600})
    with plica.preview_spec(spec) as preview:
        preview.update()
        tab = shown.new_page()
        page = OpenPage(tab, [], [])
        tab.on("pageerror", lambda error: page.problems.append(str(error)))
        tab.on("console", lambda said: page.problems.append(said.text) if said.type == "error" else None)
        tab.on("request", lambda asked: page.requests.append(asked.url))
        tab.goto(preview.address)
        made = Followed(spec, preview, page)
        made.seen()
        yield made
        assert page.problems == []
        shown.close()


def strength(page: OpenPage) -> Any:
    return page.says("() => sheet.found[0]")


def test_a_span_is_followed_and_pose_camera_and_rows_stay(followed: Followed) -> None:
    page = followed.page
    row = page.says("() => sheet.record.rows[0]")
    page.tab.click(f"#{row['block']} summary")
    page.says("(value) => { sheet.move(sheet.record.rows[0], value); sheet.stage.camera.stand('side'); }", 0.5)
    page.says("() => { document.getElementById('shapes').click(); globalThis.firstStage = sheet.stage; }")
    page.tab.fill("#search", "lift")
    page.settled()
    before = strength(page)
    turn = page.says("() => sheet.stage.camera.turn")
    asked = followed.saved(PLAIN.replace("90 deg", "45 deg"))
    assert [path.split("/")[0] for path in sorted(asked)] == ["page", "record", "script"]
    assert strength(page) == pytest.approx(2 * before, abs=1e-12)
    figure = page.tab.locator(f"#{row['block']} summary [data-strength='0']")
    assert float(figure.inner_text()) == pytest.approx(2 * before, abs=1e-3)
    slider = page.tab.locator("[data-slider='0']")
    assert float(slider.input_value()) == pytest.approx(0.5, abs=1e-6)
    assert float(slider.get_attribute("max") or 0) < row["travel"]["values"][-1]
    assert page.says("() => sheet.stage === firstStage && sheet.stage.camera.turn") == turn
    assert page.says("(id) => document.getElementById(id).open", row["block"])
    assert page.tab.input_value("#search") == "lift" and page.tab.get_attribute("#shapes", "aria-pressed") == "false"
    page.tab.click("#shapes")
    page.tab.fill("#search", "")


def test_what_is_tried_out_stays_while_the_spec_says_the_same_there(followed: Followed) -> None:
    page = followed.page
    page.says("() => { document.querySelector('#row-0 .trying').open = true; }")
    stop = page.tab.locator("[data-try-span='0'] input").nth(1)
    stop.fill("30")
    followed.saved(PLAIN.replace("90 deg", "45 deg").replace("within 10 %", "within 9 %"))
    assert stop.input_value() == "30" and page.tab.get_attribute("[data-try-span='0']", "data-tried") == "yes"
    assert page.says("() => sheet.evaluation.tried.size") == 1
    followed.saved(PLAIN.replace("90 deg", "50 deg"))
    assert stop.input_value() == "50" and page.says("() => sheet.evaluation.tried.size") == 0
    followed.saved(PLAIN.replace("90 deg", "45 deg"))


def test_mistakes_stand_in_place_and_the_page_stays_alive(followed: Followed) -> None:
    page = followed.page
    before = strength(page)
    assert followed.saved(PLAIN.replace("about x of tip", "about x of tap")) == []
    assert "Shown is the last state without any" in page.tab.inner_text(".notice")
    assert "PL203" in page.tab.inner_text("#row-0 .finding") and page.tab.locator("#line-0-4 .finding").count() == 1
    assert strength(page) == before
    page.says("() => sheet.move(sheet.record.rows[0], 0.25)")
    page.settled()
    assert strength(page) == pytest.approx(before / 2, abs=1e-9)
    followed.saved(PLAIN)
    assert page.tab.inner_text(".notice") == "" and page.tab.locator(".finding").count() == 0
    assert strength(page) == pytest.approx(before / 4, abs=1e-9)


def test_a_sculpt_is_followed_without_the_mesh(followed: Followed) -> None:
    page = followed.page
    page.says("() => sheet.move(sheet.record.rows[0], Math.PI / 2)")
    bump(followed.spec.parent / "bump.npz", 50, 0.3)
    asked = followed.saved()
    assert sum(path.startswith("part/") for path in asked) == 2
    assert page.says("() => sheet.stage === firstStage")
    character = plica.compile_file(followed.spec)
    expected = plica.deform_mesh(plica.attach_mesh(character), plica.pose(character, strengths={"lift": 1.0})).positions
    places = page.numbers("sheet.stage.skin.places()").reshape(-1, 4)[:, :3]
    assert np.linalg.norm(places - expected[0], axis=1).max() <= 50e-6


def test_another_mesh_is_followed_from_where_one_stands(followed: Followed) -> None:
    page = followed.page
    pose = page.says("() => sheet.skeleton.plain(sheet.pose)")
    model(followed.spec.parent / "cloth.gltf", height=1.5)
    asked = followed.saved()
    assert any(path.startswith("part/") for path in asked)
    assert page.says("() => sheet.stage !== firstStage && firstStage.gl.isContextLost()")
    assert page.says("() => sheet.skeleton.plain(sheet.pose)") == pose
    assert page.says("() => sheet.stage.camera.turn === firstStage.camera.turn")
    page.tab.click("#rest")
    page.settled()
    places = page.numbers("sheet.stage.skin.places()").reshape(-1, 4)
    assert np.ptp(places[:, 1]) == pytest.approx(1.5, abs=1e-3)


def test_two_pages_are_followed_and_one_that_is_over_says_so(followed: Followed) -> None:
    page = followed.page
    second = page.tab.context.new_page()
    second.goto(followed.preview.address)
    second.wait_for_selector("body[data-ready=yes]", timeout=120_000)
    followed.saved(PLAIN.replace("90 deg", "30 deg"))
    state = page.tab.get_attribute("body", "data-state")
    second.wait_for_selector(f"body[data-state='{state}']", state="attached", timeout=120_000)
    second.close()
    followed.preview.close()
    page.tab.wait_for_selector("text=The preview has ended", timeout=120_000)
    page.problems[:] = [one for one in page.problems if "Failed to load" not in one and "ERR_" not in one]
