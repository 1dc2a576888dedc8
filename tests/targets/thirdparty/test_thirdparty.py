"""A real package with a target of its own, installed into a folder of its own, is found and works."""

from __future__ import annotations

import shutil
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

import pytest

from plica.diagnostics import Diagnostics
from plica.emit.artifacts import Request, build_targets
from plica.emit.build import Build
from plica.emit.registry import entries
from plica.rig.rig import Rig
from tests.targets.rigs import whole_rig

PACKAGE = Path(__file__).resolve().parent / "package"


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that setuptools puts the package and its metadata into, as an installer would, without a network."""
    if find_spec("setuptools") is None:
        pytest.skip("setuptools is needed to install the test package")
    base = tmp_path_factory.mktemp("thirdparty")
    shutil.copytree(PACKAGE, base / "source")
    (base / "site").mkdir()
    steps = ["egg_info", "--egg-base", str(base / "site"), "build_py", "--build-lib", str(base / "site")]
    command = [sys.executable, "-c", "import setuptools; setuptools.setup()", "--quiet", *steps]
    done = subprocess.run(command, cwd=base / "source", capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return base / "site"


def twists() -> Rig:
    """The first two drivers of the whole rig: twists over a line and a cubic."""
    return whole_rig()._replace(fields=(), strengths=whole_rig().strengths[:2], shapes=(), folds=())


def build(rig: Rig, installed: Path, request: Request) -> tuple[dict[str, bytes], Diagnostics]:
    diagnostics = Diagnostics()
    made = build_targets(Build(rig), (request,), diagnostics, registered=entries([str(installed), *sys.path]))
    return dict(made.files), diagnostics


def test_it_is_found_through_its_entry_point(installed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(installed))
    assert {"json", "namelist", "python"} <= set(entries())
    request = Request("namelist", {"ending": [".list"]})
    files, result = build(twists(), installed, request)
    assert result.all == ()
    assert files == {"names.list": b"twist\ntwist_back\n"}


def test_what_it_cannot_express_is_refused(installed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(installed))
    files, result = build(whole_rig(), installed, Request("namelist"))
    assert files == {}
    assert {each.name for each in result.all} == {"inexpressible"}


def test_its_broken_sister_spoils_nothing(installed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(installed))
    files, result = build(twists(), installed, Request("namelist-broken"))
    assert files == {}
    assert [each.name for each in result.all] == ["broken-target"]
    assert "a library of this studio is not installed here" in result.all[0].message
    assert list(build(twists(), installed, Request("namelist"))[0]) == ["names.txt"]
