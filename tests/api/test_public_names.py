"""What `import plica` offers, with every signature; how little it costs; and what may stand beside it.

`PLICA_GOLDEN=write python -m pytest tests/api` writes the list anew. Read the diff: what goes breaks somebody.
"""

from __future__ import annotations

import inspect
import os
import pkgutil
import re
import subprocess
import sys
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import plica
import plica.api
import plica.errors

GOLDEN = Path(__file__).parent / "golden" / "public_names.txt"


def described() -> str:
    """Every public name with its signature; of classes the public members too."""
    lines = [line for name in plica.__all__ for line in _described(name, getattr(plica, name))]
    records = {member.__name__: member for module in api_modules() for member in _own_classes(module)}
    for name in sorted(set(records) - set(plica.__all__)):
        lines += _described(f"{records[name].__module__}.{name}", records[name])
    return re.sub(r"<function .*? at 0x\w+>", "...", "\n".join(lines) + "\n")


def api_modules() -> list[object]:
    """The modules whose records and errors users meet."""
    names = [info.name for info in pkgutil.iter_modules(plica.api.__path__)]
    return [plica.errors, *(import_module(f"plica.api.{name}") for name in names)]


def _own_classes(module: object) -> Iterator[type]:
    for name, member in vars(module).items():
        if inspect.isclass(member) and member.__module__ == module.__name__ and not name.startswith("_"):  # type: ignore[attr-defined]
            yield member


def _described(name: str, value: object) -> Iterator[str]:
    if not inspect.isclass(value):
        assert callable(value)
        yield f"{name}{inspect.signature(value)}"
        return
    if issubclass(value, Exception):
        yield f"{name}({', '.join(base.__name__ for base in value.__bases__)})"
        return
    yield f"{name}{inspect.signature(value)}"
    for member, content in sorted(vars(value).items()):
        if member.startswith("_"):
            continue
        if isinstance(content, property):
            yield f"    {member} -> {inspect.signature(content.fget).return_annotation}"  # type: ignore[arg-type]
        elif callable(content):
            yield f"    {member}{inspect.signature(content)}"
        elif hasattr(content, "func"):
            yield f"    {member} -> {inspect.signature(content.func).return_annotation}"


def test_the_public_names_are_those_of_the_golden_file() -> None:
    text = described()
    if os.environ.get("PLICA_GOLDEN") == "write":
        GOLDEN.write_text(text, "utf-8")
    assert text == GOLDEN.read_text("utf-8")


def test_everything_public_says_what_it_does() -> None:
    for name in plica.__all__:
        assert (inspect.getdoc(getattr(plica, name)) or "").strip().endswith("."), name


def test_functions_that_raise_name_errors_that_exist() -> None:
    errors = {name for name in vars(plica.errors) if name.endswith("Error")}
    python = {"ValueError", "RuntimeError", "LookupError", "IndexError", "NotImplementedError"}
    for name in plica.__all__:
        named = set(re.findall(r"\b\w+Error\b", inspect.getdoc(getattr(plica, name)) or ""))
        assert named <= errors | python, name


def test_no_public_name_is_also_a_module() -> None:
    """For importing such a module would put it in the place of the function."""
    modules = {info.name for info in pkgutil.iter_modules(plica.__path__)}
    assert modules.isdisjoint(plica.__all__)


def test_all_names_are_told_to_completion_and_no_others_exist() -> None:
    assert set(plica.__all__) <= set(dir(plica))
    assert list(plica.__all__) == sorted(plica.__all__)
    assert not hasattr(plica, "no_such_name")


def test_the_lists_in_the_package_agree() -> None:
    """The names, the modules that they are loaded from, and the imports that checkers of types read."""
    import ast

    tree = ast.parse(Path(inspect.getfile(plica)).read_text("utf-8"))
    imported = {
        alias.name: node.module
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("plica.")
        for alias in node.names
    }
    loaded = {name: f"plica.{module}" for name, module in plica._MODULES.items()}
    assert imported == loaded
    assert set(loaded) == set(plica.__all__)


def test_importing_loads_nothing_and_compiling_nothing_heavy() -> None:
    code = (
        "import sys, plica\n"
        "assert not [name for name in sys.modules if name.startswith('plica.')], 'loaded too early'\n"
        "plica.compile_text('plica 1')\n"
        "print(sorted({'numpy', 'scipy', 'pydantic', 'jinja2', 'PIL', 'rich'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
