"""What a project says holds in an editor too: its folders, and what it accepts."""

from __future__ import annotations

from pathlib import Path

import pytest

from plica.editor.open_documents import OpenDocuments
from tests.support.projects import USES, put_down

UNUSED = "region spare both { skin of upperarm }\n"
ACCEPTS = '[[accept]]\nfinding = "unused-name"\nbecause = "later"\n'


@pytest.fixture
def root(tmp_path: Path) -> Path:
    return put_down(tmp_path, {"wren": USES, "otter": USES + UNUSED})


def names(documents: OpenDocuments, path: Path) -> set[str]:
    documents.set_text("spec", path.read_text("utf-8"), path)
    analysis = documents.analysis("spec")
    assert analysis is not None
    return {one.name for one in analysis.diagnostics}


def test_a_spec_uses_the_folders_of_its_project(root: Path) -> None:
    spec = root / "characters" / "wren" / "wren.plica"
    assert "file-outside" not in names(OpenDocuments(), spec)
    (root / "plica.toml").unlink()
    assert "file-outside" in names(OpenDocuments(), spec)


def test_what_a_project_accepts_is_not_shown_until_it_no_longer_does(root: Path) -> None:
    spec = root / "characters" / "otter" / "otter.plica"
    documents = OpenDocuments()
    assert "unused-name" in names(documents, spec)
    (root / "plica.toml").write_text(ACCEPTS, "utf-8")
    documents.forget_analyses()  # as when the editor says that files on disk changed
    assert "unused-name" not in names(documents, spec)


def test_a_library_knows_the_characters_of_its_project(root: Path) -> None:
    documents = OpenDocuments()
    library = root / "library" / "limb.plica"
    documents.set_text("library", library.read_text("utf-8"), library)
    users = documents.users("library")
    assert {Path(one.source.path).name for one in users} == {"wren.plica", "otter.plica"}
