"""The house rules that a reader would otherwise have to check by eye."""

from __future__ import annotations

import ast
import re
import subprocess
from pathlib import Path

import pytest

from tests.support.data import ROOT

TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "LICENSE",
    "compiler",
    "grammar",
    "targets",
    "tests",
    "specs",
}
MOST_LINES = 400

# The stages in their order: a module may import from its own stage and from those before it.
STAGES = (
    "named_tuples",
    "frozen",
    "package_data",
    "source",
    "distinct",
    "units",
    "errors",
    "quantities",
    "foreign",
    "limits",
    "observations",
    "file_names",
    "regular_files",
    "rounding",
    "cores",
    "plain_data",
    "workspace",
    "user_cache",
    "worker_processes",
    "diagnostics",
    "values",
    "skeleton",
    "kinds",
    "curves",
    "syntax",
    "format",
    "readers",
    "spec",
    "rig",
    "pipeline",
    "evaluate",
    "mesh",
    "measure",
    "drafting",
    "picture",
    "texture",
    "emit",
    "prove",
    "sculpting",
    "project",
    "diff",
    "targets",
    "sheet",
    "preview",
    "start",
    "demo",
    "api",
    "editor",
    "commands",
    "specs",
)
# Folders that hold data and no stage, and the package itself.
NO_STAGE = {"grammar", "__init__", "__main__", "__version__"}


def tracked(pattern: str = "") -> list[str]:
    """The files of the repository, or the files on disk where there is no checkout."""
    done = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard", *([pattern] if pattern else [])],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    if done.returncode != 0:
        pytest.skip("this is not a git checkout")
    return [name for name in done.stdout.splitlines() if (ROOT / name).exists()]


def test_the_top_level_holds_what_the_design_gives_it() -> None:
    result = {name.split("/")[0] for name in tracked()}
    assert {name for name in result if not name.startswith(".")} <= TOP_LEVEL


def test_no_module_is_too_long() -> None:
    lengths = {name: len((ROOT / name).read_text("utf-8").splitlines()) for name in tracked("*.py")}
    assert {name: length for name, length in lengths.items() if length > MOST_LINES} == {}


# One word for the data, on two levels: what a compiled file is, and what of it stands in the rig.
SHARED_CLASS_NAMES = {"Character"}


def test_a_class_name_stands_for_one_thing() -> None:
    places: dict[str, list[str]] = {}
    for folder in ("compiler", "grammar", "targets", "specs"):
        for name in tracked(f"{folder}/*.py"):
            for node in ast.parse((ROOT / name).read_text("utf-8")).body:
                if isinstance(node, ast.ClassDef):
                    places.setdefault(node.name, []).append(name)
    assert {name for name, files in places.items() if len(files) > 1} <= SHARED_CLASS_NAMES


def stage_of(path: Path) -> str:
    """The stage that a module of the package belongs to."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return parts[1] if parts[0] == "compiler" else parts[0]


def imported_stages(path: Path) -> set[str]:
    """The stages that a module imports from, also inside functions."""
    result: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [f"plica.{alias.name}" for alias in node.names] if node.module == "plica" else [node.module]
        result |= {name.split(".")[1] for name in names if name.startswith("plica.")}
    return result


def test_imports_run_one_way_along_the_stages() -> None:
    wrong = []
    for folder in ("compiler", "targets", "specs"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            stage = stage_of(path)
            if stage in NO_STAGE:
                continue
            for other in imported_stages(path) - NO_STAGE:
                if STAGES.index(other) > STAGES.index(stage):
                    wrong.append(f"{path.relative_to(ROOT)} ({stage}) imports {other}")
    assert wrong == []


def test_commands_write_through_one_module() -> None:
    """Which makes every line safe that holds what others chose. What `format -` lays out is the text itself."""
    allowed = {"compiler/commands/output.py"}
    streams = re.compile(r"sys\.(?:stdout|stderr)\.(?:write|writelines)\b|(?<![\w.])print\(")
    modules = [name for folder in ("compiler", "targets") for name in tracked(f"{folder}/*.py")]
    assert [name for name in modules if name not in allowed and streams.search((ROOT / name).read_text("utf-8"))] == []


# What the faces may use: the public names, what shows diagnostics and texts, and how records are written.
OFFERED = (
    "plica.__version__",
    "plica.api",
    "plica.diagnostics",
    "plica.errors",
    "plica.foreign",
    "plica.limits",
    "plica.named_tuples",
)
# What else they use, because there is no public name for it yet. Nothing is added here without a reason.
NOT_YET_OFFERED = {
    "commands/demo.py": {"plica.demo", "plica.emit"},  # making the demo's files, and writing what is no build
    "commands/diff.py": {"plica.diff"},  # git's own protocol for an external diff
    "commands/format.py": {"plica.emit", "plica.source", "plica.workspace"},  # reading and writing a text in place
    "commands/language_server.py": {"plica.editor"},  # which is a face itself
    # The editor works on documents that have mistakes, with each name's place: what lies below a compiled character.
    "editor/complete.py": {"plica.kinds", "plica.spec", "plica.syntax"},
    "editor/file_completion.py": {"plica.readers"},
    "editor/hovering.py": {"plica.kinds", "plica.quantities", "plica.rig", "plica.spec", "plica.syntax"},
    "editor/navigation.py": {"plica.source", "plica.spec", "plica.syntax"},
    "editor/node_search.py": {"plica.syntax"},
    "editor/outline.py": {"plica.syntax"},
    "editor/patterns.py": {"plica.syntax"},
    "editor/open_documents.py": {
        "plica.pipeline",
        "plica.rig",
        "plica.source",
        "plica.spec",
        "plica.syntax",
        "plica.workspace",
    },
    "editor/arguments.py": {"plica.syntax"},
    "editor/meanings.py": {"plica.spec", "plica.syntax"},
    "editor/passages.py": {"plica.regular_files", "plica.syntax"},
    "editor/lenses.py": {"plica.diff", "plica.rig", "plica.syntax"},
    "editor/library_users.py": {"plica.workspace"},
    "editor/proofs.py": {"plica.rig", "plica.syntax"},
    "editor/protocol.py": {"plica.source"},
    "editor/pygments_lexer.py": {"plica.syntax"},
    "editor/renaming.py": {"plica.source", "plica.spec"},
    "editor/textmate.py": {"plica.syntax"},
    "editor/unit_completion.py": {"plica.kinds", "plica.syntax", "plica.units"},
    "editor/variables.py": {"plica.source", "plica.syntax"},
    "editor/views.py": {"plica.source"},
    "editor/word_hover.py": {"plica.quantities", "plica.syntax", "plica.units"},
}


def imported_modules(path: Path) -> set[str]:
    """The modules of the package that a module imports, or imports names of, also inside functions."""
    result: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            result |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module == "plica":
            result |= {f"plica.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            result.add(node.module)
    return {name for name in result if name.startswith("plica.")}


def test_commands_and_the_editor_use_the_public_names() -> None:
    below: dict[str, set[str]] = {}
    for face in ("commands", "editor"):
        for path in sorted((ROOT / "compiler" / face).glob("*.py")):
            used = {".".join(name.split(".")[:2]) for name in imported_modules(path)} - {f"plica.{face}"}
            if more := used - set(OFFERED):
                below[f"{face}/{path.name}"] = more
    assert below == NOT_YET_OFFERED
