"""What `pip install .` brings."""

from __future__ import annotations

import subprocess
import sys
import tomllib
import zipfile
from importlib.resources import files
from pathlib import Path

import pytest

from tests.support.data import ROOT

DATA = {
    "plica/py.typed",
    "plica/diagnostics/catalogue.toml",
    "plica/grammar/plica.lark",
    "plica/grammar/plica.tables.json",
    "plica/grammar/reference.md",
    "plica/specs/wren.plica",
    "plica/specs/library/hand.plica",
    "plica/specs/wren/data/wren.glb",
    "plica/specs/wren/data/clips/rounds.glb",
    "plica/specs/wren/data/sculpts/elbow_crease.npz",
    "plica/targets/json/rig.schema.json",
    "plica/targets/json/vectors.schema.json",
    "plica/targets/python/module.py.jinja",
}


def folders_with_modules() -> set[str]:
    """Every folder of the repository that is a package of the distribution, by the name it installs as."""
    result = set()
    for top, name in (("compiler", ""), ("grammar", ".grammar"), ("specs", ".specs"), ("targets", ".targets")):
        for init in (ROOT / top).rglob("__init__.py"):
            inside = ".".join(init.parent.relative_to(ROOT / top).parts)
            result.add("plica" + name + (f".{inside}" if inside else ""))
    return result


def test_every_package_is_listed() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    assert set(project["tool"]["setuptools"]["packages"]) == folders_with_modules()


def test_data_files_are_found_through_importlib() -> None:
    for name in DATA:
        package, _, rest = name.partition("/")
        assert files(package).joinpath(*rest.split("/")).is_file() or _in_subpackage(name), name


def _in_subpackage(name: str) -> bool:
    """Editable installs map sub-packages to folders elsewhere; ask the sub-package itself."""
    *packages, file = name.split("/")
    return files(".".join(packages)).joinpath(file).is_file()


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from a copy of the checkout, so that the build leaves nothing behind."""
    folder = tmp_path_factory.mktemp("wheel")
    tree = folder / "tree"
    tree.mkdir()
    for name in ("README.md", "LICENSE", "pyproject.toml", "compiler", "grammar", "targets", "specs"):
        (tree / name).symlink_to(ROOT / name)
    command = [sys.executable, "-m", "pip", "wheel", "--no-deps", "--quiet", "--wheel-dir", str(folder), str(tree)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0 and ("Could not find a version" in done.stderr or "Connection" in done.stderr):
        pytest.skip("a wheel cannot be built without a package registry: " + done.stderr[-200:])
    assert done.returncode == 0, done.stderr
    return next(folder.glob("plica-*.whl"))


def test_the_wheel_holds_the_package_and_nothing_else(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    assert DATA - names == set()
    modules = {str(path.relative_to(ROOT / "compiler")) for path in (ROOT / "compiler").rglob("*.py")}
    assert {f"plica/{name}" for name in modules} - names == set()
    assert {name for name in names if not name.startswith("plica")} == set()
    wren = {f"plica/{path.relative_to(ROOT)}" for path in (ROOT / "specs/wren/data").rglob("*") if path.is_file()}
    assert wren - names == set()
    assert {name for name in names if name.endswith((".glb", ".npz", ".png"))} <= wren
    assert {name for name in names if name.endswith(".pyc") or "tests" in name.split("/")} == set()


def test_the_wheel_is_not_large(wheel: Path) -> None:
    assert wheel.stat().st_size < 4_000_000


def test_the_wheel_alone_checks_a_spec(wheel: Path, tmp_path: Path) -> None:
    """Unpacked next to nothing else of the repository, and run with other libraries from this environment."""
    zipfile.ZipFile(wheel).extractall(tmp_path / "site")
    spec = tmp_path / "stick.plica"
    spec.write_text(
        "plica 1\ncharacter stick { skeleton { joint hips at 0 m, 1 m, 0 m } }\n"
        "driver lean { reads bend of hips span 0 deg .. 30 deg }\n",
        "utf-8",
    )
    code = "import sys; sys.path.insert(0, sys.argv.pop(1)); from plica.commands.main import run; sys.exit(run())"
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "site"), "check", str(spec)],
        capture_output=True, text=True, check=False, cwd=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert "1 strength" in done.stdout
