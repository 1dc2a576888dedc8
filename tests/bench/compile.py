"""Benchmark: text to JSON for many declarations, against reading the expanded equivalent as YAML.

The reference is PyYAML's C loader plus pydantic's validation of the same rig with both sides written out, in the
same run. Run with `python -m tests.bench.compile`; it prints the ratio (the goal is at most 1.0) and the growth from
one size to the next (2.0 is linear).
"""

from __future__ import annotations

import gc
import json
import sys
from collections.abc import Callable
from time import perf_counter

import yaml
from pydantic import TypeAdapter

from plica.pipeline import compile_text
from plica.rig.rig import Rig
from plica.rig.rig_json import write_rig
from tests.bench.goals import judge

FINGERS = 250
SIZES = (5_000, 10_000)


def spec_text(declarations: int) -> str:
    """A spec of so many declarations, half of them drivers, the rest shapes, regions, combines and folds."""
    lines = ["plica 1", 'character crowd { left "*_lf" right "*_rt" skeleton { joint root at 0 m, 1 m, 0 m']
    for number in range(FINGERS):
        for side, x in (("lf", 0.1), ("rt", -0.1)):
            turned = f"turned about z {number % 90} deg" if side == "lf" else f"turned about y {number % 70} deg"
            lines.append(f"joint bone{number}_{side} under root at {x} m, 0.{number:03} m, 0 m {turned}")
    lines.append('}}\ndetail fur { relaxed "a.png" contracted "b.png" }')
    for number in range(declarations // 10):
        bone = number % FINGERS
        for variant in "abcde":
            lines.append(
                f"driver bend{number}{variant} both {{\n    reads  rotation about {'xyz'[number % 3]} of bone{bone}\n"
                f"    span   0 deg .. {60 + number % 90} deg\n    curve  0 0, 0.5 0.35, 1 1\n}}"
            )
        lines.append(f"combine all{number} both = product(bend{number}a, bend{number}b)")
        lines.append(f"region skin{number} both {{ skin of bone{bone}  feather {number % 12 + 1} mm }}")
        for variant in "ab":
            lines.append(
                f'shape swell{number}{variant} both {{\n    sculpt   "s{number}.npz" posed at bend{number}{variant} 1\n'
                f"    within   skin{number}\n    follows  all{number}\n}}"
            )
        lines.append(f"fold line{number} both {{ in fur  area skin{number}  follows bend{number}c }}")
    return "\n".join(lines) + "\n"


def seconds(work: Callable[[], object]) -> float:
    """The best of three runs, the garbage of earlier work collected first."""
    best = float("inf")
    for _ in range(3):
        gc.collect()
        start = perf_counter()
        work()
        best = min(best, perf_counter() - start)
    return best


def compiled_json(text: str) -> str:
    """The main job: text to JSON."""
    compiled = compile_text(text)
    if compiled.rig is None:
        sys.exit("the benchmark's own spec does not compile: " + compiled.diagnostics[0].message)
    return write_rig(compiled.rig)


def main() -> None:
    """Print the ratio for 10,000 declarations and the growth over all sizes."""
    adapter = TypeAdapter(Rig)
    before = None
    for size in SIZES:
        text = spec_text(size)
        ours = seconds(lambda text=text: compiled_json(text))
        growth = "" if before is None else f", {ours / before:.2f} x the time of half as many"
        before = ours
        print(f"{size} declarations: text to JSON {ours:.2f} s{growth}")
        if size == 10_000:
            expanded = json.loads(compiled_json(text))
            equivalent = yaml.safe_dump(expanded, sort_keys=False)
            loaded = yaml.load(equivalent, Loader=yaml.CSafeLoader)
            adapter.validate_python(loaded)

            def reference(equivalent: str = equivalent) -> object:
                return adapter.validate_python(yaml.load(equivalent, Loader=yaml.CSafeLoader))

            theirs = seconds(reference)
            print(f"  PyYAML C loader and pydantic on the expanded equivalent: {theirs:.2f} s")
            judge("text to JSON, 10,000 declarations", ours / theirs, 1.0, reference="PyYAML and pydantic")


if __name__ == "__main__":
    main()
