"""The faults: one small change of a module's syntax tree each."""

from __future__ import annotations

import ast
import copy
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

_COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
_ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Mod: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}


class Mutant(NamedTuple):
    """One fault. `number` counts the module's mutants in the order of their places; `line` is from 1.

    `key` names it in `equivalent.toml` and in samples, whatever lines stand before it: the module, the function, the
    text of the line, the change, and a count where all these are the same.
    """

    module: Path
    number: int
    line: int
    text: str
    change: str
    key: str


class _Change(NamedTuple):
    line: int
    words: str
    apply: ast.AST
    field: str
    index: int | None
    value: object


def full_name(module: Path) -> str:
    """The importable name of a module of the package, wherever the package is installed."""
    parts = module.with_suffix("").parts
    parts = parts[1:] if parts[0] == "compiler" else parts
    return ".".join(("plica", *(part for part in parts if part != "__init__")))


def mutants_of(module: Path) -> list[Mutant]:
    """All mutants of a module."""
    source = module.read_text("utf-8")
    lines, tree = source.splitlines(), ast.parse(source)
    functions, counts = _functions(tree), Counter[str]()
    result = list[Mutant]()
    for number, change in enumerate(_changes(tree)):
        text = lines[change.line - 1].strip()
        key = f"{module.as_posix()}: {functions.get(change.line, 'module')}: {text}: {change.words}"
        counts[key] += 1
        unique = key if counts[key] == 1 else f"{key} ({counts[key]})"
        result.append(Mutant(module, number, change.line, text, change.words, unique))
    return result


def _functions(tree: ast.Module) -> dict[int, str]:
    """The innermost function, by line."""
    result: dict[int, str] = {}
    for node in ast.walk(tree):  # breadth first: what is inside comes later
        if isinstance(node, ast.FunctionDef):
            result |= dict.fromkeys(range(node.lineno, (node.end_lineno or node.lineno) + 1), node.name)
    return result


def mutated(module: Path, number: int) -> str:
    """The text of a module with one of its faults in it."""
    tree = ast.parse(module.read_text("utf-8"))
    change = list(_changes(tree))[number]
    if change.index is None:
        setattr(change.apply, change.field, change.value)
    else:
        getattr(change.apply, change.field)[change.index] = change.value
    return ast.unparse(ast.fix_missing_locations(tree))


def _changes(tree: ast.Module) -> Iterator[_Change]:
    for node in _code(tree):
        if isinstance(node, ast.Compare):
            for index, operator in enumerate(node.ops):
                other = _COMPARISONS[type(operator)]
                words = f"{type(operator).__name__} to {other.__name__}"
                yield _Change(node.lineno, words, node, "ops", index, other())
        elif isinstance(node, ast.BinOp) and type(node.op) in _ARITHMETIC:
            other_operator = _ARITHMETIC[type(node.op)]
            words = f"{type(node.op).__name__} to {other_operator.__name__}"
            yield _Change(node.lineno, words, node, "op", None, other_operator())
        elif isinstance(node, ast.BoolOp):
            swapped = ast.Or() if isinstance(node.op, ast.And) else ast.And()
            words = f"{type(node.op).__name__} to {type(swapped).__name__}"
            yield _Change(node.lineno, words, node, "op", None, swapped)
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
            yield _Change(node.lineno, "sign lost", node, "op", None, ast.UAdd())
        elif isinstance(node, ast.If | ast.IfExp | ast.While) and not _is_for_types(node):
            negated = ast.UnaryOp(ast.Not(), copy.deepcopy(node.test))
            yield _Change(node.lineno, "condition negated", node, "test", None, negated)
        elif isinstance(node, ast.Continue | ast.Break | ast.Constant):
            continue
        yield from _changed_children(node)


def _changed_children(node: ast.AST) -> Iterator[_Change]:
    """Constants and jumps are changed where they hang, for they have no place to be changed in by themselves."""
    for field, value in ast.iter_fields(node):
        items = value if isinstance(value, list) else [value]
        for index, item in enumerate(items):
            place = index if isinstance(value, list) else None
            if isinstance(item, ast.Constant) and (other := _other_constant(item.value)) is not None:
                words = f"{item.value!r} to {other.value!r}"
                yield _Change(item.lineno, words, node, field, place, ast.copy_location(other, item))
            elif isinstance(item, ast.Continue):
                yield _Change(
                    item.lineno, "continue to break", node, field, place, ast.copy_location(ast.Break(), item)
                )


def _other_constant(value: object) -> ast.Constant | None:
    if isinstance(value, bool):
        return ast.Constant(not value)
    if isinstance(value, int):
        return ast.Constant(value + 1)
    if isinstance(value, float):
        return ast.Constant(value * 2 + 1)
    return None


def _code(tree: ast.Module) -> Iterator[ast.AST]:
    """The nodes that are executed: no annotations, docstrings, imports for types, or what a `raise` says."""
    todo: list[ast.AST] = [tree]
    while todo:
        node = todo.pop(0)
        yield node
        for field, value in ast.iter_fields(node):
            if field in ("annotation", "returns", "type_comment") or isinstance(node, ast.Raise | ast.Import):
                continue
            if _is_for_types(node):
                continue
            children = value if isinstance(value, list) else [value]
            todo += [child for child in children if isinstance(child, ast.AST)]


def _is_for_types(node: ast.AST) -> bool:
    return isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
