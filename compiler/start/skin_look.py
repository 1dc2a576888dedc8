"""A look at the mesh of a first spec: what its weights are like, and what the skin does where joints bend it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

from plica.diagnostics import Diagnostics, Severity
from plica.mesh.attach import Attached, attach
from plica.mesh.regions import region_weights
from plica.pipeline import compile_text
from plica.rig.rig import Rig
from plica.start.bending_joints import BendingJoint
from plica.start.bent_regions import bent_regions
from plica.start.bent_skin import bent_skins
from plica.start.skin_figures import BentRegion, BentSkin, SkinLook, WeightFault, not_measured
from plica.start.weight_faults import weight_faults
from plica.workspace import Refused, Workspace

KNOWN: Final = 0.5
"""The share of the skin that a joint bends that its region has to hold for its figures to say something."""
UNCOVERED: Final = "joints that its declaration cannot name hold most of the skin that it bends"

Write = Callable[[Mapping[str, BentRegion]], str]
"""A spec's character and drivers, with these regions by name."""


def look_at_skin(
    path: Path, write: Write, subjects: Sequence[BendingJoint], bases: Sequence[str], bones: Mapping[str, str]
) -> SkinLook:
    """Measure a model's mesh. `bases`: the names of its joints without side; `bones`: the joint that each one's bone
    leads to, by name."""
    workspace = Workspace(path.parent, [path.resolve().parent])
    diagnostics = Diagnostics()
    rig = _compiled(write({}), workspace, diagnostics)
    attached = attach(rig, workspace.locate, diagnostics) if rig is not None else None
    if rig is None or attached is None:
        return SkinLook(why=_first_error(diagnostics))
    regions = bent_regions(rig, attached.mesh, subjects, bases)
    faults = weight_faults(rig, attached, bones)
    at_fault = _at_fault([joint.name for joint in rig.skeleton], subjects, faults)
    known = SkinLook(faults=faults, at_fault=at_fault, problems=attached.mesh.problems)
    bent = _bent(write(regions), workspace, attached, subjects, regions)
    return known._replace(why=bent) if isinstance(bent, str) else known._replace(regions=regions, bent=bent)


def _at_fault(names: Sequence[str], subjects: Sequence[BendingJoint], faults: Sequence[WeightFault]) -> frozenset[str]:
    """The drivers of joints that have faults, on either side."""
    faulty = {fault.joint for fault in faults}
    return frozenset(
        one.driver
        for one in subjects
        if any(names[joint] in faulty for joint in (one.joint, one.partner) if joint is not None)
    )


def _bent(
    text: str,
    workspace: Workspace,
    attached: Attached,
    subjects: Sequence[BendingJoint],
    regions: Mapping[str, BentRegion],
) -> tuple[BentSkin, ...] | str:
    """What the skin does over each driver, the worst first, or why that is not known."""
    diagnostics = Diagnostics()
    rig = _compiled(text, workspace, diagnostics)
    if rig is None:
        return _first_error(diagnostics)
    partners = None if attached.symmetry is None else attached.symmetry.partners
    weights = region_weights(rig, attached.mesh, attached.sides, _no_file, diagnostics, partners=partners)
    measured = [one for one in subjects if one.name in regions and regions[one.name].covered >= KNOWN]
    known = bent_skins(
        rig, replace(attached, regions=weights), [(subject.driver, subject.name) for subject in measured]
    )
    uncovered = [not_measured(one.driver, UNCOVERED) for one in subjects if one.name in regions and one not in measured]
    rigid = [BentSkin(one.driver, ()) for one in subjects if one.name not in regions]
    return (*known, *uncovered, *rigid)


def _compiled(text: str, workspace: Workspace, diagnostics: Diagnostics) -> Rig | None:
    compiled = compile_text(text, workspace=workspace)
    diagnostics.extend(compiled.diagnostics)
    return compiled.rig


def _no_file(file: str) -> Refused:
    """What a region of joints' skin asks for, which is nothing."""
    return Refused("missing-file", {"file": file, "reason": "not asked for"})


def _first_error(diagnostics: Diagnostics) -> str:
    errors = [one.message for one in diagnostics.all if one.severity is Severity.ERROR]
    return errors[0] if errors else "there is no mesh"
