"""How long readers take against a named reference measured in the same run.

Run from the repository's root: python -m tests.bench.readers
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from plica.readers.bvh import read_bvh
from plica.readers.gltf_document import json_bytes
from plica.readers.model_reader import read_outline
from tests.support.data import data_folder


def best_of(action: Callable[[], object], times: int = 20) -> float:
    """The shortest of several runs, in seconds."""
    shortest = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        action()
        shortest = min(shortest, time.perf_counter() - start)
    return shortest


def parse_only(path: Path) -> object:
    """The reference for outlines: the file's JSON, parsed and not looked at."""
    with path.open("rb") as stream:
        return json.loads(json_bytes(stream))


def main() -> None:
    """Print a line for each file."""
    characters = data_folder() / "characters"
    for name in ("full_body/full_body.gltf", "base_mesh_facing_x/base_mesh.glb", "mannequin/Med_General.glb"):
        path = characters / name
        own, reference = best_of(lambda path=path: read_outline(path)), best_of(lambda path=path: parse_only(path))
        print(f"outline of {name}: {own * 1e3:.2f} ms, {own / reference:.1f} times json.loads alone")
    for name in ("cmu_12_01_walk.bvh", "cmu_01_01.bvh"):
        path = data_folder() / "motion" / name
        head = path.read_text().splitlines().index("MOTION") + 3
        own = best_of(lambda path=path: read_bvh(path), 3)
        reference = best_of(lambda path=path, head=head: np.loadtxt(path, skiprows=head), 3)
        print(f"clip {name}: {own * 1e3:.0f} ms, {own / reference:.2f} times numpy.loadtxt of its frames")


if __name__ == "__main__":
    main()
