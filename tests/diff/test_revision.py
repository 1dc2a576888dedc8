"""What a commit can hold reaches no place but the folder that was made for it."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from plica import limits
from plica.commands.main import run
from plica.diff.git_commands import NoRevision
from plica.diff.revision import INDEX, Revision, RevisionWorkspace
from plica.workspace import Refused
from tests.support.repositories import Tree, committed, git, nested

pytestmark = pytest.mark.skipif(os.name == "nt", reason="names and links as POSIX has them")
SPEC = b'plica 1\ncharacter wren { geometry "wren.gltf" }\n'


def model(uri: str) -> bytes:
    buffers = [{"uri": uri, "byteLength": 4}]
    return json.dumps({"asset": {"version": "2.0"}, "buffers": buffers}).encode()


@pytest.fixture
def repository(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty repository, in which a test runs."""
    place = tmp_path / "home" / "work" / "repository"
    place.mkdir(parents=True)
    monkeypatch.chdir(place)
    # Folders for files of a revision are made here, and not where their names could hide what leaves them.
    (tmp_path / "temporary").mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "temporary"))
    git("init", "--quiet")
    return place


def everything(folder: Path) -> dict[str, bytes]:
    files = (path for path in sorted(folder.rglob("*")) if path.is_file() and ".git" not in path.parts)
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}


HOSTILE: dict[str, Tree] = {
    "absolute": {"wren.plica": SPEC, "wren.gltf": model("{home}/.profile"), "{home}/.profile": b"evil"},
    "above": {"wren.plica": SPEC, "wren.gltf": model("../../.profile"), "..": {"..": {".profile": b"evil"}}},
    "through": {"a": {"..": {"..": {".profile": b"evil"}}}, "wren.plica": SPEC, "wren.gltf": model("a/../../.profile")},
    "slashes": {"a/../../../.profile": b"evil", "wren.plica": SPEC, "wren.gltf": model("a%2F..%2F../../.profile")},
    "a spec": {"a": {"..": {"..": {"..": {"..": {"wren.plica": SPEC}}}}}, "wren.plica": SPEC, "wren.gltf": model("x")},
    "absolute spec": {"{home}/wren.plica": SPEC, "wren.plica": SPEC, "wren.gltf": model("x")},
    "git's own": {".git": {"hooks": {"wren.plica": SPEC}}, "wren.plica": SPEC, "wren.gltf": model(".GIT/config")},
}


def at_home(tree: Tree, home: str) -> Tree:
    filled: dict[str, Tree | bytes | str] = {}
    for name, content in tree.items():
        if isinstance(content, bytes):
            filled[name.format(home=home)] = content.replace(b"{home}", home.encode())
        else:
            filled[name.format(home=home)] = content if isinstance(content, str) else at_home(content, home)
    return filled


@pytest.mark.parametrize("kind", HOSTILE)
def test_a_commit_writes_no_files_elsewhere(
    kind: str, repository: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    home = tmp_path / "home"
    before = everything(tmp_path)
    commit = committed(at_home(HOSTILE[kind], home.as_posix()))
    code = run(["diff", f"git:{commit}", f"git:{commit}"])
    shown = "".join(capsys.readouterr())
    assert everything(tmp_path) == before
    if "spec" in kind or "own" in kind:  # what cannot be compared is said, and not left out
        assert code == 2 and "PL914" in shown and "cannot be put down" in shown


def test_names_are_looked_at_in_the_index_too(repository: Path, tmp_path: Path) -> None:
    commit = committed({"a": {"..": {"..": {".profile": b"evil"}}}, "wren.plica": SPEC})
    (tmp_path / "mirror").mkdir()
    git("read-tree", committed({"con.rig.json": b"{}", "wren.plica": SPEC}))
    index = Revision(repository, INDEX, tmp_path / "mirror")
    assert index.files_below(".") == ["wren.plica"] and list(index.unusable_below("")) == ["con.rig.json"]
    revision = Revision(repository, commit, tmp_path / "mirror")
    for path in ("a/../../.profile", "a/..", "../.profile", "/etc/passwd", ""):
        assert not revision.holds(path) and revision.fetch(path) is None


@pytest.mark.parametrize("target", ["/etc/passwd", "../../../../../etc/passwd", "link.plica", "../.git/config"])
def test_links_lead_to_nothing_outside_the_revision(target: str, repository: Path, tmp_path: Path) -> None:
    commit = committed({"link.plica": target, "wren.plica": SPEC})
    (tmp_path / "mirror").mkdir()
    assert Revision(repository, commit, tmp_path / "mirror").fetch("link.plica") is None
    assert everything(tmp_path / "mirror") == {}


def test_a_link_within_the_revision_gives_the_file_that_it_names(repository: Path, tmp_path: Path) -> None:
    commit = committed({"a": {"link.plica": "../wren.plica"}, "wren.plica": SPEC})
    (tmp_path / "mirror").mkdir()
    place = Revision(repository, commit, tmp_path / "mirror").fetch("a/link.plica")
    assert place is not None and place.read_bytes() == SPEC and not place.is_symlink()


def test_two_names_for_one_file_are_told(repository: Path, tmp_path: Path) -> None:
    """On a disk that takes both names for one, the second would show the first one's content."""
    commit = committed({"Fur.plica": SPEC, "fur.plica": SPEC + b"// other\n"})
    (tmp_path / "mirror").mkdir()
    revision = Revision(repository, commit, tmp_path / "mirror")
    assert revision.fetch("Fur.plica") == revision.fetch("Fur.plica") is not None
    with pytest.raises(NoRevision, match="one file on some systems"):
        revision.fetch("fur.plica")
    refused = RevisionWorkspace(revision, ".").locate("fur.plica")
    assert isinstance(refused, Refused) and "one file" in refused.values["reason"]


def test_a_file_in_the_way_of_a_folder_is_told(repository: Path, tmp_path: Path) -> None:
    commit = committed({"a": SPEC, "a/b.plica": SPEC})
    (tmp_path / "mirror").mkdir()
    revision = Revision(repository, commit, tmp_path / "mirror")
    assert revision.fetch("a") is not None
    with pytest.raises(NoRevision, match="cannot be put down"):
        revision.fetch("a/b.plica")


def test_files_larger_than_a_limit_are_not_put_down(repository: Path, tmp_path: Path) -> None:
    commit = committed({"wren.plica": SPEC * 1000})
    (tmp_path / "mirror").mkdir()
    with limits.using(limits.Limits(model_bytes=1000)):
        revision = Revision(repository, commit, tmp_path / "mirror")
        with pytest.raises(NoRevision, match="--limit model-bytes=SIZE"):
            revision.fetch("wren.plica")
    assert everything(tmp_path / "mirror") == {}


def test_a_commit_of_very_many_files_is_refused(repository: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Ten objects that name 10,000,000,000 files: git would list them for hours."""
    commit = nested(10, 10, SPEC)
    assert run(["diff", f"git:{commit}", f"git:{commit}", "--limit", "revision-bytes=1MiB"]) == 2
    assert "--limit revision-bytes=SIZE" in "".join(capsys.readouterr())


def test_all_files_that_a_model_is_made_of_are_fetched(repository: Path, tmp_path: Path) -> None:
    """Also with escapes in the address and steps above that stay within the model's folder."""
    tree: Tree = {
        "models": {"wren.gltf": model("parts/../parts/fur%20one.bin"), "parts": {"fur one.bin": b"1234", "b.bin": b""}},
        "wren.plica": SPEC,
    }
    commit = committed(tree)
    (tmp_path / "mirror").mkdir()
    revision = Revision(repository, commit, tmp_path / "mirror")
    assert revision.fetch("models/wren.gltf") is not None
    assert sorted(everything(tmp_path / "mirror")) == ["models/parts/fur one.bin", "models/wren.gltf"]


def test_layers_of_a_stage_are_fetched_one_after_the_other(repository: Path, tmp_path: Path) -> None:
    pytest.importorskip("pxr", reason="usd-core is not installed")

    def layer(below: str) -> bytes:
        return f"#usda 1.0\n(\n    subLayers = [{below}]\n)\n".encode()

    last = b"#usda 1.0\n"
    parts = {"skin.usda": layer("@fur/fur.usda@"), "fur": {"fur.usda": layer("@../base.usda@, @gone.usda@")}}
    commit = committed({"m": {"wren.usda": layer("@skin.usda@"), "base.usda": last, "other.usda": last, **parts}})
    (tmp_path / "mirror").mkdir()
    assert Revision(repository, commit, tmp_path / "mirror").fetch("m/wren.usda") is not None
    assert sorted(everything(tmp_path / "mirror/m")) == ["base.usda", "fur/fur.usda", "skin.usda", "wren.usda"]
