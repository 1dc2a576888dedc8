"""The target `python`: golden file, old interpreters, rest, and agreement with the evaluator and scipy."""

from __future__ import annotations

import ast
import json
import math
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from types import ModuleType
from typing import Any, Literal

import pytest
from hypothesis import HealthCheck, given, settings
from scipy.interpolate import CubicHermiteSpline
from scipy.spatial.transform import Rotation as Turn

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.output_set import manifest_bytes, manifest_of
from plica.evaluate import Evaluator, poses_from, rest_poses
from plica.evaluate.vectors import vectors
from plica.kinds.readings import Bend, ControlValue, Euler, Rotation, weight_control
from plica.rig.rig import Character, Rig
from plica.targets.python import TARGET, module_text
from plica.targets.python.source import STRENGTHS_PER_FUNCTION
from tests.support.cloth import SPEC
from tests.support.old_python import old_python
from tests.support.output_sets import built
from tests.support.rigs import random_rig
from tests.targets.golden_files import check_golden
from tests.targets.rigs import OVERSHOOT, SKELETON, TILTED, driver, joint, turn, whole_rig
from tests.targets.strategies import rigs

HERE = Path(__file__).resolve().parent
CHANNELS: tuple[Literal["x", "y", "z"], ...] = ("x", "y", "z")


def loaded(rig: Rig) -> ModuleType:
    """The generated module, executed."""
    module = ModuleType("generated")
    exec(compile(module_text(rig), "generated", "exec"), module.__dict__)
    return module


def strengths_in(module: ModuleType, joints: dict[str, Any], **controls: float) -> dict[str, float]:
    """The module's strengths in a pose given as in vectors.json."""
    result: dict[str, float] = module.strengths(module._PoseOf({"joints": joints, "controls": controls}))
    return result


def small_rig(*drivers: Any) -> Rig:
    """The test skeleton with these drivers."""
    return Rig(Character("wren", "", None, 0.0), SKELETON, strengths=drivers)


def test_golden_file() -> None:
    files = TARGET.emit(Build(whole_rig()), Diagnostics())
    assert sorted(files) == ["wren.vectors.json", "wren_rig.py"]
    check_golden({"wren_rig.py.txt": files["wren_rig.py"]}, HERE / "golden")


@pytest.mark.parametrize("make", [whole_rig, lambda: random_rig(11)], ids=["whole", "random"])
def test_the_module_agrees_with_the_evaluator(make: Callable[[], Rig]) -> None:
    rig = make()
    module, evaluator = loaded(rig), Evaluator(rig)
    for example in vectors(rig):
        joints = {
            name: {part: value for part, value in asdict(placed).items() if value is not None}
            for name, placed in example.pose.joints.items()
        }
        result = strengths_in(module, joints, **example.pose.controls)
        expected = evaluator.strengths(poses_from(rig, [example.pose]))[0]
        assert list(result) == list(evaluator.names)
        assert list(result.values()) == pytest.approx(list(expected), rel=0, abs=1e-12)


@given(rigs())
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_hostile_names_stay_names(rig: Rig) -> None:
    """Whatever names hold, the module is ASCII, of the same shape as with plain names, and works."""
    text = module_text(rig)
    assert text.isascii()
    tree = ast.parse(text, feature_version=(3, 7))
    functions = [node.name for node in tree.body if isinstance(node, ast.FunctionDef)]
    plain = ast.parse(module_text(_with_plain_names(rig)))
    assert functions == [node.name for node in plain.body if isinstance(node, ast.FunctionDef)]
    assert [type(node) for node in ast.walk(tree)] == [type(node) for node in ast.walk(plain)]
    module = loaded(rig)
    assert rig.character.name == module.CHARACTER
    result = strengths_in(module, {})
    expected = Evaluator(rig).strengths(rest_poses(rig))[0]
    assert list(result) == [strength.name for strength in rig.strengths]
    assert list(result.values()) == pytest.approx(list(expected), rel=1e-9, abs=1e-9)


# The fields of the Rig whose texts are free; all others hold words of the format.
FREE = frozenset(
    {
        *(
            "name",
            "title",
            "declared",
            "joint",
            "relative_to",
            "parent",
            "other",
            "control",
            "morph",
            "strength",
            "field",
            "sample",
        ),
        *("follows", "within", "area", "joints", "detail", "file", "relaxed", "contracted", "notes", "caption"),
        "renamed_from",
    }
)


def _with_plain_names(rig: Rig) -> Rig:
    """The rig with every free text replaced, alike texts alike."""
    known: dict[str, str] = {}

    def renamed(value: Any, field: str = "") -> Any:
        if isinstance(value, str):
            return known.setdefault(value, f"name_{len(known)}") if field in FREE else value
        if hasattr(value, "_fields"):
            return type(value)(*(renamed(getattr(value, name), name) for name in value._fields))
        if isinstance(value, tuple):
            return tuple(renamed(item, field) for item in value)
        return value

    plain: Rig = renamed(rig)
    # What holds the weight of a morph target is called after it.
    held = (one if one.morph is None else one._replace(name=weight_control(one.morph)) for one in plain.controls)
    return plain._replace(controls=tuple(held))


def test_every_reading_is_exactly_zero_at_rest() -> None:
    """Through open drivers with the span 0..1 a strength is its reading."""
    readings = {strength.reading for strength in whole_rig().strengths if strength.kind == "driver"}
    ordered = sorted(readings, key=repr)
    drivers = [driver(f"d{place}", reading, clamped=False) for place, reading in enumerate(ordered)]
    rig = small_rig(*drivers)._replace(controls=whole_rig().controls)
    assert set(strengths_in(loaded(rig), {}).values()) == {0.0}
    negated = {entry.name: {"rotation": [-part for part in entry.neutral.rotation]} for entry in SKELETON}
    turning = [place for place, reading in enumerate(ordered) if isinstance(reading, Rotation | Bend | Euler)]
    result = strengths_in(loaded(rig), negated)
    assert {result[f"d{place}"] for place in turning} == {0.0}


def test_euler_channels_are_those_of_scipy() -> None:
    """scipy.spatial.transform.Rotation.as_euler, lower case: turns about fixed axes, first letter first."""
    orders: tuple[Any, ...] = ("xyz", "yzx", "zxy", "xzy", "yxz", "zyx")
    drivers = [
        driver(f"{order}{channel}", Euler("root", order, channel, (0.0, 0.0, 0.0, 1.0)), clamped=False)
        for order in orders
        for channel in CHANNELS
    ]
    module = loaded(small_rig(*drivers))
    for angles in ((10, 20, 30), (-100, 75, 160), (45, -80, -170)):
        since = Turn.from_euler("xyz", angles, degrees=True)
        pose = (Turn.from_quat(TILTED) * since).as_quat().tolist()
        result = strengths_in(module, {"root": {"rotation": pose}})
        for order in orders:
            expected = since.as_euler(order)
            assert [result[order + channel] for channel in order] == pytest.approx(expected, abs=1e-12)


def test_curves_are_those_of_scipy() -> None:
    """scipy.interpolate.CubicHermiteSpline through the same knots and slopes."""
    rig = small_rig(driver("soft", ControlValue("share"), (0.0, 1.0), OVERSHOOT))._replace(
        controls=tuple(control for control in whole_rig().controls if control.name == "share"),
    )
    module = loaded(rig)
    x, y, slope = zip(*OVERSHOOT.knots, strict=True)
    spline = CubicHermiteSpline(x, y, slope)
    for step in range(101):
        result = strengths_in(module, {}, share=step / 100)["soft"]
        assert result == pytest.approx(min(max(float(spline(step / 100)), 0.0), 1.0), abs=1e-14)


def test_twist_past_half_a_turn_of_swing_is_zero_and_never_fails() -> None:
    module = loaded(small_rig(driver("twist", Rotation("back", (1.0, 0.0, 0.0)), clamped=False)))
    for rotation, expected in (
        ((0.0, 1.0, 0.0, 0.0), 0.0),
        ((1.0, 0.0, 0.0, 0.0), 3.141592653589793),
        ((-1.0, 0.0, 0.0, -0.0), 3.141592653589793),
        ((0.0, 0.0, 0.0, 0.0), 0.0),
        ((1e-320, 1.0, 0.0, 1e-320), 1.5707963267948966),
    ):
        assert strengths_in(module, {"back": {"rotation": rotation}})["twist"] == pytest.approx(expected)


def test_apply_hands_everything_to_the_host() -> None:
    module = loaded(whole_rig())
    given_back: list[tuple[str, str, float]] = []
    reads: list[str] = []

    class Host(module._PoseOf):  # type: ignore[name-defined, misc]
        def local_transform(self, name: str) -> Any:
            reads.append(name)
            return super().local_transform(name)

        def set_strength(self, kind: str, name: str, value: float) -> None:
            given_back.append((kind, name, value))

    bent = {"left_upperarm": {"rotation": turn((0.0, 0.0, 1.0), 90)}}
    result = module.apply(Host({"joints": bent, "controls": {"mood": 0.5}}))
    assert reads == list(module.JOINTS)
    assert given_back == [
        *(("strength", name, value) for name, value in result.items()),
        ("shape", "swell", result["bent"]),
        ("shape", "grin", result["smile"]),
        ("fold", "muzzle_lines", result["lift"]),
    ]
    assert 0 < result["bent"] <= 1


@pytest.mark.parametrize(
    ("weight", "expected"),
    [
        (0.0, [(0.5, 0.0), (1.0, 0.0)]),
        (0.25, [(0.5, 0.5), (1.0, 0.0)]),
        (0.5, [(0.5, 1.0), (1.0, 0.0)]),
        (0.75, [(0.5, 0.5), (1.0, 0.5)]),
        (1.0, [(0.5, 0.0), (1.0, 1.0)]),
        (1.5, [(0.5, -1.0), (1.0, 2.0)]),
        (-0.5, [(0.5, -1.0), (1.0, 0.0)]),
    ],
)
def test_inbetweens_follow_usdskel(weight: float, expected: list[tuple[float, float]]) -> None:
    """UsdSkel's rule (OpenUSD 24.08): P + b_lower (1 - u) + b_upper u, not clamped; values worked out by hand."""
    assert loaded(whole_rig()).inbetween_weights("swell", weight) == expected


def test_thousands_of_drivers_are_written_as_several_functions() -> None:
    joints = tuple(joint(f"j{place}") for place in range(90))
    drivers = tuple(
        driver(f"d{place}", Rotation(f"j{place % 90}", (1.0, 0.0, 0.0)), (0.0, 1.0 + place)) for place in range(2700)
    )
    rig = small_rig(*drivers)._replace(skeleton=joints)
    functions = [
        node
        for node in ast.parse(module_text(rig)).body
        if isinstance(node, ast.FunctionDef) and node.name.startswith("_part_")
    ]
    assert len(functions) > 10
    assert all(len(function.body) < 4 * STRENGTHS_PER_FUNCTION for function in functions)
    result = strengths_in(loaded(rig), {"j3": {"rotation": turn((1.0, 0.0, 0.0), 90)}})
    assert [name for name, value in result.items() if value] == [f"d{3 + 90 * step}" for step in range(30)]


def test_a_rig_without_strengths_is_a_module_too() -> None:
    module = loaded(small_rig())
    assert strengths_in(module, {}) == {}
    assert module.JOINTS == ()


def run_self_test(python: str, folder: Path) -> tuple[int, str]:
    """Exit status and output of the module's own check, without site packages."""
    command = [python, "-I", "-S", str(folder / "wren_rig.py"), "--self-test"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=600, check=False)
    return done.returncode, done.stdout + done.stderr


@pytest.mark.parametrize("python", [lambda: sys.executable, old_python], ids=["this Python", "Python 3.7"])
def test_the_self_test_passes_and_notices(python: Callable[[], str], tmp_path: Path) -> None:
    files = TARGET.emit(Build(whole_rig()), Diagnostics())
    for name, content in files.items():
        (tmp_path / name).write_bytes(content)
    assert run_self_test(python(), tmp_path) == (0, "ok\n")
    text = files["wren.vectors.json"].decode("utf-8")
    (tmp_path / "wren.vectors.json").write_text(text.replace('"twist": 0.0', '"twist": 0.25'), encoding="utf-8")
    status, output = run_self_test(python(), tmp_path)
    assert (status, output) == (1, "mismatch: pose 1: strength 'twist' is 0.0, expected 0.25\n")


def test_source_is_the_same_under_every_hash_seed() -> None:
    code = (
        "import sys; sys.path.insert(0, '.')\n"
        "from tests.targets.rigs import whole_rig\n"
        "from plica.targets.python import module_text\n"
        "print(module_text(whole_rig()), end='')"
    )
    texts = set()
    for seed in ("0", "1", "77"):
        environment = {**os.environ, "PYTHONHASHSEED": seed}
        done = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, cwd=HERE.parents[2], env=environment, check=True
        )
        texts.add(done.stdout)
    assert texts == {module_text(whole_rig()).encode("ascii")}


def test_combinations_are_there_by_name() -> None:
    """Worked out from the strengths that they name, they are what the module computes."""
    module = loaded(whole_rig())
    found = module.strengths(module._PoseOf({"joints": {}, "controls": {"mood": 0.4, "share": 0.7}}))
    ways: dict[str, Any] = {
        "product": math.prod,
        "least": min,
        "greatest": max,
        "sum": lambda parts: min(sum(parts), 1),
    }

    def value(part: Any) -> float:
        return float(found[part] if isinstance(part, str) else ways[part[0]]([value(one) for one in part[1]]))

    assert list(module.COMBINATIONS) == [one.name for one in whole_rig().strengths if one.kind == "combine"]
    assert any(isinstance(part, tuple) for _, parts in module.COMBINATIONS.values() for part in parts)
    for name, combination in module.COMBINATIONS.items():
        assert value(combination) == pytest.approx(found[name], abs=1e-12), name


def test_the_module_names_its_offsets_and_whose_vertices_they_are(tmp_path: Path) -> None:
    """As the rig in JSON does; without a mesh it says that there are none. A missing offsets file is told."""
    made = built(tmp_path, SPEC, ("json", "python"))
    module = ModuleType("cloth_rig")
    exec(made.files["cloth_rig.py"], module.__dict__)
    offsets = json.loads(made.files["cloth.rig.json"])["offsets"]
    assert (offsets["file"], offsets["fingerprint"]) == (module.OFFSETS, module.FINGERPRINT)
    assert json.loads(json.dumps(module.PARTS)) == offsets["parts"]
    alone = built(tmp_path, SPEC, ("python",))
    assert sorted(alone.files) == ["cloth.offsets.npz", "cloth.vectors.json", "cloth_install.py", "cloth_rig.py"]
    assert all(content == made.files[path] for path, content in alone.files.items())
    bare = loaded(whole_rig())
    assert (bare.OFFSETS, bare.FINGERPRINT, bare.PARTS) == (None, None, ())
    folder = tmp_path / "out"
    folder.mkdir()
    files = {**alone.files, alone.manifest_file: manifest_bytes(manifest_of(alone))}
    for path, content in files.items():
        if not path.endswith(".npz"):
            (folder / path).write_bytes(content)
    assert module.check_set(str(folder)) == "'cloth.offsets.npz' is missing"
    (folder / "cloth.offsets.npz").write_bytes(alone.files["cloth.offsets.npz"])
    assert module.check_set(str(folder)) is None
