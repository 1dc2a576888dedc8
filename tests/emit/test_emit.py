"""Targets: found by name, given options, held to what they can express, emitted together."""

from __future__ import annotations

import ast
import json
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib.metadata import EntryPoint
from pathlib import Path
from typing import Any, ClassVar, NamedTuple

import pytest

from plica.diagnostics import Diagnostics, Severity
from plica.emit.artifacts import DEFAULT_REQUESTS, Request, build_targets
from plica.emit.build import Build
from plica.emit.features import ALL_FEATURES, check_features, feature_table, target_table, used_features
from plica.emit.output_file_names import safe_file_name
from plica.emit.registry import GROUP, entries, load
from plica.emit.target import OptionHelp, Target, option
from plica.rig.rig import Character, Rig, unbuilt
from plica.rig.rig_json import read_rig
from plica.rig.strengths import Combination, Combine, Driver, Field
from plica.source import Source, Span
from tests.targets.rigs import whole_rig

ROOT = Path(__file__).resolve().parents[2]
SOURCE = Source("wren.plica", "driver near { }\n")


@dataclass(frozen=True)
class PlainTarget(Target):
    """A target that knows no gaps."""

    name: ClassVar[str] = "plain"
    description: ClassVar[str] = "for these tests"
    supports: ClassVar[frozenset[str]] = ALL_FEATURES - {"reading gap"}

    title: str = option("rig", "the first word")
    size: float = option(1.5, "how large")
    loud: bool = option(False, "in capitals")
    extra_words: tuple[str, ...] = option((), "more words")

    def emit(self, build: Build, diagnostics: Diagnostics) -> dict[str, bytes]:
        text = " ".join((self.title, str(self.size), *self.extra_words))
        return {"plain.txt": (text.upper() if self.loud else text).encode()}


class FailingTarget(PlainTarget):
    """A target with a mistake of its own."""

    def emit(self, build: Build, diagnostics: Diagnostics) -> dict[str, bytes]:
        raise ZeroDivisionError("no bones")


PLAIN, FAILING, NO_TARGET = PlainTarget(), FailingTarget(), "not a target"
HERE = f"{__name__}"


def registered(**values: str) -> dict[str, EntryPoint]:
    return {name: EntryPoint(name, value, GROUP) for name, value in values.items()}


class Loaded(EntryPoint):
    """An entry point of this very file, which pytest imports under a name that cannot be imported again."""

    def load(self) -> object:
        return globals()[self.value]


def local(*values: str) -> dict[str, EntryPoint]:
    return {value.lower(): Loaded(value.lower(), value, GROUP) for value in values}


def build(
    requests: tuple[Request, ...], points: Mapping[str, EntryPoint] | None = None, allow: bool = False
) -> tuple[dict[str, bytes], list[tuple[str, str]]]:
    diagnostics = Diagnostics()
    origins = {("driver", name): Span(SOURCE, 7, 11) for name in ("near", "far", "level")}
    files = build_targets(Build(whole_rig(), origins), requests, diagnostics, allow, points).files
    return dict(files), [(each.name, str(each.severity)) for each in diagnostics.all]


def test_the_default_targets_agree_on_the_vectors() -> None:
    files, result = build(DEFAULT_REQUESTS)
    assert result == []
    assert list(files) == ["wren.rig.json", "wren.vectors.json", "wren_rig.py"]
    assert files == build(DEFAULT_REQUESTS[::-1])[0]


def test_our_targets_are_registered_and_load() -> None:
    known = entries()
    assert {"json", "python", "template"} <= set(known)
    diagnostics = Diagnostics()
    for name in ("json", "python", "template"):
        target = load(name, diagnostics)
        assert target is not None
        assert target.name == name
        assert target.supports <= ALL_FEATURES
    assert diagnostics.all == ()


@pytest.mark.parametrize(
    ("name", "hint"),
    [
        ("jsn", "did you mean `json`?"),
        ("Python", "did you mean `python`?"),
        (
            "qqq",
            "the targets here are `gltf`, `javascript`, `json`, `masks`, `materialx`, `python`, `table`, `template`, "
            "`usd`",
        ),
    ],
)
def test_an_unknown_target_gets_a_suggestion(name: str, hint: str) -> None:
    diagnostics = Diagnostics()
    ours = {key: point for key, point in entries().items() if point.value.startswith("plica.")}
    assert load(name, diagnostics, ours) is None
    assert [(each.code, each.hint) for each in diagnostics.all] == [("PL600", hint)]


@pytest.mark.parametrize(
    ("point", "problem"),
    [
        (registered(bad="no_such_package_here:TARGET"), "ModuleNotFoundError: No module named"),
        (registered(bad="plica.targets.json:MISSING"), "AttributeError: "),
        (registered(bad="json:loads"), "it registers function, not an instance of"),
        (registered(bad="???"), "it registers no object"),
    ],
)
def test_a_broken_target_is_a_diagnostic(point: dict[str, EntryPoint], problem: str) -> None:
    diagnostics = Diagnostics()
    assert load("bad", diagnostics, point) is None
    assert [each.name for each in diagnostics.all] == ["broken-target"]
    if not problem.endswith("object"):
        assert problem in diagnostics.all[0].message


def test_a_target_that_fails_is_a_diagnostic_and_nothing_is_emitted() -> None:
    assert build((Request("json"), Request("failing")), {**entries(), **local("FAILING")}) == (
        {},
        [("broken-target", "error"), *[("inexpressible", "error")] * 3],
    )


def test_what_a_target_cannot_express_is_an_error_at_its_place_unless_allowed() -> None:
    files, result = build((Request("plain"),), local("PLAIN"))
    assert (files, result) == ({}, [("inexpressible", "error")] * 3)
    files, result = build((Request("plain"),), local("PLAIN"), allow=True)
    assert (files, result) == ({"plain.txt": b"rig 1.5"}, [("inexpressible-allowed", "warning")] * 3)


def test_the_message_names_target_feature_and_place() -> None:
    diagnostics = Diagnostics()
    origins = {("driver", "near"): Span(SOURCE, 7, 11)}
    build_targets(Build(whole_rig(), origins), (Request("plain"),), diagnostics, registered=local("PLAIN"))
    message = "the target `plain` cannot express the reading gap of the driver `near`"
    assert [each.span.place for each in diagnostics.all if each.message == message and each.span] == ["wren.plica:1:8"]


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        ({}, b"rig 1.5"),
        ({"title": ["otter"], "loud": ["yes"]}, b"OTTER 1.5"),
        ({"size": ["2"], "extra-words": ["a", "b"], "loud": ["No"]}, b"rig 2.0 a b"),
        ({"tite": ["x"]}, "the target `plain` has no option `tite`"),
        ({"size": ["big"]}, "the option `size` of the target `plain` does not take this: it must be a number"),
        ({"loud": ["very"]}, "the option `loud` of the target `plain` does not take this: it must be yes or no"),
        ({"title": ["a", "b"]}, "the option `title` of the target `plain` does not take this: it must be given once"),
    ],
)
def test_options_are_set_from_text(options: dict[str, list[str]], expected: bytes | str) -> None:
    diagnostics = Diagnostics()
    files = build_targets(
        Build(whole_rig()), (Request("plain", options),), diagnostics, True, registered=local("PLAIN")
    ).files
    if isinstance(expected, bytes):
        assert files == {"plain.txt": expected}
    else:
        assert files == {}
        assert [each.message for each in diagnostics.all] == [expected]


def test_options_describe_themselves() -> None:
    assert PlainTarget.options() == (
        OptionHelp("title", "the first word", "rig"),
        OptionHelp("size", "how large", "1.5"),
        OptionHelp("loud", "in capitals", "no"),
        OptionHelp("extra-words", "more words", ""),
    )


def test_two_targets_may_not_emit_different_bytes_for_one_file() -> None:
    requests = (Request("plain"), Request("plain", {"title": ["other"]}))
    files, result = build(requests, local("PLAIN"), allow=True)
    assert files == {}
    assert ("targets-disagree", "error") in result


def test_offsets_for_another_skin_than_a_linear_one_are_a_feature() -> None:
    rig = whole_rig()
    linear = rig._replace(character=rig.character._replace(skinning="linear"))
    bare = rig._replace(shapes=tuple(shape._replace(source=None) for shape in rig.shapes))
    assert used_features(rig)["skinning dual quaternion"] == [("character", "wren")]
    assert "skinning dual quaternion" not in used_features(linear)
    assert "skinning dual quaternion" not in used_features(bare), "nothing was sculpted on its skin"
    ours = Build(rig)
    for allowed, severity in ((False, Severity.ERROR), (True, Severity.WARNING)):
        diagnostics = Diagnostics()
        check_features(ours, _LinearOnly(), diagnostics, allowed)
        (found,) = diagnostics.all
        assert found.severity is severity and "skinning dual quaternion" in found.message


@dataclass(frozen=True)
class _LinearOnly(Target):
    """A target whose form knows no other skin than a linear one."""

    name: ClassVar[str] = "linear_only"
    description: ClassVar[str] = "for the test"
    supports: ClassVar[frozenset[str]] = ALL_FEATURES - {"skinning dual quaternion"}

    def emit(self, build: Build, diagnostics: Diagnostics) -> dict[str, bytes]:
        return {}


def test_the_whole_rig_uses_every_feature() -> None:
    assert set(used_features(whole_rig())) == ALL_FEATURES


class MadeUp(NamedTuple):
    """A kind of reading and of curve that no target has ever met."""

    joint: str = "back"
    kind: str = "made up"


OURS = sorted(name for name, point in entries().items() if point.value.startswith("plica."))


@pytest.mark.parametrize("target", OURS)
def test_a_kind_that_a_target_does_not_list_is_refused(target: str) -> None:
    kind: Any = MadeUp()
    driver = Driver("turned", "none", "turned", kind, (0.0, 1.0), True, kind)
    combine = Combine("joined", "none", "joined", Combination(kind.kind, ()))
    field = Field("looks", "none", "looks", "back", kind.kind, None, kind.kind, None, (), (), ())
    rig = Rig(Character("wren", "Wren", None, 0.0), (), fields=(field,), strengths=(driver, combine))
    diagnostics = Diagnostics()
    loaded = load(target, diagnostics)
    assert loaded is not None
    check_features(Build(rig), loaded, diagnostics, allow_inexpressible=False)
    assert [(each.name, str(each.severity)) for each in diagnostics.all] == [("inexpressible", "error")] * 5
    refused = sorted(each.message.split(" cannot express the ")[1] for each in diagnostics.all)
    assert refused == [
        "combine made up of the combine `joined`",
        "curve made up of the driver `turned`",
        "field made up of the field `looks`",
        "kernel made up of the field `looks`",
        "reading made up of the driver `turned`",
    ]


def test_every_target_lists_its_features_one_by_one() -> None:
    """What a target can do stands in its own file; nothing that Plica learns later is claimed by itself."""
    for name in OURS:
        tree = ast.parse((ROOT / "targets" / name / "__init__.py").read_text("utf-8"))
        stated = next(
            node.value
            for node in ast.walk(tree)
            if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name) and node.target.id == "supports"
        )
        assert stated is not None
        listed = {node.value for node in ast.walk(stated) if isinstance(node, ast.Constant)}
        target = load(name, Diagnostics())
        assert target is not None
        assert listed == target.supports <= ALL_FEATURES


def own_targets() -> list[Target]:
    """Every target that comes with Plica."""
    diagnostics = Diagnostics()
    own = [name for name, entry in entries().items() if entry.value.startswith("plica.targets.")]
    targets = [target for name in own if (target := load(name, diagnostics)) is not None]
    assert len(targets) == len(own) >= 8
    return targets


@pytest.mark.parametrize("table", [target_table, feature_table])
def test_the_tables_of_targets_are_made_of_what_they_declare(table: Callable[[list[Target]], str]) -> None:
    """Between marks in the page; `PLICA_GOLDEN=write python -m pytest tests/emit` writes them anew."""
    path = ROOT / "targets" / "README.md"
    page, name = path.read_text("utf-8"), table.__name__
    start, end = f"<!-- {name} -->\n", f"<!-- /{name} -->\n"
    written = start + table(own_targets()) + end
    before, after = page.partition(start)[0], page.partition(end)[2]
    assert before and after
    if os.environ.get("PLICA_GOLDEN") == "write":
        path.write_text(before + written + after, "utf-8")
    assert written in path.read_text("utf-8")


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("wren", "wren"),
        ("René", "Rene"),
        ("3 otters", "_3_otters"),
        ("", "_"),
        ("class", "class_"),
        ("../../x", "______x"),
        ("水獭", "__"),
        ("a" * 300, "a" * 100),
    ],
)
def test_file_names_are_safe(name: str, expected: str) -> None:
    assert safe_file_name(name) == expected
    assert ast.parse(f"import {safe_file_name(name)}_rig")


# One line states what several targets make of one declaration, in the whole rig's outputs.
SAID: list[tuple[str, str, str]] = [
    ("twist", '"axis": [1.0, 0.0, 0.0]', "v[0] = _curve_1(r / 1.1)"),
    ("twist_back", '"span": [0.0, -0.5]', "u = r / -0.25"),
    ("lift", '"weights": [0.0, 1.1, 0.0]', "u = (1.1 * (ty - 0.4)) / 0.004"),
    ("slide", '"clamped": false', "v[20] = ((0.3 * (tx - 0.02) - 0.4 * (ty - 0.4) + 0.5 * (tz - 0.1)) + 0.01) / 0.02"),
    ("smile", '"control": "mood"', "r = (c[0] - 0.25)"),
    ("grinning", '"kind": "weight"', "v[27] = _curve_1(((c[1] - 0.05) - 0.1) / 0.7000000000000001)"),
    ("both", '"how": "product"', "a0 = v[0] * v[4]"),
    ("either", '"how": "greatest"', "a0 = max(v[0], v[3], v[42]) + 0.0 * (v[0] + v[3] + v[42])"),
    ("up", '"sample": "up"', "v[42] = f[0]"),
]


@pytest.mark.parametrize(("name", "in_json", "in_python"), SAID, ids=[row[0] for row in SAID])
def test_what_each_target_makes_of_a_declaration(name: str, in_json: str, in_python: str) -> None:
    files, _ = build(DEFAULT_REQUESTS)
    text = files["wren.rig.json"].decode("utf-8")
    lines = [line for line in text.splitlines() if line.startswith(f'{{"name": "{name}"')]
    assert any(in_json in line and json.loads(line.rstrip(","))["name"] == name for line in lines)
    assert f"    {in_python}\n" in files["wren_rig.py"].decode("ascii")
    assert unbuilt(read_rig(text)) == whole_rig()
