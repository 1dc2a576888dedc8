"""Judgements of earlier comparisons: the same report, and a new one where anything that they depend on differs."""

from __future__ import annotations

import json
from contextlib import ExitStack
from pathlib import Path

import pytest

from plica.diagnostics import Diagnostics
from plica.diff import comparison
from plica.diff.character_state import CharacterState
from plica.diff.character_states import Options, read_both
from plica.diff.comparison import compare
from plica.diff.json_report import document
from plica.diff.kept_judgements import Keeping
from plica.diff.report import Report
from plica.prove.cache.disk import DiskCache
from tests.diff.test_triples import CONTROLLED, EDITS, EDITS_OF_POSES, EDITS_OF_STRENGTHS, OLD, POSED
from tests.support.cloth import SPEC, bump, cloth
from tests.support.texts import compiled

CASES = [
    *((OLD, edits) for edits in EDITS.values()),
    *((POSED, edits) for edits in list(EDITS_OF_POSES.values())[:6]),
    *((CONTROLLED, edits) for edits in list(EDITS_OF_STRENGTHS.values())[:4]),
]


@pytest.fixture
def keeping(tmp_path: Path) -> Keeping:
    return Keeping(DiskCache(tmp_path / "cache"), "this code")


@pytest.fixture
def judged(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The characters that were judged and not recalled."""
    met: list[str] = []
    judge = comparison._judged

    def noted(before: CharacterState, after: CharacterState) -> object:
        met.append(after.rig.character.name)
        return judge(before, after)

    monkeypatch.setattr(comparison, "_judged", noted)
    return met


def states(text: str, edits: list[tuple[str, str]]) -> list[dict[str, CharacterState]]:
    new = text
    for before, after in edits:
        new = new.replace(before, after)
    result = []
    for one in (text, new):
        rig = compiled(one).rig
        assert rig is not None
        result.append({"": CharacterState("otter.plica", rig)})
    return result


def test_what_is_recalled_is_what_was_told(keeping: Keeping, judged: list[str]) -> None:
    for text, edits in CASES:
        both = states(text, edits)
        first = compare(*both, keeping)
        count = len(judged)
        assert compare(*both, keeping) == first == compare(*both)
        assert len(judged) == count + 1, "only the comparison without the store judges again"


def test_another_rig_and_other_code_are_judged_anew(keeping: Keeping, judged: list[str]) -> None:
    compare(*states(OLD, EDITS["span"]), keeping)
    compare(*states(OLD, [("0 deg .. 130 deg", "0 deg .. 119 deg")]), keeping)
    assert len(judged) == 2
    compare(*states(OLD, EDITS["span"]), keeping._replace(code="that code"))
    assert len(judged) == 3


def of_files(old: Path, new: Path, keeping: Keeping) -> Report:
    with ExitStack() as mirrors:
        return compare(*read_both(str(old), str(new), Options(), Diagnostics(), mirrors), keeping)


def test_other_contents_of_a_file_are_measured_anew(tmp_path: Path, keeping: Keeping, judged: list[str]) -> None:
    old, new = cloth(tmp_path / "old"), cloth(tmp_path / "new", SPEC.replace("90 deg", "80 deg"))
    bump(new.parent / "bump.npz", 50, 0.003)
    first = of_files(old, new, keeping)
    assert document(of_files(old, new, keeping)) == document(first) and judged == ["cloth"]
    bump(new.parent / "bump.npz", 50, 0.004)
    assert document(of_files(old, new, keeping)) != document(first) and len(judged) == 2


def test_what_could_not_be_measured_is_not_kept(tmp_path: Path, keeping: Keeping, judged: list[str]) -> None:
    old, new = cloth(tmp_path / "old"), cloth(tmp_path / "new", SPEC.replace("skin of tip", "skin of base"))
    (new.parent / "bump.npz").write_bytes(b"no sculpt")
    assert of_files(old, new, keeping).unmeasured
    assert of_files(old, new, keeping).unmeasured and len(judged) == 2


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"[",
        b'[{"record": "os:stat_result", "fields": []}]',
        b'[{"record": "plica.diff.report:compare", "fields": []}]',
        b'[{"record": "plica.nowhere:X", "fields": []}]',
        b"[" * 100_000,
    ],
)
def test_what_is_no_record_of_plicas_own_is_not_read(keeping: Keeping, judged: list[str], content: bytes) -> None:
    both = states(OLD, EDITS["span"])
    first = compare(*both, keeping)
    store = keeping.store
    assert isinstance(store, DiskCache)
    (path,) = (store.folder / "comparisons").glob("??/*")
    store.put("comparisons", path.name, content)
    assert compare(*both, keeping) == first and len(judged) == 2


def test_what_is_kept_is_plain_data(keeping: Keeping) -> None:
    compare(*states(OLD, EDITS["span"]), keeping)
    store = keeping.store
    assert isinstance(store, DiskCache)
    (path,) = (store.folder / "comparisons").glob("??/*")
    content = store.get("comparisons", path.name)
    assert content is not None and json.loads(content)
