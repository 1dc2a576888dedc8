"""Names of libraries are renamed in every text that uses them, or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from plica.editor.open_documents import OpenDocuments
from plica.editor.renaming import Refusal, rename
from plica.pipeline import compile_file
from tests.support.projects import preamble

LIMB = """plica 1
parameter joint
driver bend both { reads rotation about z of {joint}   span 0 deg .. 100 deg }
combine doubled both = sum(bend, bend)
"""
BODY = """plica 1
parameter part
use "limb.plica" as limb with { joint = {part} }
combine whole both = product(limb_bend, limb_doubled)
"""
USES_LIMB = 'use "../library/limb.plica" as arm with { joint = lowerarm }\n'
WREN = USES_LIMB + "shape swell both { follows arm_bend }\nshape double both { follows arm_doubled }\n"
OTTER = (
    'use "../library/body.plica" as body with { part = lowerarm }\n'
    "shape swell both { follows body_limb_bend }\nshape whole both { follows body_whole }\n"
)


@pytest.fixture
def root(tmp_path: Path) -> Path:
    (tmp_path / "plica.toml").write_text('characters = ["*/*.plica"]\nlibraries = ["library/*.plica"]\n', "utf-8")
    for name, text in {"library/limb": LIMB, "library/body": BODY}.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / f"{name}.plica").write_text(text, "utf-8")
    for name, text in {"wren": WREN, "otter": OTTER}.items():
        (tmp_path / name).mkdir()
        (tmp_path / name / f"{name}.plica").write_text(preamble(name) + text, "utf-8")
    return tmp_path


def renamed(path: Path, word: str, name: str) -> Refusal | dict[str, str]:
    """The texts after the first `word` of a file is renamed, by the file's name; or why not."""
    documents = OpenDocuments()
    text = path.read_text("utf-8")
    documents.set_text("it", text, path)
    edits = rename(documents, "it", text.index(word) + 1, name)
    if isinstance(edits, Refusal):
        return edits
    texts: dict[str, str] = {}
    for edit in sorted(edits, key=lambda item: -item.span.start):
        text = texts.get(edit.span.source.path, edit.span.source.text)
        texts[edit.span.source.path] = text[: edit.span.start] + edit.text + text[edit.span.end :]
    return {Path(one).name: text for one, text in texts.items()}


def test_a_declaration_of_a_library_is_renamed_in_all_that_use_it_also_through_others(root: Path) -> None:
    result = renamed(root / "library" / "limb.plica", "bend both", "curl")
    assert result == {
        "limb.plica": LIMB.replace("bend both", "curl both").replace("bend, bend", "curl, curl"),
        "body.plica": BODY.replace("limb_bend", "limb_curl"),
        "wren.plica": preamble("wren") + WREN.replace("arm_bend", "arm_curl"),
        "otter.plica": preamble("otter") + OTTER.replace("limb_bend", "limb_curl"),
    }


def test_from_where_it_is_used_too_and_all_compiles_then(root: Path) -> None:
    spec = root / "wren" / "wren.plica"
    result = renamed(spec, "arm_bend", "arm_curl")
    assert result == renamed(root / "library" / "limb.plica", "bend both", "curl")
    assert isinstance(result, dict)
    for name, text in result.items():
        next(root.rglob(name)).write_text(text, "utf-8")
    assert [item for item in compile_file(spec, [root]).diagnostics if item.severity == "error"] == []


@pytest.mark.parametrize(
    ("file", "word", "name", "reason"),
    [
        ("wren/wren.plica", "arm_bend", "curl", "begin with `arm_`"),
        ("library/limb.plica", "bend both", "doubled", "already"),
        ("library/limb.plica", "bend both", "2", "is not a name"),
        ("library/body.plica", "whole both", "limb_doubled", "already"),
    ],
)
def test_what_would_change_a_meaning_is_refused(root: Path, file: str, word: str, name: str, reason: str) -> None:
    result = renamed(root / file, word, name)
    assert isinstance(result, Refusal) and reason in result.reason


def test_a_name_that_would_take_the_place_of_the_specs_own_is_refused(root: Path) -> None:
    """`base` in the library means the spec's; a declaration of the library by that name would come first."""
    spec, library = root / "wren" / "wren.plica", root / "library" / "limb.plica"
    (root / "otter" / "otter.plica").unlink()
    (root / "library" / "body.plica").unlink()
    library.write_text(LIMB + "combine more both = sum(bend, base)\n", "utf-8")
    base = "driver base both { reads bend of upperarm   span 0 deg .. 60 deg }\n"
    spec.write_text(preamble("wren") + WREN + base, "utf-8")
    result = renamed(library, "doubled both", "base")
    assert isinstance(result, Refusal) and "something else" in result.reason


def test_while_any_user_has_mistakes_nothing_is_renamed(root: Path) -> None:
    with (root / "otter" / "otter.plica").open("a", encoding="utf-8") as stream:
        stream.write("shape {\n")
    result = renamed(root / "library" / "limb.plica", "bend both", "curl")
    assert isinstance(result, Refusal) and "otter.plica has mistakes" in result.reason
