"""The character's mesh, and the mesh in poses."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, get_args

from plica.api.character import Character, counted_errors, posed_rig, rig_of
from plica.api.posing import PosesLike, as_poses, check_names
from plica.diagnostics import Diagnostic, Diagnostics, Severity
from plica.diagnostics.place import counted
from plica.errors import NoMeshError, UnknownNameError
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.attach import Attached, attach
from plica.mesh.deform import Deformer
from plica.values import SkinningMethod
from plica.workspace import Workspace

if TYPE_CHECKING:
    from plica.mesh.inbetweens import Inbetweens

METHODS: tuple[str, ...] = get_args(SkinningMethod)


@dataclass(frozen=True, eq=False, repr=False)
class AttachedMesh:
    """A character with its mesh: regions weighed, and every shape's offsets computed on it.

    diagnostics: what was found in the model, sculpts and masks. attached: the arrays behind the properties; None where
    the mesh could not be read, as the diagnostics say.
    """

    character: Character
    attached: Attached | None
    diagnostics: tuple[Diagnostic, ...]

    @property
    def ok(self) -> bool:
        """Whether the mesh is there and no error was found."""
        return self.attached is not None and not any(one.severity is Severity.ERROR for one in self.diagnostics)

    @property
    def mesh(self) -> Mesh:
        """The neutral mesh as the file stores it. Raises NoMeshError."""
        return _attached(self).mesh

    @property
    def positions(self) -> Floats:
        """The neutral mesh's vertices (v, 3) in metres. Raises NoMeshError."""
        return self.mesh.positions

    @property
    def triangles(self) -> Integers:
        """The corners' vertices (t, 3). Raises NoMeshError."""
        return self.mesh.triangles

    @property
    def shapes(self) -> tuple[str, ...]:
        """The output names of the shapes that have a sculpt. Raises NoMeshError."""
        return tuple(_attached(self).shapes)

    @property
    def regions(self) -> Mapping[str, Floats]:
        """Each region's weights (v,), 0 to 1, by output name. Raises NoMeshError."""
        return _attached(self).regions

    @property
    def directions(self) -> Mapping[str, Floats]:
        """Of each region found from deformation, by output name, the direction (v, 3) in which its skin changes most: a
        unit vector of model space whose sign means nothing, 0 where nothing is known. Raises NoMeshError.
        """
        return _attached(self).directions

    @cached_property
    def deformer(self) -> Deformer:
        """The mesh with all its shapes, ready to be posed; made once. Raises NoMeshError."""
        return self.deformer_with(_attached(self).shapes)

    def deformer_with(self, shapes: Mapping[str, Inbetweens]) -> Deformer:
        """The mesh with some of its shapes. Raises NoMeshError."""
        return Deformer(self.mesh, posed_rig(self.character), shapes)

    def __repr__(self) -> str:
        if self.attached is None:
            return f"<AttachedMesh of {self.character.name!r}: no mesh, {counted_errors(self.diagnostics)}>"
        counts = f"{self.mesh.vertex_count} vertices, {len(self.triangles)} triangles, {len(self.shapes)} shapes"
        return f"<AttachedMesh of {self.character.name!r}: {counts}, {counted_errors(self.diagnostics)}>"

    def _repr_html_(self) -> str:
        from plica.api.notebook import diagnostics_html, mesh_html

        picture = "" if self.attached is None else mesh_html(self.mesh, self.positions, repr(self)[1:-1])
        return picture + diagnostics_html(self.diagnostics)


@dataclass(frozen=True, eq=False, repr=False)
class DeformedMesh:
    """The mesh in poses. positions (frames, v, 3): metres of model space; mesh: the neutral mesh that was posed."""

    positions: Floats
    mesh: Mesh

    @property
    def frames(self) -> int:
        """The number of frames."""
        return len(self.positions)

    def normals(self) -> Floats:
        """Unit vertex normals (frames, v, 3), from the triangles around each welded point."""
        from plica.mesh.normals import Normals

        return Normals(self.mesh).of(self.positions)

    def __repr__(self) -> str:
        return f"<DeformedMesh: {counted(self.frames, 'frame')}, {self.mesh.vertex_count} vertices>"

    def _repr_html_(self) -> str:
        from plica.api.notebook import mesh_html

        return mesh_html(self.mesh, self.positions[0], f"frame 0 of {self.frames}") if self.frames else repr(self)[1:-1]


def attach_mesh(character: Character, *, progress: Callable[[str], None] = lambda step: None) -> AttachedMesh:
    """Read the mesh that the spec names and compute its regions and shapes.

    Mistakes in the model and in sculpts are diagnostics of the result. `progress` is called with the name of each step.
    Raises NoRigError, and NoMeshError for a spec that names no model.
    """
    rig = rig_of(character)
    if rig.character.geometry is None:
        raise NoMeshError(f"{character.file} names no model; add a `geometry` line to its character")
    diagnostics = Diagnostics()
    locate = Workspace(character.folder, character.allow).locate
    attached = attach(rig, locate, diagnostics, lambda kind, name: character.origins.get((kind, name)), progress)
    return AttachedMesh(character, attached, diagnostics.all)


def deform_mesh(
    mesh: AttachedMesh,
    poses: PosesLike,
    *,
    shapes: bool | Collection[str] = True,
    method: SkinningMethod | None = None,
) -> DeformedMesh:
    """The mesh in poses: shapes added at the strengths that the poses give, then skinned to the joints.

    shapes: all (True), none (False: the bare skin), or the output names of some. method: the character's own (None),
    `linear` (glTF 2.0, section 3.7.3) or `dual quaternion` (Kavan and others 2007). Sculpts are taken off their poses
    by the character's own, so with another they do not land where they were sculpted. Takes 24 bytes for each vertex
    and frame; pose long clips in parts.

    Raises NoMeshError, also where all shapes are wanted and a sculpt had errors; UnknownNameError for joints, controls
    and shapes that are not there; NoRigError, ArrayError.
    """
    import numpy as np

    attached = _attached(mesh)
    if method is not None and method not in METHODS:
        raise UnknownNameError(f"there is no skinning method `{method}`; there are {' and '.join(METHODS)}")
    if shapes is True and not mesh.ok:
        raise NoMeshError(f"{_first_error(mesh)}; give `shapes=mesh.shapes` for those that could be computed")
    if isinstance(shapes, bool):
        deformer = mesh.deformer if shapes else mesh.deformer_with({})
    else:
        chosen = (shapes,) if isinstance(shapes, str) else tuple(shapes)
        check_names("sculpted shape", chosen, mesh.shapes)
        deformer = mesh.deformer_with({name: attached.shapes[name] for name in mesh.shapes if name in chosen})
    given = as_poses(mesh.character, poses)
    positions = np.empty((given.frames, mesh.mesh.vertex_count, 3))
    for block in deformer.positions(given, method):
        positions[block.start : block.start + len(block.positions)] = block.positions
    return DeformedMesh(positions, attached.mesh)


def _attached(mesh: AttachedMesh) -> Attached:
    if mesh.attached is None:
        raise NoMeshError(_first_error(mesh))
    return mesh.attached


def _first_error(mesh: AttachedMesh) -> str:
    first = next((one.message for one in mesh.diagnostics if one.severity is Severity.ERROR), "no reason is known")
    return f"the mesh of {mesh.character.file} has errors, the first: {first}; see its diagnostics"
