"""Every kind of fact that a declaration may hold: how it is written, what its parts are called, how often it may stand.

How phrases are written: `plica.kinds.phrases`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from plica.kinds.expectations import EXPECTATION_KINDS
from plica.kinds.phrases import children, part_names, symbols
from plica.named_tuples import NamedTuple


class FactKind(NamedTuple):
    """A kind of fact. `group`: facts of one group answer the same question and exclude each other (default: the key).

    `repeatable`: it may stand several times. `added`: an override adds to it and does not replace it. `listed`: its
    part is a list whose items the builder collects by itself.
    """

    key: str
    phrase: str
    group: str = ""
    repeatable: bool = False
    added: bool = False
    listed: bool = False
    shown: str = ""

    @property
    def symbols(self) -> tuple[str, ...]:
        """The words and parts, in order; parts with their braces."""
        return symbols(self.phrase)

    @property
    def part_names(self) -> tuple[str, ...]:
        """The names of the parts, in order."""
        return part_names(self.phrase)

    @property
    def children(self) -> tuple[int, ...]:
        """Which child of the rule each part is."""
        return children(self.phrase)

    @property
    def keyword(self) -> str:
        """The words that a user writes first."""
        return self.shown or self.symbols[0]


_KINDS: Final = (
    # ---- the character
    FactKind("geometry", "geometry {file} [mesh {meshes}]"),
    FactKind("skeleton", "skeleton {joints}", listed=True),
    FactKind("symmetry", "symmetry across {axis} [at {offset}]"),
    FactKind("unit", "unit {amount}"),
    FactKind("stance", "stance {which} pose"),
    FactKind("left_pattern", "left {patterns}"),
    FactKind("right_pattern", "right {patterns}"),
    FactKind("pair", "pair {left} , {right} [as {shared}]", repeatable=True),
    FactKind("pairs_by_position", "pairs by position [with left toward {axis}]", shown="pairs by position"),
    FactKind("names", "names {pattern}"),
    FactKind("sides", "sides {left} , {right}"),
    FactKind("tolerance", "tolerance {amount}"),
    FactKind("band", "band {width}"),
    FactKind("skinning_linear", "skinning linear", group="skinning"),
    FactKind("skinning_dual", "skinning dual quaternion", group="skinning"),
    FactKind("alias", "alias {clip_name} = {joint}", repeatable=True),
    # ---- regions
    FactKind("skin_of", "skin of {joints} [and {below}]", group="source", shown="skin of"),
    FactKind("painted", "painted {image} [uv {uv}]", group="source"),
    FactKind("vertices", "vertices {file}", group="source"),
    FactKind("region_set", "{how} of {regions}", group="source", shown="union, intersection or difference"),
    FactKind("deformed_by", "{how} by {shapes}", group="source", shown="shortened or lengthened"),
    FactKind("deformed_posed", "{how} {pose} [{shapes}]", group="source", shown="shortened or lengthened"),
    FactKind("area_span", "span {least} .. {greatest} [of {measure}]"),
    FactKind("peak", "peak of {area}"),
    FactKind("smoothing", "smoothing {length}"),
    FactKind("islands", "islands at least {area}"),
    FactKind("along_axis", "along {axis} of {joint}", group="direction"),
    FactKind("across_axis", "across {axis} of {joint}", group="direction"),
    FactKind("along_bone", "along bone of {joint}", group="direction"),
    FactKind("across_bone", "across bone of {joint}", group="direction"),
    FactKind("feather", "feather {width}"),
    # ---- drivers, controls, fields
    FactKind("reads", "reads {reading}"),
    FactKind("span", "span {start} .. {end}"),
    FactKind("response", "curve {curve}"),
    FactKind("unclamped", "unclamped"),
    FactKind("control_range", "range {least} .. {greatest}"),
    FactKind("control_rest", "rest {amount}"),
    FactKind("field_rotation", "reads rotation of {joint} [from {relative_to}]", group="reads"),
    FactKind("field_direction", "reads direction {axis} of {joint} [from {relative_to}]", group="reads"),
    FactKind("sample", "sample {name} at {turns} [width {width}]", repeatable=True),
    FactKind("kernel", "kernel {kind} [{width}]"),
    # ---- shapes, details, folds
    FactKind("sculpt", "sculpt {file} [{pose}] [{after}]", group="source"),
    FactKind("morph", "morph {name}", group="source"),
    FactKind("inbetween", "inbetween {strength} {file} [{pose}] [{after}]", repeatable=True),
    FactKind("within", "within {region}"),
    FactKind("follows", "follows {strength}"),
    FactKind("threshold", "threshold {length}"),
    FactKind("draft_volume", "draft volume {share}", shown="draft volume"),
    FactKind("draft_nearness", "draft nearness {amount}", shown="draft nearness"),
    FactKind("draft_border", "draft border {length}", shown="draft border"),
    FactKind("draft_gap", "draft gap {length}", shown="draft gap"),
    FactKind("draft_inbetweens", "draft inbetweens {count}", shown="draft inbetweens"),
    FactKind("one_sided", "one-sided", group="sided"),
    FactKind("two_sided", "two-sided", group="sided"),
    FactKind("relaxed", "relaxed {map}"),
    FactKind("contracted", "contracted {map}"),
    FactKind("uv", "uv {uv}"),
    FactKind("budget", "budget {size}"),
    FactKind("mixing", "mixing {how}"),
    FactKind("in_detail", "in {detail}"),
    FactKind("area", "area {region}"),
    # ---- poses and expectations
    FactKind("pose_at", "at {items}", repeatable=True, listed=True),
    *(FactKind(kind.key, kind.phrase) for kind in EXPECTATION_KINDS.values()),
    # ---- facts that any declaration may hold
    FactKind("note", "note {text}", repeatable=True, added=True),
    FactKind("photo", "photo {image} [{caption}]", repeatable=True, added=True),
    FactKind("renamed_from", "renamed from {name}", shown="renamed from"),
    FactKind("accept", "accept {rule} because {reason}", repeatable=True, added=True),
    # ---- what combinations write without a keyword
    FactKind("strength", "{strength}", listed=True),
)
FACT_KINDS: Final[Mapping[str, FactKind]] = {kind.key: kind for kind in _KINDS}
ADDED: Final = frozenset(kind.group or kind.key for kind in _KINDS if kind.added)
"""Groups of facts that an override adds to."""
PART_INDEXES: Final[Mapping[str, Mapping[str, int]]] = {
    kind.key: {name: index for index, name in enumerate(kind.part_names)} for kind in _KINDS
}
