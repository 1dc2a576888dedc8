"""Benchmark: a first spec for a character, mesh and all, against reading its mesh and proving what was written.

Run `python -m tests.bench.start [MODEL...]` from the repository; without models it takes the shared characters. For
each it prints the vertices, the seconds of processor time of `start` (the aim is below 5 for 10,000 vertices), those of
reading the mesh, and those of the first proof, which goes over more poses with the same measures. All are measured in
the same run, once what they import is loaded; what loading takes is printed first.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from tests.bench.goals import judge
from tests.support.data import data_folder

CHARACTERS = (
    "full_body/full_body.gltf",
    "horse/horse.glb",
    "base_mesh_facing_x/base_mesh.glb",
    "unnamed_man/man.glb",
    "expressive_robot/robot.glb",
    "mannequin/mannequin.gltf",
    "hands/left.glb",
    "rigged_figure/RiggedFigure.glb",
)


def main(models: list[Path]) -> None:
    """Print seconds and ratios."""
    start = time.process_time()
    import plica
    from plica.diagnostics import Diagnostics
    from plica.mesh.mesh_reader import read_mesh
    from plica.readers.model_reader import find_outline

    plica.start_spec(models[-1])
    print(f"loading, with a first specimen: {time.process_time() - start:.2f} s")
    for model in models:
        with tempfile.TemporaryDirectory() as folder:
            spec = Path(folder) / "first.plica"
            begun = time.process_time()
            spec.write_text(plica.start_spec(model, folder=folder).text, "utf-8")
            started = time.process_time() - begun
            begun = time.process_time()
            outline = find_outline(model, model.name, None, Diagnostics())
            assert outline is not None
            mesh = read_mesh(model, [joint.name for joint in outline.skeleton.joints])
            read = time.process_time() - begun
            begun = time.process_time()
            proof = plica.prove_expectations(plica.compile_file(spec, allow=[model.parent]), cache=False)
            proven = time.process_time() - begun
        held = "all hold" if proof.holds else "NOT ALL HOLD"
        print(
            f"{model.name}: {mesh.vertex_count} vertices; start {started:.2f} s, reading {read:.2f} s, first proof "
            f"{proven:.2f} s ({len(proof.results)} expectations, {held}), start / proof {started / proven:.2f}"
        )
        judge(f"start on {model.name}, for 10,000 vertices", started * 1e4 / max(mesh.vertex_count, 1e4), 5.0, "s")


if __name__ == "__main__":
    given = [Path(argument) for argument in sys.argv[1:]]
    main(given or [data_folder() / "characters" / name for name in CHARACTERS])
