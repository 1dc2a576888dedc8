"""The kinds of things that a region is made of. What each weighs on a mesh stands in `plica.mesh.regions`."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final, NamedTuple, get_args

from plica.kinds.complete import complete
from plica.rig.surfaces import Painted, RegionSet, RegionSource, SkinOf, Stored


def _none(_: Any) -> tuple[str, ...]:
    return ()


class RegionSourceKind(NamedTuple):
    """A kind of source, by the class that holds one; `key` is the name of the fact in the syntax tree.

    `text`: as one would write it. `joints`, `regions`, `files`: the names in it, each list in its order.
    """

    of: type
    key: str
    text: Callable[[Any], str]
    joints: Callable[[Any], tuple[str, ...]] = _none
    regions: Callable[[Any], tuple[str, ...]] = _none
    files: Callable[[Any], tuple[str, ...]] = _none


def _painted_text(source: Painted) -> str:
    return f"painted {source.file}" + (f" uv {source.uv}" if source.uv else "")


_KINDS: Final = (
    RegionSourceKind(
        SkinOf, "skin_of", lambda source: f"skin of {', '.join(source.joints)}", joints=lambda source: source.joints
    ),
    RegionSourceKind(Painted, "painted", _painted_text, files=lambda source: (source.file,)),
    RegionSourceKind(Stored, "vertices", lambda source: f"vertices {source.file}", files=lambda source: (source.file,)),
    RegionSourceKind(
        RegionSet,
        "region_set",
        lambda source: f"{source.how} of {', '.join(source.regions)}",
        regions=lambda source: source.regions,
    ),
)
REGION_SOURCES: Final[Mapping[type, RegionSourceKind]] = complete(
    {kind.of: kind for kind in _KINDS}, get_args(RegionSource), "record"
)
REGION_SOURCE_KEYS: Final = tuple(kind.key for kind in _KINDS)


def source_text(source: RegionSource) -> str:
    """A source as one would write it."""
    return REGION_SOURCES[type(source)].text(source)


def joints_of(source: RegionSource) -> tuple[str, ...]:
    """The joints that a source names."""
    return REGION_SOURCES[type(source)].joints(source)


def regions_of(source: RegionSource) -> tuple[str, ...]:
    """The other regions that a source is made of."""
    return REGION_SOURCES[type(source)].regions(source)


def files_in(source: RegionSource) -> tuple[str, ...]:
    """The files that a source is read from."""
    return REGION_SOURCES[type(source)].files(source)
