"""What hovering tells of words that are no names, and what completion offers in their places."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from plica.diagnostics import Diagnostics
from plica.editor import complete, hovering
from plica.editor.open_documents import Analysis, OpenDocuments
from plica.editor.reference import explanation
from plica.editor.snippets import DECLARATIONS
from plica.source import Source
from plica.syntax.keywords import words
from plica.syntax.parser import parse
from tests.support.editor_client import Client

SPEC = """plica 1
character post {
    skeleton {
        joint hips at 0 m, 1 m, 0 m
        joint arm_lf under hips at 1 m, 0 m, 0 m
        joint arm_rt under hips at -1 m, 0 m, 0 m
    }
    symmetry across x
    left "*_lf"
    right "*_rt"
}
use "limb.plica" as elbow with { joint = arm }
driver wrist both { reads bend of arm   span 0 deg .. 90 deg   accept unused-strength because "later" }
field shoulder both { reads rotation of arm   sample raised at about z 80 deg }
combine lift both = greatest(wrist, shoulder.raised)
override driver wrist right { span 0 deg .. 50 deg }  // span of both
"""
LIBRARY = "plica 1\nparameter joint\ndriver bend both { reads bend of {joint} span 0 deg .. 130 deg }\n"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("post")
    (made / "limb.plica").write_text(LIBRARY, "utf-8")
    return made


def analysis(folder: Path, text: str = SPEC) -> Analysis:
    documents = OpenDocuments()
    documents.set_text("post", text, folder / "post.plica")
    made = documents.analysis("post")
    assert made is not None
    return made


@pytest.mark.parametrize(
    ("before", "word", "told"),
    [
        ("", "driver", "One number read off the pose"),
        ("driver wrist both { ", "reads", "Every reading is 0"),
        ("driver wrist both { reads ", "bend", "`bend of JOINT"),
        ("arm   ", "span", "the reading that means 1"),
        ("span 0 deg .. ", "90 deg", "1.5708 rad"),
        ("driver wrist ", "both", "writes a left and a right one"),
        ("90 deg   ", "accept", "silence a warning or note"),
        ("accept ", "unused-strength", "No shape, fold or combine"),
        ("", "override", "replaces the facts"),
        ("override driver ", "wrist", "right_wrist"),
        ("shoulder.", "raised", "left_shoulder_raised"),
        ("as ", "elbow", "`elbow_bend`"),
        ("use ", '"limb.plica"', "driver `elbow_bend`"),
        ("1 m, 0 m, 0 m\n    }\n    ", "symmetry", "symmetry"),
    ],
)
def test_hovering_tells_what_a_word_does(folder: Path, before: str, word: str, told: str) -> None:
    made = analysis(folder)
    at = SPEC.index(before + word) + len(before) + 1
    text = hovering.hover(made, made.document, at)
    assert text is not None and told in text, text


def test_names_and_comments_are_no_keywords(folder: Path) -> None:
    made = analysis(folder, SPEC.replace("wrist", "span"))
    text = made.source.text
    named = hovering.hover(made, made.document, text.index("span both {") + 1)
    assert named is not None and "left_span" in named
    assert hovering.hover(made, made.document, text.index("// span") + 4) is None


def test_the_reference_explains_every_declaration() -> None:
    """Looked up in the page itself: a heading that is renamed shows here."""
    for word in set(words().declarations) - {"plica", "each"}:
        assert explanation(f"{word} x", ()) is not None, word
    found = explanation("span 25 % .. 75 % of peak", ("region",))
    assert found is not None and found.under == "region"
    assert "](" not in "".join(one.text for one in [found])


def test_every_snippet_is_a_declaration_as_it_stands() -> None:
    assert set(DECLARATIONS) >= set(words().declarations) - {"plica", "override"}
    for word, snippet in DECLARATIONS.items():
        diagnostics = Diagnostics()
        text = re.sub(r"\$\{\d+:([^}]*)\}|\$0", lambda place: place[1] or "", snippet)
        parse(Source("x.plica", f"plica 1\n\n{text}\n"), diagnostics)
        assert [one.message for one in diagnostics.all] == [], word


def offered(folder: Path, written: str) -> set[str]:
    made = analysis(folder, SPEC + written)
    found = complete.suggestions(made, made, len(made.source.text))
    return {item.text for item in complete.begun(found, made.source.text, len(made.source.text))}


def test_completion_after_override_and_by_what_is_begun(folder: Path) -> None:
    assert offered(folder, "override dri") == {"driver"}
    assert offered(folder, "override ") >= {"driver", "field", "fold"}
    assert offered(folder, "override driver wr") == {"wrist"}
    assert offered(folder, "combine x both = product(shoulder.ra") == {"raised"}
    assert offered(folder, "shape s both { follows ELB") == {"elbow_bend"}


def test_whole_declarations_are_for_editors_that_can_fill_them_in(folder: Path) -> None:
    many = "".join(f"driver d{n} both {{ reads bend of arm span 0 deg .. {n + 1} deg }}\n" for n in range(400))
    text = f"{SPEC}{many}combine x both = sum(d39"
    offering = {"completion": {"completionItem": {"snippetSupport": True}}}
    with Client(textDocument=offering) as client:  # what others get is seen wherever else completion is tested
        uri = client.open(folder / "post.plica", SPEC)
        items = client.at(uri, "completion", SPEC.count("\n"), 0)
        (driver,) = [item for item in items if item["label"] == "driver ..."]
        assert driver["insertTextFormat"] == 2 and driver["insertText"].startswith("driver ${1:name} both {")
        client.change(uri, text)
        found = client.at(uri, "completion", text.count("\n"), len("combine x both = sum(d39"))
        labels = {item["label"] for item in found["items"]}
        assert found["isIncomplete"] and labels == {"d39", *(f"d39{n}" for n in range(10))}
