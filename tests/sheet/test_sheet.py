"""Sheets of small characters: the command, other ways to skin, no skin at all, hostile texts, and the page's parts."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given, settings
from PIL import Image

import plica
from plica.commands.main import run
from plica.sheet.array_pack import ArrayPack, whole_shares
from plica.sheet.graph import graph_view
from plica.sheet.script import UnknownModuleError, bundled, page_modules
from plica.sheet.sheet import block_ids
from plica.sheet.spec_lines import SpecLines
from plica.sheet.tables import coverage_views
from plica.source import Source, Span
from tests.support.arms import ELBOW, arms
from tests.support.cloth import SPEC, cloth
from tests.support.hostile import hostile
from tests.support.sheet_page import opened

if TYPE_CHECKING:
    from playwright.sync_api import Browser

PLAIN = re.sub(r"(?m)^(detail|fold) .*\n", "", SPEC)
EXPECTING = (
    PLAIN + "expect { volume of far within 10 %  over lift }\nexpect { stretch of far at most 1 %  over lift }\n"
)


def record_in(page: bytes) -> Any:
    """The JSON block of a page."""
    found = re.search(r'id="record">(.*?)</script>', page.decode("utf-8"))
    assert found is not None
    return json.loads(found[1])


def test_the_command_writes_a_page_and_not_over_another(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    spec, out = cloth(tmp_path, EXPECTING), tmp_path / "cloth.html"
    assert run(["sheet", str(spec), "--out", str(out), "--no-cache", "--workers", "1"]) == 0
    said = capsys.readouterr().out
    assert re.search(r"wrote .*cloth\.html: [\d.]+ KiB", said) and "0 hold, 1 fail, 1 not measured" in said
    page = out.read_text("utf-8")
    # What fails is drawn where it is worst; what could not be measured is not.
    assert page.count('class="photo worst"') == 1 and "The worst place of stretch of far" in page
    assert page.index('class="verdict fails"', page.index('id="expectations"')) < page.index(">not measured</span>")
    assert run(["sheet", str(spec), "--out", str(out)]) == 2
    assert "--replace" in capsys.readouterr().err
    assert run(["sheet", str(spec), "--out", str(out), "--unmeasured", "--replace"]) == 0
    assert "0 hold, 0 fail, 2 not measured" in capsys.readouterr().out
    assert "measuring was left out" in out.read_text("utf-8")


def test_mistakes_of_the_spec_leave_no_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    spec = cloth(tmp_path, PLAIN.replace("of tip   span", "of tap   span"))
    assert run(["sheet", str(spec), "--out", str(tmp_path / "cloth.html")]) == 1
    assert "PL203" in capsys.readouterr().err and not (tmp_path / "cloth.html").exists()


def test_the_same_character_has_the_same_bytes(tmp_path: Path) -> None:
    pages = [plica.make_sheet(plica.compile_file(cloth(tmp_path / "a", PLAIN)), measure=False).page for _ in range(2)]
    assert pages[0] == pages[1]


@pytest.mark.parametrize("skinning", ["linear", "dual quaternion"])
def test_the_card_poses_as_we_do(browser: Browser, tmp_path: Path, skinning: str) -> None:
    spec = PLAIN.replace('mesh "skin"', f'mesh "skin"   skinning {skinning}')
    character = plica.compile_file(cloth(tmp_path, spec))
    mesh = plica.attach_mesh(character)
    assert plica.make_sheet(character, measure=False).write(tmp_path / "cloth.html") == ()
    plain = {
        "joints": {"tip": {"rotation": [0.6, 0.2, -0.3, 0.7], "translation": [1.9, 0.2, 0.1], "scale": [1.2, 0.8, 1.0]}}
    }
    with opened(browser, tmp_path / "cloth.html") as page:
        assert page.problems == []
        page.says("(plain) => { sheet.go(sheet.skeleton.posed(plain), ''); sheet.draw(); }", plain)
        places = page.numbers("sheet.stage.skin.places()").reshape(-1, 4)[:, :3]
    expected = plica.deform_mesh(mesh, plain).positions[0]
    assert np.linalg.norm(places - expected, axis=1).max() <= 35e-6  # a cloth of two metres: 16 bits of weights


def test_a_character_without_a_mesh_has_rows_all_the_same(browser: Browser, tmp_path: Path) -> None:
    text = """plica 1
character stick { skeleton { joint hips at 0 m, 1 m, 0 m } }
driver lean { reads bend of hips   span 0 deg .. 30 deg }
expect { reach lean }
"""
    sheet = plica.make_sheet(plica.compile_text(text))
    assert sheet.ok and sheet.write(tmp_path / "stick.html") == ()
    with opened(browser, tmp_path / "stick.html") as page:
        assert page.problems == []
        assert "There is no mesh to show" in page.tab.inner_text("main")
        page.says("() => sheet.move(sheet.record.rows[0], 0.3)")
        page.settled()
        assert float(page.tab.inner_text("[data-strength='0']")) == pytest.approx(0.573, abs=1e-3)


def test_coverage_is_about_joints_that_hold_skin() -> None:
    """A file lists helpers and tips among the joints of its skin; that nothing reads them is no gap."""
    made = arms(ELBOW)
    mesh, ids = made.attached.mesh, block_ids(made.rig)
    joints = [joint.name for joint in made.rig.skeleton]

    def told(without: str) -> list[str]:
        kept = np.where(mesh.bind_joints[mesh.joints] == joints.index(without), 0.0, mesh.weights)
        attached = replace(made.attached, mesh=replace(mesh, weights=kept))
        return [view.joint for view in coverage_views(made.rig, attached, ids)]

    assert told("spine") == ["upperarm_lf, upperarm_rt", "lowerarm_lf, lowerarm_rt"]
    assert "upperarm_lf, upperarm_rt" in told("upperarm_lf"), "the other side still holds skin"
    assert len(coverage_views(made.rig, None, ids)) == 4  # without a mesh what the file lists: paws and the spine too


@given(hostile, hostile)
@settings(max_examples=8, deadline=None)
def test_hostile_texts_stay_texts(title: str, note: str) -> None:
    quoted = [json.dumps(re.sub("[{}]", "", text.encode("utf-8", "ignore").decode("utf-8"))) for text in (title, note)]
    text = f"""plica 1
character stick {quoted[0]} {{ skeleton {{ joint {json.dumps("h" + re.sub("[{}]", "", title))} at 0 m, 1 m, 0 m }} }}
driver lean {{ reads bend of {json.dumps("h" + re.sub("[{}]", "", title))}   span 0 deg .. 30 deg   note {quoted[1]} }}
"""
    character = plica.compile_text(text)
    if not character.ok:
        return
    page = plica.make_sheet(character, measure=False).page.decode("utf-8")
    plain = plica.make_sheet(
        plica.compile_text(text.replace(quoted[0], '"t"').replace(quoted[1], '"n"')), measure=False
    )
    assert _elements(page) == _elements(plain.page.decode("utf-8"))
    assert record_in(page.encode())["joints"][0]["name"] == character.joints[0]


def _elements(page: str) -> list[str]:
    """The elements of a page in their order, by a parser of HTML."""
    from html.parser import HTMLParser

    found: list[str] = []

    class Reader(HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            found.append(f"{tag} {sorted(name for name, _ in attrs)}")

    Reader().feed(page)
    return found


def test_notes_and_photographs_stand_beside_what_they_are_about(tmp_path: Path) -> None:
    """Upright as the file says, once however many name it; what is no photograph is told at its place."""
    told = '''   note "Measured at the weir."   photo "wide.jpg" "at <full> bend"   photo "torn.jpg"'''
    spec = cloth(tmp_path, PLAIN.replace("follows lift }", f"follows lift{told} }}"))
    spec.write_text(spec.read_text("utf-8") + 'region near { skin of base   photo "wide.jpg" }\n', "utf-8")
    picture, turned = Image.new("RGB", (1700, 100), (200, 10, 10)), Image.Exif()
    turned[0x0112] = 6  # Exif 2.3, Orientation: the first row is the right side
    picture.save(tmp_path / "wide.jpg", exif=turned)
    (tmp_path / "torn.jpg").write_bytes((tmp_path / "wide.jpg").read_bytes()[:400])
    sheet = plica.make_sheet(plica.compile_file(spec), measure=False)
    page = sheet.page.decode("utf-8")
    assert [(one.name, one.message.count("torn.jpg")) for one in sheet.diagnostics] == [("photo-not-shown", 1)]
    shape, notes = page.split('id="shape-0"')[1].split("</section>")[0], page.split('id="notes"')[1]
    assert "Measured at the weir." in shape and "at &lt;full&gt; bend</figcaption>" in shape
    assert 'width="47" height="800"' in shape and shape.count("data:image/webp") == 1
    assert "torn.jpg: the photograph cannot be shown" in shape
    assert page.count("data:image/webp") == 2  # one is the skin in its stance
    assert '<a href="#photo-0">wide.jpg</a>' in notes


def test_the_drawing_joins_everything_that_drives_something() -> None:
    """Both sides once, nothing in another's place, and what stands beside its driver is joined by a straight line."""
    text = """plica 1
character stick { symmetry across x   left "*_l"   right "*_r"   skeleton {
  joint hips at 0 m, 1 m, 0 m
  joint arm_l under hips at 1 m, 0 m, 0 m   joint arm_r under hips at -1 m, 0 m, 0 m
} }
control sniff { range 0 .. 1   rest 0 }
driver lean both { reads bend of arm   span 0 deg .. 30 deg }
driver sniffing { reads control sniff   span 0 .. 1 }
driver idle { reads bend of hips   span 0 deg .. 30 deg }
combine all both = least(lean, sniffing)
combine more both = sum(all, lean)
shape bulge both { follows lean }
shape dent both { follows lean }
shape rise left { follows more }
"""
    rig = plica.compile_text(text).rig
    assert rig is not None
    view = graph_view(rig, SpecLines({}), block_ids(rig))
    assert view is not None
    columns = {column.title: [item.name if item else "" for item in column.rows] for column in view.columns}
    assert columns["Joints and controls"] == ["hips", "arm_l", "", "sniff"]
    assert columns["Drivers and samples"] == ["idle", "lean", "", "sniffing"]
    assert sorted(columns["Combinations"])[-2:] == ["all", "more"] and columns["Combinations"][1] == ""
    assert columns["Shapes and folds"][1:3] == ["bulge", "dent"] and "rise" in columns["Shapes and folds"]
    named = {item.id: item for item in view.items}
    joined = {(named[line.start].name, named[line.end].name) for line in view.lines}
    assert joined == {
        ("arm_l", "lean"), ("sniff", "sniffing"), ("hips", "idle"), ("lean", "all"), ("sniffing", "all"),
        ("all", "more"), ("lean", "more"), ("lean", "bulge"), ("lean", "dent"), ("more", "rise"),
    }  # fmt: skip
    assert joined == {(item.name, end) for item in view.items for end in item.feeds}
    rise = next(item for item in view.items if item.name == "rise")
    assert rise.sides == "L" and rise.fed_by == ("more",)
    straight = next(line.path for line in view.lines if named[line.end].name == "bulge")
    assert re.fullmatch(r"M[\d.]+ 1\.5H[\d.]+C[\d.]+ 1\.5 [\d.]+ 1\.5 [\d.]+ 1\.5", straight)


def test_weights_keep_their_sum() -> None:
    given_ = np.random.default_rng(1).dirichlet(np.ones(5), 400)
    given_[0] = [1.0, 0.0, 0.0, 0.0, 0.0]
    shares = whole_shares(given_, 65535)
    assert (shares.sum(axis=1) == 65535).all() and (shares >= 0).all()
    assert np.abs(shares - given_ * 65535).max() < 1.0
    assert (whole_shares(np.zeros((2, 3)), 65535) == 0).all()


def test_a_pack_says_where_everything_stands() -> None:
    pack = ArrayPack()
    pack.add("whole", np.array([[1, 260], [3, 2]], dtype=np.uint16))
    pack.add("none", np.zeros(0, dtype=np.uint8))
    pack.add_file("picture", b"abc", "image/png")
    assert pack.arrays["whole"] == (0, "u16", 2, 2) and pack.arrays["none"].rows == 0
    import zlib

    block = zlib.decompress(pack.compressed(), -15)
    # Column by column the differences, low bytes first: 1, 2 | 0, 0 and 260 = 0x0104, 2 - 260 = 0xfefe.
    assert block == bytes([1, 2, 0, 0, 4, 254, 1, 254]) + b"abc"


def test_modules_become_one_script_in_their_order() -> None:
    modules = {
        "main": 'import { two as b } from "./other.js";\nconsole.log(b());\n',
        "other": "export function two() { return 2; }\nexport const three = 3;\n",
    }
    script = bundled(modules, "main")
    assert script.index("module_other =") < script.index("module_main =")
    assert "return { two, three };" in script and "const { two: b } = module_other;" in script
    assert "import" not in script and "export" not in script
    with pytest.raises(UnknownModuleError, match="missing"):
        bundled({"main": 'import { a } from "./missing.js";\n'}, "main")
    with pytest.raises(UnknownModuleError, match="main"):
        bundled({"main": 'import { a } from "./main.js";\n'}, "main")


def test_modules_of_the_page_are_small_and_load_nothing() -> None:
    modules = page_modules()
    assert len(modules) > 10
    for name, text in modules.items():
        assert len(text.splitlines()) <= 400, name
        assert not re.search(r"\b(fetch|XMLHttpRequest|WebSocket|importScripts|eval|innerHTML|outerHTML)\b", text), name


def test_a_line_with_one_quantity_can_be_tried() -> None:
    text = "expect { volume of a within 4 %\n  clearance of a from b2 at least 0.5 mm   rest }"
    source = Source("a.plica", text)

    def span(part: str) -> Span:
        return Span(source, text.index(part), text.index(part) + len(part))

    lines = SpecLines(
        {
            ("expect", "0"): span("volume of a within 4 %"),
            ("expect", "1"): span("clearance of a from b2 at least 0.5 mm"),
            ("expect", "2"): span("rest"),
        }
    )
    assert lines.tried("expect", "0", "%") == ("volume of a within ", "%", "")
    assert lines.tried("expect", "1", "mm") == ("clearance of a from b2 at least ", "mm", "")
    assert lines.tried("expect", "2", "") is None and lines.tried("expect", "0", "mm") is None
    assert lines.place("expect", "1") == ("a.plica:2", "line-0-2")


def test_several_details_lie_one_over_the_other(browser: Browser, tmp_path: Path) -> None:
    """Each changes the picture by itself, also its fold alone; what finds no room is named."""
    text = SPEC + 'detail ribs { relaxed "flat.png"   contracted "ribs.png"   mixing reoriented }\n'
    text += "fold ridges { in ribs   area far   follows lift }\n"
    spec = cloth(tmp_path, text)
    flat = Image.new("RGB", (16, 16), (128, 128, 255))
    tilted = {"relaxed": flat, "contracted": Image.new("RGB", (16, 16), (190, 128, 230)), "flat": flat}
    tilted["ribs"] = Image.new("RGB", (16, 16), (128, 60, 230))
    for name, picture in tilted.items():
        picture.save(tmp_path / f"{name}.png")
    sheet = plica.make_sheet(plica.compile_file(spec), measure=False)
    assert sheet.write(tmp_path / "cloth.html") == () and "Not to be seen" not in sheet.page.decode("utf-8")
    with opened(browser, tmp_path / "cloth.html") as page:
        assert page.problems == []
        pictures = set()
        for folds in ((0, 0), (1, 0), (0, 1), (1, 1)):
            page.says(
                """([creases, ridges]) => {
                  const { slots, skin } = sheet.stage;
                  skin.folds.fill(0);
                  skin.folds[slots.get("creases")] = creases;
                  skin.folds[slots.get("ridges")] = ridges;
                }""",
                list(folds),
            )
            pictures.add(page.picture())
        assert len(pictures) == 4
    (tmp_path / "ribs.png").write_bytes(b"")
    page_of_one = plica.make_sheet(plica.compile_file(spec), measure=False).page.decode("utf-8")
    assert "Not to be seen on this skin: fold ridges." in page_of_one
