"""No name out of data touches a place that it should not, on any system; and nothing goes round the rule."""

from __future__ import annotations

import ast
import ntpath
import re
import subprocess
from pathlib import Path, PurePosixPath, PureWindowsPath

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from plica.file_names import folded, normalised, problem_of
from tests.support.data import ROOT
from tests.support.repositories import git

GOOD = (
    "wren.glb",
    "maps/brow.png",
    "a b/c.d.e",
    "-dash.plica",
    ".hidden",
    "..name",
    "é/ß.obj",
    "console.png",
    "com.txt",
)
BAD = {
    "": "relative",
    "/home/x/.profile": "relative",
    "//host/share": "relative",
    "a/../../x": r"\.\.",
    "..": r"\.\.",
    "a/./b": "empty",
    "a//b": "empty",
    "a/": "empty",
    "C:": "character",
    "a/C:/b": "character",
    "c:x": "character",
    "file.txt:stream": "character",
    "a\\b": "character",
    "\\\\host\\share": "character",
    "a\nb": "character",
    "a\x00b": "character",
    "a\x7fb": "character",
    "a\x9bb": "character",
    "a\udcffb": "character",
    "a?": "character",
    "name.": "ends in",
    "name /x": "ends in",
    "NUL...": "ends in",
    "con": "device",
    "con.rig.json": "device",
    "maps/Aux.png": "device",
    "PRN .x": "device",
    "com1.a.b": "device",
    "lpt³": "device",
    "conin$": "device",
    ".git/hooks/post-checkout": "git",
    "a/.GIT/config": "git",
    "GIT~1/config": "git",
    ".g\u200cit/config": "git",
}
STEPS = st.sampled_from(
    ["a", "..", ".", "", "C:", "con", "NUL.x", "com1", ".git", "x.", "x ", "\\", "\n", "é", "ﬀ", "-"]
)
NAMES = st.lists(STEPS | st.text(max_size=6), max_size=5).map("/".join)


@pytest.mark.parametrize("name", GOOD)
def test_names_that_mean_one_file_everywhere(name: str) -> None:
    assert problem_of(name) is None


@pytest.mark.parametrize("name", BAD)
def test_names_that_do_not(name: str) -> None:
    assert re.search(BAD[name], problem_of(name) or "")


@given(NAMES)
@example("a/b")
def test_what_is_taken_stays_below_its_folder_on_every_system(name: str) -> None:
    """Against Python's own reading of paths, on both kinds of systems."""
    if problem_of(name) is not None:
        return
    posix, windows = PurePosixPath(name), PureWindowsPath(name)
    for path in (posix, windows):
        assert not path.is_absolute() and not path.anchor and ".." not in path.parts
        assert path.parts == tuple(name.split("/"))
    assert normalised(name) == name == ntpath.normpath(name).replace("\\", "/")
    reserved = ntpath.isreserved(name) if hasattr(ntpath, "isreserved") else any(
        PureWindowsPath(step).is_reserved() for step in name.split("/")
    )  # fmt: skip
    assert not reserved


@given(NAMES)
def test_a_name_has_one_folded_form(name: str) -> None:
    assert folded(folded(name)) == folded(name) == folded(name.upper().lower() if name.isascii() else name)


@pytest.mark.parametrize("name", [name for name in BAD if name and "\0" not in name and "\udcff" not in name])
def test_git_checks_out_nothing_that_is_refused_as_gits_own(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever git itself refuses in an index, told to protect every file system, is refused here (git-config)."""
    monkeypatch.chdir(tmp_path)
    git("init", "--quiet")
    blob = git("hash-object", "-w", "--stdin").strip()
    protected = ("-c", "core.protectNTFS=true", "-c", "core.protectHFS=true")
    try:
        git(*protected, "update-index", "--add", "--cacheinfo", f"100644,{blob},{name}")
    except subprocess.CalledProcessError:
        assert problem_of(name) is not None


# ---- nothing goes round the rule ---------------------------------------------------------------------------

OPENING = {"read_bytes", "read_text", "open", "fromfile", "memmap", "loadtxt", "genfromtxt"}
# Where a file is opened all the same, and why that is no file that data name.
OPENED = {
    "compiler/regular_files.py": "the one way itself",
    "compiler/emit/exchange.py": "makes new files, exclusively",
    "compiler/emit/lock.py": "the lock, which is never read",
    "compiler/diff/revision.py": "makes new files, exclusively",
    "compiler/demo.py": "files of the package",
    "compiler/prove/cache/keys.py": "files of the package",
    "compiler/project/recall.py": "files of the package",
    "compiler/commands/preview.py": "shows an address in the browser",
    "compiler/observations.py": "a file that `regular_files` has opened, whose stretches are noted",
    "compiler/sheet/document.py": "files of the package",
    "compiler/sheet/script.py": "files of the package",
    "targets/javascript/__init__.py": "files of the package",
    "targets/python/templates.py": "files of the package",
    "targets/usd/emit.py": "a file of its own making, which OpenUSD's library writes",
    "compiler/commands/main.py": "the null device",
    "compiler/mesh/npz.py": "members of an archive in memory",
    "compiler/readers/usd_child.py": "the null device, and what the system says of its own memory",
    "compiler/evaluate/curves.py": "a curve that is open at its ends",
    "compiler/evaluate/evaluator.py": "a curve that is open at its ends",
}
IN_MEMORY = ("io.BytesIO(", "BytesIO(", "ZipInfo(")


def openings(path: Path) -> list[str]:
    """The calls of a module that could open a file by name."""
    result = []
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Call):
            called = node.func
            name = called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
            first = node.args[0] if node.args else None
            # Functions of ours that are called like those of a path are given a path.
            is_ours = name.startswith("read_") and first is not None and not isinstance(first, ast.Constant)
            in_memory = first is not None and ast.unparse(first).startswith(IN_MEMORY)
            if name in OPENING and not is_ours and not in_memory:
                result.append(f"{name}, line {node.lineno}")
    return result


def test_files_are_opened_in_one_way() -> None:
    modules = [path for folder in ("compiler", "targets") for path in (ROOT / folder).rglob("*.py")]
    other = {path.relative_to(ROOT).as_posix(): result for path in modules if (result := openings(path))}
    assert {path: result for path, result in other.items() if path not in OPENED} == {}
    assert set(OPENED) <= set(other), "an exception that nothing needs any more"
