"""The page's script: modules of ours and generated ones put together into one, since a page that opens from disk cannot
load any. Each stays a scope of its own."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from importlib.resources import files
from typing import Final

_IMPORT: Final = re.compile(r'^import \{\s(?P<names>[^}]+?),?\s\} from "\./(?P<module>[\w-]+)\.js";$\n?', re.MULTILINE)
_EXPORT: Final = re.compile(r"^export (?P<what>(?:async )?function\*?|const|class) (?P<name>\w+)", re.MULTILINE)


class UnknownModuleError(RuntimeError):
    """A module imports one that is not there, or itself by way of others. A mistake of Plica's own."""


def page_modules(package: str = "plica.sheet") -> dict[str, str]:
    """The modules of the page as they lie in the folder `page` of a package, by name."""
    folder = files(package).joinpath("page")
    return {
        entry.name.removesuffix(".js"): entry.read_text("utf-8")
        for entry in sorted(folder.iterdir(), key=lambda entry: entry.name)
        if entry.name.endswith(".js")
    }


def bundled(modules: Mapping[str, str], main: str) -> str:
    """All modules that `main` needs as one script, each after those that it imports.

    It is no module itself: it runs where it stands in the document, before what comes after it is read.

    A module imports names from others with `import { a, b } from "./other.js";` on a line of its own and exports
    declarations. Raises UnknownModuleError.
    """
    scopes = "\n".join(_scope(name, modules[name]) for name in _ordered(modules, main, ()))
    return f'(() => {{\n"use strict";\n{scopes}\n}})();'


def _ordered(modules: Mapping[str, str], name: str, above: tuple[str, ...]) -> Iterator[str]:
    if name not in modules or name in above:
        raise UnknownModuleError(f"{name}.js, imported by {above[-1] if above else 'nobody'}")
    done: dict[str, None] = {}
    for found in _IMPORT.finditer(modules[name]):
        done.update(dict.fromkeys(_ordered(modules, found["module"], (*above, name))))
    yield from done
    yield name


def _scope(name: str, text: str) -> str:
    """A module as a function that is called at once and gives what the module exports."""
    exported = ", ".join(found["name"] for found in _EXPORT.finditer(text))
    body = _EXPORT.sub(r"\g<what> \g<name>", _IMPORT.sub(_taken, text))
    return f"const {_variable(name)} = (() => {{\n{body}\nreturn {{ {exported} }};\n}})();"


def _taken(found: re.Match[str]) -> str:
    names = found["names"].replace(" as ", ": ")
    return f"const {{ {names} }} = {_variable(found['module'])};\n"


def _variable(name: str) -> str:
    return "module_" + name.replace("-", "_")
