"""The arms of `tests.support.arms` on disk, with an elbow whose shape is drafted."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

import plica
from plica.api.drafting import DraftedSculpts
from plica.mesh.arrays import Floats, Mesh
from plica.mesh.npz_offsets import StoredOffsets, parse_npz_offsets
from tests.support.arm_models import write_arms
from tests.support.arms import arms_mesh, rig_from
from tests.support.skins import dense

HEAD = """plica 1
character otter {
    geometry  "arms.gltf"
    symmetry  across x
    left      "*_lf"
    right     "*_rt"
}
driver elbow both { reads rotation about z of lowerarm   span 0 deg .. 100 deg }
region forearm both { skin of lowerarm }
region upper both { skin of upperarm }
"""


class DraftedArms:
    """A folder with the arms' model and spec; `facts` are what the shape `hold` says beside what it follows."""

    def __init__(self, folder: Path, facts: str = "") -> None:
        self.folder, self.spec = folder, folder / "arms.plica"
        self.write_model(arms_mesh(rig_from("")))
        self.write(facts)

    def write_model(self, mesh: Mesh) -> None:
        """Another mesh with the same joints."""
        write_arms(self.folder / "arms.gltf", rig_from(""), mesh)

    def write(self, facts: str, head: str = HEAD) -> None:
        """The spec with other facts of the shape."""
        self.spec.write_text(f"{head}shape hold both {{ follows elbow\n{facts} }}\n", "utf-8")

    @property
    def character(self) -> plica.Character:
        """The spec as it is now."""
        result = plica.compile_file(self.spec)
        assert result.ok, [one.message for one in result.diagnostics]
        return result

    def draft(self, **wishes: float | str) -> DraftedSculpts:
        """The shape drafted without contact; written, and said in the spec, where that went well."""
        made = plica.draft_sculpts(self.character, ["hold"], contact=False, **wishes)  # type: ignore[arg-type]
        if made.ok:
            assert not made.write(self.folder)
        return made

    def put_draft(self, inbetweens: int | None = None) -> None:
        """Write what drafting the shape of the arms gives that nothing was changed of; computed once for all tests."""
        for name, content in _first_draft(inbetweens).items():
            path = self.folder / name
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(content)

    def skin(self, at: str = "left elbow 1", shapes: bool = True) -> Floats:
        """The skin (v, 3) in a pose, shapes on or off."""
        return plica.pose_skin(self.character, at=at, on=None if shapes else ()).positions

    def offsets(self) -> list[Floats]:
        """What the left shape and its inbetweens add to the undeformed mesh, (v, 3) each."""
        attached = plica.attach_mesh(self.character).attached
        assert attached is not None
        return [dense(one, attached.mesh.vertex_count) for one in attached.shapes["left_hold"].columns]

    def stored(self, name: str = "sculpts/hold.npz") -> StoredOffsets:
        """What a sculpt's file holds."""
        return parse_npz_offsets((self.folder / name).read_bytes())

    def notes(self) -> list[str]:
        """The names and messages of what is found on the mesh."""
        return [f"{one.name}: {one.message}" for one in plica.attach_mesh(self.character).diagnostics]


@cache
def _first_draft(inbetweens: int | None) -> dict[str, bytes]:
    with TemporaryDirectory() as folder:
        made = DraftedArms(Path(folder)).draft(**({} if inbetweens is None else {"inbetweens": inbetweens}))
    assert made.ok
    return made.files


def moved(mesh: Mesh, vertex: int, by: float) -> Mesh:
    """The mesh with one vertex elsewhere."""
    places = mesh.positions.copy()
    places[vertex, 1] += by
    return replace(mesh, positions=places)


def crept(mesh: Mesh) -> Mesh:
    """The mesh with other skin weights at one vertex that both joints carry."""
    vertex = int(np.argmin(np.abs(mesh.weights[:, 0] - 0.5)))
    weights = mesh.weights.copy()
    weights[vertex] = (0.4, 0.6)
    return replace(mesh, weights=weights)
