"""All fuzz targets by name, each imported when it is asked for: a process of the harness needs one of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from importlib import import_module
from typing import Final

from tests.fuzz.target import Target

MODULES: Final = {
    "texts": ("text", "format", "template"),
    "models": ("gltf", "glb", "usd"),
    "motion": ("bvh",),
    "arrays": ("obj", "npz", "image"),
    "documents": ("json", "toml"),
    "kept": ("cache",),
    "projects": ("project", "outcome"),
    "editor": ("editor", "colours"),
    "commands": ("command",),
}


class _Targets(Mapping[str, Target]):
    def __getitem__(self, name: str) -> Target:
        for module, names in MODULES.items():
            if name in names:
                result: tuple[Target, ...] = import_module(f"{__name__}.{module}").TARGETS
                return result[names.index(name)]
        raise KeyError(name)

    def __iter__(self) -> Iterator[str]:
        return (name for names in MODULES.values() for name in names)

    def __len__(self) -> int:
        return sum(map(len, MODULES.values()))


TARGETS: Final[Mapping[str, Target]] = _Targets()
