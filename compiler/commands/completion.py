"""`plica completion`: what completes Plica's words in a shell, by the library shtab."""

from __future__ import annotations

import argparse
from collections.abc import Iterator

from plica.commands.output import put

_FILES = ("FILE", "SPEC", "MODEL", "OLD", "NEW", "MESHES")
_FOLDERS = ("DIR", "FOLDER")


def completion(options: argparse.Namespace) -> int:
    """Print the script for a shell."""
    import shtab

    from plica.commands.arguments import whole_parser

    parser = whole_parser()
    for action in _actions(parser):
        words = str(action.metavar or action.dest).upper()
        kind = shtab.FILE if _holds(words, _FILES) else shtab.DIRECTORY if _holds(words, _FOLDERS) else None
        if kind is not None and action.choices is None:
            action.complete = kind  # type: ignore[attr-defined]
    put(shtab.complete(parser, options.shell) + "\n")
    return 0


def _holds(words: str, kinds: tuple[str, ...]) -> bool:
    return any(kind in words for kind in kinds)


def _actions(parser: argparse.ArgumentParser) -> Iterator[argparse.Action]:
    """Every argument of the parser and of those below it."""
    for action in parser._actions:
        yield action
        if isinstance(action, argparse._SubParsersAction):
            for below in action.choices.values():
                yield from _actions(below)
