"""`python -m tests.mutation.trial MODULE NUMBER TEST...`: the tests, with one fault in one module.

The fault is put in as the module is imported, so nothing on disk changes. With `none` as the number there is no fault.
"""

from __future__ import annotations

import sys
from importlib.machinery import ModuleSpec, SourceFileLoader
from pathlib import Path
from types import ModuleType

import pytest

from tests.mutation.mutants import mutated

ROOT = Path(__file__).parents[2]


class _Faulty(SourceFileLoader):
    """Loads one module with its fault."""

    source = Path()
    number = 0

    def get_code(self, fullname: str) -> object:  # type: ignore[override]
        if Path(self.path).read_bytes() != self.source.read_bytes():
            raise SystemExit(f"{self.path} is another version than {self.source}: install the package again")
        return compile(mutated(self.source, self.number), self.path, "exec", dont_inherit=True)


def _full_name(module: Path) -> str:
    """The importable name of a module of the package, wherever the package is installed."""
    parts = module.with_suffix("").parts
    parts = parts[1:] if parts[0] == "compiler" else parts
    return ".".join(("plica", *(part for part in parts if part != "__init__")))


class _Finder:
    """Stands before all other finders, for one module."""

    def __init__(self, module: Path, number: int) -> None:
        self._name, self._source, self._number = _full_name(module), ROOT / module, number

    def find_spec(self, fullname: str, path: object = None, target: ModuleType | None = None) -> ModuleSpec | None:
        for finder in sys.meta_path:
            if finder is self or not hasattr(finder, "find_spec"):
                continue
            spec = finder.find_spec(fullname, path, target)  # type: ignore[arg-type]
            if spec is None:
                continue
            if spec.origin and fullname == self._name:
                loader = _Faulty(fullname, spec.origin)
                loader.source, loader.number = self._source, self._number
                spec.loader = loader
            return spec
        return None


def main() -> int:
    """Runs the tests; 0 where none of them noticed anything."""
    module, number, *tests = sys.argv[1:]
    if number != "none":
        sys.meta_path.insert(0, _Finder(Path(module), int(number)))  # type: ignore[arg-type]
    sys.dont_write_bytecode = True
    quiet = [
        "-x",
        "-q",
        "--no-header",
        "-p",
        "no:cacheprovider",
        "-o",
        "addopts=--import-mode=importlib",
        "--tb=no",
        "-rfE",
    ]
    return int(pytest.main([*quiet, *tests]))


if __name__ == "__main__":
    sys.exit(main())
