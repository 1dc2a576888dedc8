"""How the time of each stage grows with its input: the exponent between an input and one ten times as large.

Run `python -m tests.bench.growth` from the repository. 1.0 is linear; the goal is at most 1.05. Processor time, the
least of a few rounds, garbage left alone. What a stage takes however small its input is makes the exponent smaller,
never larger; so the smaller input is large enough to take at least some hundredths of a second.
"""

from __future__ import annotations

import gc
import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from time import process_time

import numpy as np

from plica.diagnostics import Diagnostics
from plica.diff.comparison import compare
from plica.drafting.problem import DraftSettings
from plica.drafting.solve import drafted
from plica.evaluate.evaluator import Evaluator
from plica.mesh.deform import Deformer
from plica.prove.execution.executor import LocalExecutor
from plica.prove.prover import Prover
from plica.source import Source
from plica.syntax.parser import parse
from plica.texture.atlas import atlas_of
from tests.bench.compile import compiled_json, spec_text
from tests.bench.diff import version
from tests.bench.draft import problem_of
from tests.bench.goals import judge
from tests.bench.masks import weights_of
from tests.support import arms
from tests.support.rigs import random_rig
from tests.support.skins import random_character, random_poses
from tests.support.swinging import swinging

GOAL = 1.05
ROUNDS = 3

Work = Callable[[], object]


def parsing(declarations: int) -> Work:
    """Text to tree."""
    source = Source("crowd.plica", spec_text(declarations))
    return lambda: parse(source, Diagnostics())


def compiling(declarations: int) -> Work:
    """Text to JSON."""
    text = spec_text(declarations)
    return lambda: compiled_json(text)


def comparing(declarations: int) -> Work:
    """Two states of which every driver differs."""
    text = spec_text(declarations)
    before, after = version(text), version(text.replace("0.5 0.35", "0.5 0.4"))
    return lambda: compare({"": before}, {"": after})


def evaluating(frames: int) -> Work:
    """Poses to strengths."""
    rig = random_rig(1, middle=4, pairs=28, drivers=200, fields=0, combines=0)
    poses, evaluator = random_poses(rig, frames), Evaluator(rig)
    return lambda: evaluator.strengths(poses)


def deforming(vertices: int) -> Work:
    """Strengths to positions, 24 frames, 50 shapes that each move a twentieth of the vertices."""
    rig, mesh, shapes = random_character(3, vertices, 50, vertices // 20, inbetweens=False)
    deformer = Deformer(mesh, rig, shapes)
    motion = deformer.motion(random_poses(rig, 24))
    return lambda: sum(float(block.positions[0, 0, 0]) for block in deformer.positions(motion))


def masking(triangles: int) -> Work:
    """Triangles to masks of 1024 x 1024 texels."""
    across = round(math.sqrt(triangles / 2.0)) + 1
    line = np.linspace(0.02, 0.98, across)
    uv = np.stack(np.meshgrid(line, line), axis=-1).reshape(-1, 2)
    number = np.arange(across * across).reshape(across, across)
    a, b, c, d = number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1]
    corners = np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)])
    weights = weights_of(uv)[:4]
    return lambda: [atlas_of(uv, corners, 1024).image(mask) for mask in weights]


def proving(triangles: int) -> Work:
    """Every measure of the skin over a bend, by this process alone; what it prepares is part of it."""
    arms.AROUND = round(math.sqrt(triangles / 8.0))
    arms.RINGS = 2 * arms.AROUND
    subject = swinging(1)
    subject = replace(subject, extra=())
    return lambda: list(Prover(subject, hire=partial(LocalExecutor, count=1)).results())


def drafting(vertices: int) -> Work:
    """A draft with contact."""
    problem = problem_of(vertices)
    return lambda: drafted(problem, DraftSettings(contact=True, inbetweens=0))


STAGES: dict[str, tuple[Callable[[int], Work], int]] = {
    "parse": (parsing, 1_000),
    "compile": (compiling, 1_000),
    "diff": (comparing, 1_000),
    "evaluate": (evaluating, 1_000),
    "deform": (deforming, 20_000),
    "masks": (masking, 20_000),
    "prove": (proving, 8_000),
    "draft": (drafting, 2_000),
}


def seconds(work: Work, rounds: int) -> float:
    """The least processor time of some rounds."""
    taken = []
    for _ in range(rounds):
        gc.collect()
        gc.disable()
        start = process_time()
        work()
        taken.append(process_time() - start)
        gc.enable()
    return min(taken)


def main() -> None:
    """Print the exponents."""
    for name, (made, size) in STAGES.items():
        small, large = made(size), made(10 * size)
        rounds = 1 if name in ("prove", "draft") else ROUNDS
        one, ten = seconds(small, rounds), seconds(large, rounds)
        print(f"{name}: {size:,} in {one:.3f} s, {10 * size:,} in {ten:.3f} s", flush=True)
        judge(f"growth of {name}, exponent", math.log10(ten / one), GOAL, "over ten times as much")


if __name__ == "__main__":
    main()
