"""Stills of details, as the option `still` asks for them."""

from __future__ import annotations

from collections.abc import Sequence

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.output_file_names import safe_file_name
from plica.evaluate import Evaluator
from plica.mesh.pose_solver import PoseSolver
from plica.rig.surfaces import JointPose, StrengthPose
from plica.texture.mask_set import MaskSet
from plica.texture.normal_diagnostics import find_maps
from plica.texture.png import with_build
from plica.texture.stills import StillError, amounts_of, fold_amounts, folds_at, posed_items, still_of
from plica.workspace import Refused, Workspace, located_bytes


def stills(
    build: Build, made: MaskSet, asked: Sequence[str], target: str, diagnostics: Diagnostics
) -> dict[str, bytes]:
    """A still of every detail for each one asked for: `<character>.<detail>.still.<number>.png`."""
    if build.attached is None or not asked:
        return {}
    amounts = _amounts(build, asked, target, diagnostics)
    if amounts is None:
        return {}
    workspace = Workspace(build.folder, build.allowed)

    def read(file: str) -> bytes | Refused:
        return located_bytes(workspace.locate, file, "image_bytes")

    files = {}
    character = safe_file_name(build.rig.character.name)
    for detail in build.rig.details:
        maps = find_maps(detail, read, build.span_of("detail", detail.name), diagnostics)
        if maps is None:
            continue
        if detail.uv is not None and detail.uv not in build.attached.mesh.uvs:
            problem = f"the mesh does not have the uv set `{detail.uv}` of the detail `{detail.name}`"
            diagnostics.add("bad-target-option", None, target=target, option="still", problem=problem)
            continue
        for number, amount in enumerate(amounts, 1):
            build.step(f"still {number} of {len(amounts)}: {detail.name}")
            name = f"{character}.{safe_file_name(detail.name)}.still.{number}.png"
            picture = still_of(detail, maps, made, build.attached.mesh, amount)
            files[name] = with_build(picture, build.rig.build)
    return files


def _amounts(
    build: Build, asked: Sequence[str], target: str, diagnostics: Diagnostics
) -> list[dict[str, float]] | None:
    """How far each fold is on in each still asked for; None where one cannot be made."""
    errors = diagnostics.count_of_errors
    made = []
    for text in asked:
        try:
            posed = posed_items(build.rig, text)
            if posed is None:
                made.append(fold_amounts(build.rig, amounts_of(text)))
            else:
                made.append(folds_at(build.rig, _strengths_in(build, *posed, diagnostics)))
        except StillError as error:
            diagnostics.add("bad-target-option", None, target=target, option="still", problem=error)
    return made if diagnostics.count_of_errors == errors else None


def _strengths_in(
    build: Build, name: str, items: tuple[StrengthPose | JointPose, ...], diagnostics: Diagnostics
) -> dict[str, float]:
    """The strengths of the rig by name in a declared pose; what stands in the pose's way is told."""
    posed = PoseSolver(build.rig).pose(items)
    for problem in posed.problems:
        diagnostics.add_filled(problem.rule, build.span_of("pose", name), problem.values)
    evaluator = Evaluator(build.rig)
    return dict(zip(evaluator.names, evaluator.strengths(posed.poses)[0].tolist(), strict=True))
