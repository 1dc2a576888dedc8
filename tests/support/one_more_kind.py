"""`python -m tests.support.one_more_kind`: loads the package with one more kind of something, which nothing handles.

Reads a JSON list of cases from standard input, `{"changes": {MODULE: [[OLD, NEW], ...]}, "loads": [MODULE, ...]}`, and
writes one line of JSON for each case: for each module to load, the error that loading it raised, or null. The change
is made as the changed module is imported; nothing on disk changes.
"""

from __future__ import annotations

import json
import sys
from importlib import import_module
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder, SourceFileLoader
from pathlib import Path
from types import CodeType
from typing import Any

Changes = dict[str, list[list[str]]]


class _Changed(SourceFileLoader):
    """Loads a module with pieces of its text exchanged."""

    pieces: list[list[str]]

    def get_code(self, fullname: str) -> CodeType:
        text = Path(self.path).read_text("utf-8")
        for old, new in self.pieces:
            if text.count(old) != 1:
                raise LookupError(f"{fullname} does not hold once: {old}")
            text = text.replace(old, new)
        return compile(text, self.path, "exec", dont_inherit=True)


class _Finder(MetaPathFinder):
    def __init__(self, changes: Changes) -> None:
        self._changes = changes

    def find_spec(self, fullname: str, path: Any = None, target: Any = None) -> ModuleSpec | None:
        pieces = self._changes.get(fullname)
        spec = PathFinder.find_spec(fullname, path, target) if pieces else None
        if spec is None or spec.origin is None or pieces is None:
            return None
        loader = _Changed(fullname, spec.origin)
        loader.pieces = pieces
        spec.loader = loader
        return spec


def _errors(changes: Changes, loads: list[str]) -> dict[str, str | None]:
    for name in [name for name in sys.modules if name == "plica" or name.startswith("plica.")]:
        del sys.modules[name]
    finder = _Finder(changes)
    sys.meta_path.insert(0, finder)
    try:
        return {name: _error(name) for name in loads}
    finally:
        sys.meta_path.remove(finder)


def _error(name: str) -> str | None:
    """What importing the module raises, or calling the function that is named after a `:`."""
    module, _, function = name.partition(":")
    try:
        loaded = import_module(module)
        if function:
            getattr(loaded, function)()
    except Exception as error:
        return f"{type(error).__name__}: {error}"
    return None


if __name__ == "__main__":
    for case in json.load(sys.stdin):
        sys.stdout.write(json.dumps(_errors(case["changes"], case["loads"])) + "\n")
