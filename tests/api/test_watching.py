"""What `watch_spec` says of the expectations that a change touches."""

from __future__ import annotations

from pathlib import Path

import pytest

import plica
from plica.api.reproving import Reproof
from plica.api.watching import Rebuild, Watcher
from tests.support.arm_models import MODELLED, write_arms
from tests.support.arms import arms_mesh, rig_from

SPEC = (
    MODELLED
    + """driver twist both { reads rotation about x of lowerarm   span 0 deg .. 80 deg }
expect both { volume of forearm within 60 %  over elbow }
expect both { stretch of forearm at most 300 %  over twist }
expect { rest }
"""
)


@pytest.fixture
def spec(tmp_path: Path) -> Path:
    write_arms(tmp_path / "arms.gltf", rig_from(""), arms_mesh(rig_from("")))
    path = tmp_path / "otter.plica"
    path.write_text(SPEC, "utf-8")
    return path


def proof_of(watcher: Watcher) -> Reproof:
    proven = watcher.proven(watcher.rebuild())
    assert proven.proof is not None
    return proven.proof


def test_only_what_hangs_on_a_change_is_shown(spec: Path, tmp_path: Path) -> None:
    watcher = plica.watch_spec(spec, prove=True, cache=tmp_path / "figures")
    first = proof_of(watcher)
    assert len(first.touched) == len(first.report.results) == 5 and first.report.holds

    spec.write_text(SPEC + "// nothing\n", "utf-8")
    again = proof_of(watcher)
    assert again.touched == () and again.report.tally.measured == 0
    assert "0 of 5 expectations" in again.summary and "the other 5, as before: 5 hold" in again.summary

    # How far the elbow bends shows in its volume alone, and a limit in nothing but its own verdict.
    wider = SPEC.replace("100 deg", "120 deg")
    spec.write_text(wider, "utf-8")
    bent = proof_of(watcher)
    assert {one.title for one in bent.touched} == {
        "volume of left_forearm over left_elbow",
        "volume of right_forearm over right_elbow",
    }
    assert [one.worst for one in bent.touched] != [one.worst for one in first.touched[:2]]
    spec.write_text(wider.replace("300 %", "0.001 %"), "utf-8")
    strict = proof_of(watcher)
    assert {one.title.split(" ")[0] for one in strict.touched} == {"stretch"}
    assert len(strict.report.failed) == 2 and "3 hold" in strict.summary

    # A text with mistakes is not proven, and what is touched counts from the last proof on.
    spec.write_text(wider.replace("reads", "reds"), "utf-8")
    assert watcher.proven(watcher.rebuild()).proof is None
    spec.write_text(SPEC.replace("300 %", "0.001 %"), "utf-8")
    assert {one.title.split(" ")[0] for one in proof_of(watcher).touched} == {"volume"}


def test_a_save_meanwhile_ends_the_measuring(spec: Path) -> None:
    watcher = plica.watch_spec(spec, prove=True, cache=False)
    rebuild = watcher.rebuild()
    steps: list[str] = []

    def save(step: str) -> None:
        steps.append(step)
        spec.write_text(SPEC + "\n" * len(steps), "utf-8")

    proven = watcher.proven(rebuild, save)
    assert proven.ok and proven.proof is None and len(steps) == 1
    assert watcher.wait() == (spec,)
    # Without kept figures nobody knows what a change touches: all that is measured on the skin counts.
    assert len(proof_of(watcher).touched) == 5
    assert {one.title for one in proof_of(watcher).touched} >= {"volume of left_forearm over left_elbow"}


def test_without_proving_nothing_is_measured(spec: Path) -> None:
    watcher = plica.watch_spec(spec)
    rebuilds: list[Rebuild] = [next(iter(watcher))]
    assert rebuilds[0].ok and rebuilds[0].proof is None
