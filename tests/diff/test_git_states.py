"""Which states an external diff of git compares, by the objects that it names."""

from __future__ import annotations

from pathlib import Path

import pytest

from plica.diff.git_states import GitFile, states
from tests.support.repositories import git

ZEROS = "0" * 40
FILE = "wren.plica"


@pytest.fixture
def texts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    """The objects of the texts of the first commit, of HEAD, and of the index; the working tree has a fourth one."""
    monkeypatch.chdir(tmp_path)
    git("init", "--quiet")
    blobs = {}
    for name in ("first", "HEAD", "index"):
        Path(FILE).write_text(f"{name}\n", "utf-8")
        git("add", FILE)
        blobs[name] = git("rev-parse", f":0:{FILE}").strip()
        if name != "index":
            git("commit", "--quiet", "-m", name)
    Path(FILE).write_text("tree\n", "utf-8")
    return {**blobs, "tree": ZEROS, "nothing": "."}


def labels(texts: dict[str, str], old: str, new: str) -> tuple[str, str]:
    """What the two states are called."""
    pair = states(*(GitFile(FILE, texts[name], Path(FILE)) for name in (old, new)), Path())
    first, head = git("rev-parse", "HEAD^").strip()[:10], git("rev-parse", "HEAD").strip()[:10]
    words = {f"commit {first}": "first", f"the commit before {head}": "first", f"commit {head}": "commit of HEAD"}
    one, other = (words.get(state.label, state.label) for state in pair)
    return one, other


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("index", "tree", ("the index", "the working tree")),
        ("HEAD", "tree", ("HEAD", "the working tree")),
        ("first", "tree", ("first", "the working tree")),
        ("tree", "index", ("the working tree", "the index")),
        ("tree", "HEAD", ("the working tree", "HEAD")),
        ("HEAD", "index", ("HEAD", "the index")),
        ("index", "HEAD", ("the index", "HEAD")),
        ("first", "HEAD", ("first", "HEAD")),
        ("HEAD", "first", ("commit of HEAD", "first")),
        ("nothing", "HEAD", ("the working tree", "HEAD")),
        ("index", "nothing", ("the index", "the working tree")),
        ("first", "nothing", ("first", "the working tree")),
    ],
)
def test_states_are_told_by_their_objects(texts: dict[str, str], old: str, new: str, expected: tuple[str, str]) -> None:
    assert labels(texts, old, new) == expected


def test_where_the_index_is_head_two_commits_are_no_diff_of_the_index(texts: dict[str, str]) -> None:
    git("reset", "--quiet", "--hard", "HEAD")
    assert labels(texts, "first", "HEAD") == ("first", "HEAD")
    assert labels(texts, "HEAD", "HEAD") == ("commit of HEAD", "HEAD")
