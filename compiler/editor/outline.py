"""The declarations of a text, for an editor's list of what is in it."""

from __future__ import annotations

from typing import NamedTuple

from plica.syntax import nodes


class Item(NamedTuple):
    """A declaration: what it is called, its keyword, the whole of it and its name (offsets), what it holds."""

    name: str
    kind: str
    start: int
    end: int
    name_start: int
    name_end: int
    items: tuple[Item, ...] = ()


def outline(document: nodes.Document) -> tuple[Item, ...]:
    """The declarations in the order in which they are written; those of an `each` stand inside it."""
    return tuple(_item(node) for node in document.declarations)


class NamedPlace(NamedTuple):
    """A declaration by its name and keyword, and the place of the name (offsets)."""

    name: str
    kind: str
    start: int
    end: int


def named(document: nodes.Document, query: str) -> list[NamedPlace]:
    """The declarations of a text, those in families included, whose names hold a text, upper or lower case."""
    waiting, result = list(outline(document)), []
    while waiting:
        item = waiting.pop(0)
        waiting[:0] = item.items
        if query.casefold() in item.name.casefold():
            result.append(NamedPlace(item.name, item.kind, item.name_start, item.name_end))
    return result


def _item(node: nodes.Declaration) -> Item:
    match node:
        case nodes.Each(head, declarations, start, end):
            inner = tuple(_item(declaration) for declaration in declarations)
            return Item(f"each {head.name.text}", "each", start, end, head.name.start, head.name.end, inner)
        case nodes.Override(target, start, end):
            item = _item(target)
            return item._replace(name=f"override {item.name}", start=start, end=end)
        case nodes.UseLibrary(path, prefix, _, start, end):
            name = f"{path.text} as {prefix.text}" if prefix else path.text
            return Item(name, "use", start, end, path.start, path.end)
        case nodes.Block():
            side = f" {node.side}" if node.side else ""
            if node.name is None:
                return Item(f"{node.kind}{side}", node.kind, node.start, node.end, node.start, node.start + 6)
            return Item(node.name.text + side, node.kind, node.start, node.end, node.name.start, node.name.end)
        case nodes.CombineDeclaration() | nodes.CurveDeclaration() | nodes.Parameter():
            kind = type(node).__name__.removesuffix("Declaration").lower()
            return Item(node.name.text, kind, node.start, node.end, node.name.start, node.name.end)
