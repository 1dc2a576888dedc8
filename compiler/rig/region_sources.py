"""The kinds of things that a region is made of. What each weighs on a mesh stands in `plica.mesh.regions`."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final, get_args

from plica.kinds.complete import complete
from plica.named_tuples import NamedTuple
from plica.quantities import length, percent, quantity
from plica.rig.entry_text import posed_text, vector_text
from plica.rig.surfaces import DeformedSkin, JointPose, Painted, RegionSet, RegionSource, SkinOf, Stored, StrengthPose


def _none(_: Any) -> tuple[Any, ...]:
    return ()


class RegionSourceKind(NamedTuple):
    """A kind of source, by the class that holds one; `keys` are the names of its facts in the syntax tree.

    `text`: as one would write it. `joints`, `regions`, `shapes`, `files`: the names in it, each list in its order;
    `pose`: the pose that it is found in.
    """

    of: type
    keys: tuple[str, ...]
    text: Callable[[Any], str]
    joints: Callable[[Any], tuple[str, ...]] = _none
    regions: Callable[[Any], tuple[str, ...]] = _none
    shapes: Callable[[Any], tuple[str, ...]] = _none
    files: Callable[[Any], tuple[str, ...]] = _none
    pose: Callable[[Any], tuple[StrengthPose | JointPose, ...]] = _none


def _painted_text(source: Painted) -> str:
    return f"painted {source.file}" + (f" uv {source.uv}" if source.uv else "")


def _deformed_text(source: DeformedSkin) -> str:
    """The source and the facts beside it, those of the language's order."""
    if source.by:
        found = f"by {', '.join(source.by)}"
    else:
        on = f"after {', '.join(source.after)}" if source.after else "without shapes"
        found = f"posed at {', '.join(map(posed_text, source.pose))} {on}"
    least, greatest = map(percent, source.span)
    facts = [
        f"{source.how} {found}",
        f"span {least} .. {greatest} of {source.measure}",
        f"peak of {quantity(source.peak, 'cm2')}",
        f"smoothing {length(source.smoothing)}",
        f"islands at least {quantity(source.island, 'cm2')}",
    ]
    if source.direction is not None:
        facts.append(f"{source.direction.way} {vector_text(source.direction.axis)} in model")
    return " ".join(facts)


_KINDS: Final = (
    RegionSourceKind(
        SkinOf, ("skin_of",), lambda source: f"skin of {', '.join(source.joints)}", joints=lambda source: source.joints
    ),
    RegionSourceKind(Painted, ("painted",), _painted_text, files=lambda source: (source.file,)),
    RegionSourceKind(
        Stored, ("vertices",), lambda source: f"vertices {source.file}", files=lambda source: (source.file,)
    ),
    RegionSourceKind(
        RegionSet,
        ("region_set",),
        lambda source: f"{source.how} of {', '.join(source.regions)}",
        regions=lambda source: source.regions,
    ),
    RegionSourceKind(
        DeformedSkin,
        ("deformed_by", "deformed_posed"),
        _deformed_text,
        shapes=lambda source: (*source.by, *source.after),
        pose=lambda source: source.pose,
    ),
)
REGION_SOURCES: Final[Mapping[type, RegionSourceKind]] = complete(
    {kind.of: kind for kind in _KINDS}, get_args(RegionSource), "record"
)
REGION_SOURCE_KEYS: Final = tuple(key for kind in _KINDS for key in kind.keys)


def source_text(source: RegionSource) -> str:
    """A source as one would write it."""
    return REGION_SOURCES[type(source)].text(source)


def joints_of(source: RegionSource) -> tuple[str, ...]:
    """The joints that a source names."""
    return REGION_SOURCES[type(source)].joints(source)


def regions_of(source: RegionSource) -> tuple[str, ...]:
    """The other regions that a source is made of."""
    return REGION_SOURCES[type(source)].regions(source)


def shapes_of(source: RegionSource) -> tuple[str, ...]:
    """The shapes that a source is found by or with."""
    return REGION_SOURCES[type(source)].shapes(source)


def pose_of(source: RegionSource) -> tuple[StrengthPose | JointPose, ...]:
    """The pose that a source is found in; empty for none."""
    return REGION_SOURCES[type(source)].pose(source)


def files_in(source: RegionSource) -> tuple[str, ...]:
    """The files that a source is read from."""
    return REGION_SOURCES[type(source)].files(source)
