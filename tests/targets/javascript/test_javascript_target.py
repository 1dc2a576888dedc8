"""The target `javascript`: golden file, and agreement with the evaluator in node and in a browser."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, given, settings

from plica.diagnostics import Diagnostics
from plica.emit.artifacts import Request, build_targets
from plica.emit.build import Build
from plica.evaluate import Evaluator, poses_from
from plica.evaluate.vectors import vectors
from plica.rig.rig import Rig
from plica.targets.javascript import TARGET, module_text
from plica.targets.python import TARGET as PYTHON
from tests.support.node import answer
from tests.support.rigs import random_rig
from tests.targets.golden_files import check_golden
from tests.targets.rigs import whole_rig
from tests.targets.strategies import rigs

if TYPE_CHECKING:
    from playwright.sync_api import Browser

HERE = Path(__file__).resolve().parent
# The vectors are rounded to 12 digits after the point.
ROUNDED = 5.001e-13


def written(rig: Rig, folder: Path) -> tuple[Path, Path]:
    """The module of a rig and its vectors, as files."""
    for name, content in TARGET.emit(Build(rig), Diagnostics()).items():
        (folder / name).write_bytes(content)
    return next(folder.glob("*_rig.mjs")), next(folder.glob("*.vectors.json"))


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    return written(whole_rig(), tmp_path_factory.mktemp("whole"))


@pytest.fixture(scope="module")
def answered(whole: tuple[Path, Path]) -> dict[str, Any]:
    """What node says of the module that holds everything."""
    found = answer("strengths.mjs", *whole)
    assert isinstance(found, dict)
    return found


def agrees(rig: Rig, found: list[list[tuple[str, float]]]) -> None:
    """Strengths by name in each example pose are the evaluator's, to 1e-12."""
    evaluator, examples = Evaluator(rig), list(vectors(rig))
    assert len(found) == len(examples)
    for strengths, example in zip(found, examples, strict=True):
        assert [name for name, _ in strengths] == list(evaluator.names)
        expected = evaluator.strengths(poses_from(rig, [example.pose]))[0]
        assert [value for _, value in strengths] == pytest.approx(list(expected), rel=0, abs=1e-12)


def test_golden_file() -> None:
    files = TARGET.emit(Build(whole_rig()), Diagnostics())
    assert sorted(files) == ["wren.vectors.json", "wren_rig.mjs"]
    check_golden({"wren_rig.mjs.txt": files["wren_rig.mjs"]}, HERE / "golden")


def test_it_can_do_what_the_python_module_can() -> None:
    assert TARGET.supports == PYTHON.supports


def test_the_module_agrees_with_the_evaluator_in_node(answered: dict[str, Any]) -> None:
    assert answered["verdict"] is None
    agrees(whole_rig(), answered["strengths"])


def test_a_random_rig_agrees_with_the_evaluator_in_node(tmp_path: Path) -> None:
    """Readings as other joints see them, flips and scales among them."""
    rig = random_rig(11)
    found = answer("strengths.mjs", *written(rig, tmp_path))
    assert isinstance(found, dict) and found["verdict"] is None
    agrees(rig, found["strengths"])


def test_apply_hands_everything_to_the_host(answered: dict[str, Any]) -> None:
    assert answered["reads"] == answered["joints"]
    last = dict(answered["strengths"][-1])
    assert answered["handed"] == [
        *(["strength", name, value] for name, value in last.items()),
        ["shape", "swell", last["bent"]],
        ["shape", "grin", last["smile"]],
        ["fold", "muzzle_lines", last["lift"]],
    ]


def test_tables_are_those_of_the_python_module(answered: dict[str, Any]) -> None:
    module: dict[str, Any] = {"__name__": "generated"}
    exec(PYTHON.emit(Build(whole_rig()), Diagnostics())["wren_rig.py"], module)
    for name, entries in answered["tables"].items():
        assert dict(entries) == json.loads(json.dumps(module[name]))


def test_inbetweens_follow_usdskel(answered: dict[str, Any]) -> None:
    """UsdSkel's rule (OpenUSD 24.08): P + b_lower (1 - u) + b_upper u, not clamped; values worked out by hand."""
    assert answered["inbetweens"] == [
        [[0.5, first], [1, second]]
        for first, second in ((0, 0), (0.5, 0), (1, 0), (0.5, 0.5), (0, 1), (-1, 2), (-1, 0))
    ]


@given(rigs())
@settings(max_examples=3, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_hostile_names_stay_names(rig: Rig) -> None:
    """Whatever names hold, the module is ASCII, ends no element of a page, and gives each strength by its name."""
    text = module_text(rig)
    assert text.isascii() and "</" not in text and "<!" not in text
    command = (
        'const rig = await import("data:text/javascript;base64," + process.env.MODULE);'
        "const found = rig.strengths(rig.hostOf({ joints: {}, controls: {} }));"
        "console.log(JSON.stringify([rig.CHARACTER, [...found.keys()]]))"
    )
    found = json.loads(in_node(command, text))
    assert found == [rig.character.name, [strength.name for strength in rig.strengths]]


def in_node(command: str, module: str) -> str:
    """What a module of one line prints; `module` is in the environment, as base64."""
    from base64 import b64encode

    node = shutil.which("node")
    if node is None:
        pytest.skip("node is not installed")
    environment = {"MODULE": b64encode(module.encode()).decode()}
    done = subprocess.run(
        [node, "--input-type=module", "-e", command], capture_output=True, text=True, check=False, env=environment
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def self_test(module: Path) -> tuple[int, str]:
    """Exit status and output of the module's own check."""
    node = shutil.which("node")
    if node is None:
        pytest.skip("node is not installed")
    done = subprocess.run([node, module, "--self-test"], capture_output=True, text=True, check=False)
    return done.returncode, done.stdout + done.stderr


def test_the_self_test_passes_and_notices(tmp_path: Path) -> None:
    module, proof = written(whole_rig(), tmp_path)
    assert self_test(module) == (0, "ok\n")
    proof.write_text(proof.read_text().replace('"twist": 0.0', '"twist": 0.25'))
    assert self_test(module) == (1, 'mismatch: pose 1: strength "twist" is 0, expected 0.25\n')


def test_the_self_test_looks_at_the_set(tmp_path: Path) -> None:
    """With a manifest beside it the files have to be those of its build."""
    from plica.emit.publish import publish

    diagnostics = Diagnostics()
    built = build_targets(Build(whole_rig()), [Request("javascript")], diagnostics)
    publish(built, tmp_path, diagnostics)
    module = tmp_path / "wren_rig.mjs"
    assert self_test(module) == (0, "ok\n")
    manifest = tmp_path / "wren.manifest.json"
    kept = manifest.read_text()
    vectors_file = tmp_path / "wren.vectors.json"
    vectors_file.write_text(vectors_file.read_text() + "\n")
    status, output = self_test(module)
    assert status == 1 and 'mismatch: "wren.vectors.json" is not the file that the build' in output
    vectors_file.unlink()
    assert self_test(module) == (1, 'mismatch: "wren.vectors.json" is missing\n')
    manifest.write_text("{}")
    assert self_test(module) == (1, "mismatch: wren.manifest.json is no manifest that can be read\n")
    manifest.write_text(kept.replace('"wren.vectors.json"', '"../wren.vectors.json"'))
    status, output = self_test(module)
    assert status == 1 and 'in wren.manifest.json "wren.vectors.json" is of the build undefined' in output


def test_the_module_agrees_with_the_evaluator_in_a_browser(browser: Browser, whole: tuple[Path, Path]) -> None:
    module, proof = whole
    script = f"{module.read_text()}\nglobalThis.rig = {{ selfTest, strengths, hostOf }};"
    tab = browser.new_page()
    problems: list[str] = []
    tab.on("pageerror", lambda error: problems.append(str(error)))
    tab.set_content(f'<!doctype html><script type="module">{script}</script>')
    tab.wait_for_function("globalThis.rig")
    found = tab.evaluate(
        "(proof) => [rig.selfTest(proof), proof.vectors.map(({ pose }) => [...rig.strengths(rig.hostOf(pose))])]",
        json.loads(proof.read_text()),
    )
    tab.close()
    assert problems == [] and found[0] is None
    agrees(whole_rig(), found[1])
