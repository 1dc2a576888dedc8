"""What holds for the characters at hand, and for variants of them, as two tables.

Run `PLICA_DATA=FOLDER python -m tests.variants.report [characters|laws]` from the repository. `characters`: for each
model of the shared data its pairs, the stance that is taken, how even skeleton and skin are in it, and what is told
or refused. `laws`: for each variant and law the largest difference on three characters, as a multiple of what the law
allows, so that 1 is the limit.
"""

from __future__ import annotations

import sys
from pathlib import Path
from shutil import copytree
from tempfile import TemporaryDirectory

import plica
from plica.diagnostics import Diagnostics
from plica.pipeline import Compiled, compile_file
from plica.skeleton.evenness import Evenness, evenness
from plica.start import start_spec
from tests.support.data import data_folder
from tests.variants.characters import CHARACTERS
from tests.variants.open import reason
from tests.variants.table import VARIANTS
from tests.variants.test_variants import LAWS, difference, outcome, variation_of

MODELS = ("*.gltf", "*.glb", "*.usdz")
QUIET = {"not-sculpted", "unused-strength"}  # of a first spec, which has no sculpts
EVEN = "\nexpect { even within 0.001 }\n"  # so that the mesh is looked at


def print_characters() -> None:
    """One block of lines for each model."""
    root = data_folder() / "characters"
    for model in sorted(path for pattern in MODELS for path in root.glob(f"*/{pattern}")):
        print(f"{model.parent.name}/{model.name}")
        with TemporaryDirectory() as folder:
            copied = Path(folder) / "model"
            copytree(model.parent, copied)
            for line in _of_model(copied / model.name):
                print(f"    {line}")


def _of_model(model: Path) -> list[str]:
    diagnostics = Diagnostics()
    text = start_spec(model, diagnostics).text
    if not text:
        return [f"refused: {one.name}: {one.message}" for one in diagnostics.all]
    spec = model.parent / "first.plica"
    spec.write_text(text + EVEN, "utf-8")
    compiled = compile_file(spec)
    lines = _of_skeleton(compiled)
    told = list(compiled.diagnostics)
    if compiled.rig is not None:
        mesh = plica.attach_mesh(plica.compile_file(spec))
        told += mesh.diagnostics
        symmetry = mesh.attached.symmetry if mesh.ok else None
        share = "no mirror plane" if symmetry is None else f"{100 * symmetry.share:.1f} % with a partner"
        lines.append(f"skin: {len(mesh.positions) if mesh.ok else 0} vertices, {share}")
    known = dict.fromkeys((one.severity.value, one.name, one.message) for one in told if one.name not in QUIET)
    return lines + [f"{severity} {name}: {message}" for severity, name, message in known]


def _of_skeleton(compiled: Compiled) -> list[str]:
    if compiled.spec is None or not compiled.spec.bound.skeleton.joints:
        return ["no joints"]
    bound = compiled.spec.bound
    pairs = list(bound.sides.pairs.values())
    plane = bound.plane
    across = "no mirror plane" if plane is None else f"mirror plane across {plane.text} at {plane.place} m"
    lines = [f"{len(bound.skeleton.joints)} joints, {len(pairs)} pairs; {across}"]
    stance = bound.stance
    if stance.bind is None:
        even = evenness(bound.skeleton, pairs)
        return [*lines, f"stance: one pose, pairs miss their mirror images by {_text(even)}"]
    taken = f"stance: {stance.taken}{', as stated' if stance.stated else ''}"
    return [*lines, f"{taken}; bind {_text(stance.bind_even)}, rest {_text(stance.rest_even)}"]


def _text(even: Evenness | None) -> str:
    return "nothing that is known" if even is None else even.text


def print_laws() -> None:
    """One line for each variant: the largest difference by law, `open` where it does not hold yet."""
    print(f"{'':28}" + "".join(f"{law:>11}" for law in LAWS))
    held = 0
    for variant in VARIANTS:
        cells = []
        for law in LAWS:
            worst = max(difference(law, variant, character) for character in CHARACTERS)
            known = any(reason(variant.name, law, character.name) for character in CHARACTERS)
            refused = any(variant.refused and variant.refused in outcome(variant, one).errors for one in CHARACTERS)
            cells.append("refused" if refused else "open" if known else f"{worst:.2g}")
        held += not {"open", "refused"} & set(cells)
        print(f"{variant.name:28}" + "".join(f"{cell:>11}" for cell in cells), flush=True)
        variation_of.cache_clear()
    print(f"{held} of {len(VARIANTS)} variants hold in every law, on each of {len(CHARACTERS)} characters")


if __name__ == "__main__":
    wanted = sys.argv[1:] or ["characters", "laws"]
    if "characters" in wanted:
        print_characters()
    if "laws" in wanted:
        print_laws()
