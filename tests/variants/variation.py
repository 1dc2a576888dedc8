"""One variant of a character: the changed model, how it follows the character's motion, which edits of the spec it
needs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from tests.variants.characters import Character, model_of, motion_of
from tests.variants.model_file import Floats, Model, parts


@dataclass
class Variation:
    """A model that was made from a character's.

    place (4, 4): takes the character's model space to the variation's. follows: for a node, the character's node whose
    motion it has and the matrix C (4, 4) from the one's axes to the other's: world' = place world C; a node that
    is not there keeps its local matrix. The others are edits of the spec: `facts` of the character, `forearm` what the
    region of the forearm is the skin of beside it, `hung` whether feet and hands are read relative to the limb, `own`
    whether readings about a joint's own axes are left as they are, `stated` whether pairs are stated, `placed`
    whether they are found by position instead, without a name.
    """

    character: Character
    model: Model
    place: Floats = field(default_factory=lambda: np.eye(4))
    follows: dict[int, tuple[int, Floats]] = field(default_factory=dict)
    facts: tuple[str, ...] = ()
    forearm: tuple[str, ...] = ()
    hung: bool = False
    own: bool = True
    stated: bool = False
    placed: bool = False
    left: str = ""
    right: str = ""

    @property
    def scale(self) -> float:
        """How many times as large as the character the variation is."""
        return float(np.cbrt(np.linalg.det(self.place[:3, :3])))

    def direction(self, vector: Floats) -> Floats:
        """A direction of the character's model space in the variation's."""
        return np.asarray(self.place[:3, :3] @ vector / self.scale)

    def name_of(self, base: int) -> str:
        """What the joint is called that the character's node has become."""
        number = next(number for number, (node, _) in self.follows.items() if node == base)
        return joint_name(self.model, number)

    def follow(self) -> None:
        """Every node that came from the character's goes with it, from where both stand now."""
        base = model_of(self.character).worlds()
        worlds = self.model.worlds()
        for number in range(len(base)):
            self.follows[number] = (number, np.linalg.inv(self.place @ base[number]) @ worlds[number])

    def worlds(self) -> Floats:
        """The motion: where every node stands in each frame, (nodes, frames, 4, 4)."""
        motion = motion_of(self.character)
        result = np.zeros((len(self.model.nodes), *motion.shape[1:]))
        for number in self.model.order():
            node = self.model.nodes[number]
            if number in self.follows:
                base, own = self.follows[number]
                result[number] = self.place @ motion[base] @ own
            else:
                result[number] = node.local if node.parent is None else result[node.parent] @ node.local
        return result

    def poses(self) -> dict[str, tuple[Floats, Floats, Floats]]:
        """Local rotations (frames, 4), translations and scales (frames, 3) of every node by the joint's name."""
        worlds = self.worlds()
        result = {}
        for number, node in enumerate(self.model.nodes):
            local = worlds[number]
            if node.parent is not None:
                local = np.linalg.inv(worlds[node.parent]) @ local
            translation, rotation, scale = parts(local, node.signs)
            result[joint_name(self.model, number)] = (rotation, translation, scale)
        return result


def joint_name(model: Model, number: int) -> str:
    """What a node is called as a joint."""
    return model.nodes[number].name or f"joint_{number}"


class Variant(NamedTuple):
    """A way to write the same character. refused: the name of the diagnostic that may refuse it, "" if it must hold;
    chained: frames in it come out of chains in single precision: inverse bind matrices that the neutral stance is read
    from, or the transforms of a whole limb written as that of one joint; or the mirror plane is fitted to joints that
    are even but for such rounding, instead of lying along an axis."""

    name: str
    about: str
    make: Callable[[Character], Variation]
    refused: str = ""
    chained: bool = False


def unchanged(character: Character) -> Variation:
    """The character as it is, ready to be changed."""
    result = Variation(character, model_of(character).copy(), left=character.left, right=character.right)
    result.follow()
    return result
