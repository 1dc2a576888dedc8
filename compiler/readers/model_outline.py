"""What a check needs to know about a model: its skeleton and what its meshes are called and hold."""

from __future__ import annotations

from collections.abc import Sequence

from plica.named_tuples import NamedTuple
from plica.skeleton.bind_pose import BindPose
from plica.skeleton.skeleton import Skeleton, resized
from plica.values import SkinningMethod

MOST_LISTED = 6  # names in one message


class UnreadableModel(Exception):  # noqa: N818 - it names the state of a file, not a fault of ours
    """A model or clip file that cannot be used; the message says why, in the user's words."""


class MeshOutline(NamedTuple):
    """One mesh. `uv_sets` and `morph_targets` by name in the file's order; `vertices` of all primitives.

    `taken`: whether it is part of the character's skin; `nodes`: what the nodes are called that show it; `skinning`:
    how a skin moves it, None where none does; `skinning_stated`: whether the file says so itself, not only its format.
    `morph_weights`: the weights of its morph targets at rest, once for each different set that nodes show it with; none
    where all are 0.
    """

    name: str
    vertices: int
    uv_sets: tuple[str, ...]
    morph_targets: tuple[str, ...]
    skinned: bool
    taken: bool = True
    nodes: tuple[str, ...] = ()
    skinning: SkinningMethod | None = None
    skinning_stated: bool = False
    morph_weights: tuple[tuple[float, ...], ...] = ()


class ModelOutline(NamedTuple):
    """A model without its arrays.

    `skeleton`: the file's rest pose in metres, y up. `unit`: how many metres one length of the file was taken for;
    `unit_stated`: whether the file says so itself, not only its format. `bind`: the same joints in the pose in which
    the skin was bound. `inverse_binds`: whether the file states that (else every inverse bind matrix is the
    identity). `problems`: sentences about what the file leaves unclear and how it was taken.
    """

    skeleton: Skeleton
    bind: BindPose
    meshes: tuple[MeshOutline, ...]
    animations: tuple[str, ...]
    inverse_binds: bool
    problems: tuple[str, ...]
    unit: float = 1.0
    unit_stated: bool = False

    @property
    def skinned_meshes(self) -> tuple[MeshOutline, ...]:
        """The meshes that a skin moves."""
        return tuple(mesh for mesh in self.meshes if mesh.skinned)

    @property
    def morph_targets(self) -> tuple[str, ...]:
        """The names of the skin's morph targets, once each, in the order met."""
        return tuple(dict.fromkeys(name for mesh in self.meshes if mesh.taken for name in mesh.morph_targets))

    @property
    def all_morph_targets(self) -> tuple[str, ...]:
        """The names of the morph targets of all meshes, the skin's or not, once each, in the order met."""
        return tuple(dict.fromkeys(name for mesh in self.meshes for name in mesh.morph_targets))

    def rest_weights(self, morph: str) -> dict[str, tuple[float, ...]]:
        """The weights at rest of the morph targets of this name, by the meshes that have one."""
        result = {}
        for mesh in self.meshes:
            if morph in mesh.morph_targets:
                column = mesh.morph_targets.index(morph)
                result[mesh.name] = tuple(dict.fromkeys(row[column] for row in mesh.morph_weights)) or (0.0,)
        return result


def in_unit(outline: ModelOutline, unit: float) -> ModelOutline:
    """The outline where one length of the file is `unit` metres, whatever it was taken for."""
    factor = unit / outline.unit
    if factor == 1.0:
        return outline
    bind = outline.bind
    bound = None if bind.skeleton is None else resized(bind.skeleton, factor)
    return outline._replace(
        skeleton=resized(outline.skeleton, factor), bind=bind._replace(skeleton=bound), unit=unit, unit_stated=True
    )


def distinct(names: list[str], problems: list[str], what: str) -> tuple[str, ...]:
    """The names with `_2`, `_3`, ... after repeated ones; each repetition is noted in `problems`."""
    taken = set(names)
    if len(taken) == len(names):
        return tuple(names)
    met: set[str] = set()
    numbers: dict[str, int] = {}
    result = []
    for name in names:
        chosen = name
        if name in met:
            number = numbers.get(name, 1) + 1
            while f"{name}_{number}" in taken:
                number += 1
            numbers[name] = number
            chosen = f"{name}_{number}"
            taken.add(chosen)
            problems.append(f"two {what} are called `{name}`; the later one is taken as `{chosen}`")
        met.add(chosen)
        result.append(chosen)
    return tuple(result)


def listed(names: Sequence[str]) -> str:
    """Names for a message, the first few of many."""
    shown = ", ".join(f"`{name}`" for name in names[:MOST_LISTED])
    return shown if len(names) <= MOST_LISTED else f"{shown} and {len(names) - MOST_LISTED} more"
