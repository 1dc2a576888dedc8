"""One more kind of something, of which only the record is there: it is refused at every place that has to handle it."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from typing import Any

import pytest

from tests.support.data import ROOT

_KINDS = "_KINDS: Final = (\n"
_EXPECTATION = '    _of_character("shine", "shine", LimitKind((), "", 0.0)),\n'
_KERNEL = '    KernelKind("flat", True, RadialKernel(lambda distance, width: 1.0, False, "1.0")),\n'
_COMBINATION = '    CombinationKind("mean", min, " + ".join),\n'
_READING = """
class Wobble(NamedTuple):
    \"\"\"A made-up reading.\"\"\"

    joint: str
    kind: Literal["wobble"] = "wobble"


_ANGLE: Final = """
_READING_RECORD = """    ReadingKind(
        name="wobble",
        record=Wobble,
        phrase="wobble of {joint}",
        parts={"joint": Part.JOINT},
        dimension=Dimension.ANGLE,
        unit="deg",
        needs=Needs.TURN,
        reach=None,
        axis=None,
        text="wobble of {joint}",
        short="wobble of {joint}",
    ),
"""
_READING_KINDS = "_KINDS: Final[tuple[ReadingKind[Any], ...]] = (\n"
_CHECKED = "READING_KINDS: Final = checked(_KINDS, get_args(Reading))"
_CURVE = """class Wave(NamedTuple):
    \"\"\"A made-up curve.\"\"\"

    kind: Literal["wave"] = "wave"


Curve = Wave | """
_SOURCE = """class Everywhere(NamedTuple):
    \"\"\"A made-up source of a region.\"\"\"


RegionSource = Everywhere | """

# What is changed, what is loaded, and what is wrong there.
CASES: dict[str, tuple[dict[str, list[list[str]]], dict[str, str]]] = {
    "expectation": (
        {"plica.kinds.expectations": [[_KINDS, _KINDS + _EXPECTATION]]},
        {"plica.prove.registry:measures": "MissingMeasureError: nothing measures shine"},
    ),
    "reading": (
        {
            "plica.kinds.readings": [
                ["\n_ANGLE: Final = ", _READING],
                [_READING_KINDS, _READING_KINDS + _READING_RECORD],
                [_CHECKED, _CHECKED.replace("get_args(Reading)", "(*get_args(Reading), Wobble)")],
            ]
        },
        {
            "plica.evaluate.readings": "IncompleteKindError: wobble: no evaluation",
            "plica.targets.python.source": "IncompleteKindError: wobble: no Python expression",
            "plica.targets.gltf.live.readings": "IncompleteKindError: wobble: no nodes of a behaviour graph",
        },
    ),
    "reading without a record": (
        {
            "plica.kinds.readings": [
                ["\n_ANGLE: Final = ", _READING],
                [_CHECKED, _CHECKED.replace("get_args(Reading)", "(*get_args(Reading), Wobble)")],
            ]
        },
        {"plica.kinds.readings": "IncompleteKindError: the kinds are not those of the Rig's readings"},
    ),
    "kernel": (
        {"plica.kinds.kernels": [[_KINDS, _KINDS + _KERNEL]]},
        {
            "plica.evaluate.kernels": "MissingKindError: there is no kernel over arrays of flat",
            "plica.targets.gltf.live.fields": "MissingKindError: there is no kernel as nodes of a graph of flat",
        },
    ),
    "combination": (
        {"plica.kinds.combinations": [[_KINDS, _KINDS + _COMBINATION]]},
        {
            "plica.evaluate.combinations": "MissingKindError: there is no operation over arrays of mean",
            "plica.targets.gltf.live.strengths": "MissingKindError: there is no operation of a behaviour graph of mean",
        },
    ),
    "way to put regions together": (
        {"plica.kinds.region_sets": [['"union", ', '"union", "sum", ']]},
        {"plica.mesh.region_sets": "MissingKindError: there is no operation on weights of sum"},
    ),
    "curve": (
        {"plica.values": [["Curve = ", _CURVE]]},
        {"plica.kinds.curves": "MissingKindError: there is no record of <class 'plica.values.Wave'>"},
    ),
    "source of a region": (
        {"plica.rig.surfaces": [["\nRegionSource = ", "\n" + _SOURCE]]},
        {"plica.rig.region_sources": "MissingKindError: there is no record of <class 'plica.rig.surfaces.Everywhere'>"},
    ),
}


def loaded(*cases: dict[str, Any]) -> list[dict[str, str | None]]:
    command = [sys.executable, "-m", "tests.support.one_more_kind"]
    done = subprocess.run(command, input=json.dumps(cases), cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


@pytest.fixture(scope="module")
def errors() -> dict[str, dict[str, str | None]]:
    """What loading raised, in one process for all cases."""
    outcomes = loaded(*({"changes": changes, "loads": list(wrong)} for changes, wrong in CASES.values()))
    return dict(zip(CASES, outcomes, strict=True))


@pytest.mark.parametrize("case", CASES)
def test_a_kind_that_nothing_handles_is_refused_where_it_would_be_handled(case: str, errors: Any) -> None:
    for module, wrong in CASES[case][1].items():
        assert errors[case][module] is not None, f"{module} loads as if nothing were missing"
        assert errors[case][module].startswith(wrong)


def test_without_one_more_kind_everything_loads() -> None:
    """So it was the kind that was refused."""
    modules = sorted({module for _, wrong in CASES.values() for module in wrong})
    assert loaded({"changes": {}, "loads": modules}) == [dict.fromkeys(modules)]


# ---- where mypy sees it


def open_matches(text: str) -> list[int]:
    """The lines of the `match` statements over classes that a class left out would pass through in silence.

    Where every case returns a value, mypy reports the missing `return`; elsewhere `assert_never` has to come last.
    """
    return [
        node.lineno
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Match)
        and isinstance(node.cases[0].pattern, ast.MatchClass | ast.MatchOr)
        and not all(isinstance(case.body[-1], ast.Return) for case in node.cases)
        and not ast.unparse(node.cases[-1]).startswith("case _:\n    assert_never(")
    ]


def test_matches_over_kinds_end_with_assert_never() -> None:
    """A class that is added to a union and left out of one of them is an error of mypy."""
    files = [path for folder in ("compiler", "targets") for path in sorted((ROOT / folder).rglob("*.py"))]
    assert {path.relative_to(ROOT).as_posix(): open_matches(path.read_text("utf-8")) for path in files} == {
        path.relative_to(ROOT).as_posix(): [] for path in files
    }


def test_an_open_match_is_seen() -> None:
    closed = "match a:\n    case B():\n        c()\n    case _:\n        assert_never(a)\n"
    assert open_matches(closed) == []
    assert open_matches(closed.replace("assert_never(a)", "d()")) == [1]
    assert open_matches("match a:\n    case B():\n        c()\n    case D():\n        e()\n") == [1]
