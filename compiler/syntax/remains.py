"""What can still be told of a declaration that was not understood: its kind, and what it may have declared.

Whatever refers to such a name is no further mistake. Guesses go far rather than short: a name too many hides a finding
until the mistake is mended, a name too few would report one mistake many times.
"""

from __future__ import annotations

import re

from plica.diagnostics.suggest import closest
from plica.syntax import nodes
from plica.syntax.keywords import words

_WORD = re.compile(r"[\w{}-]++")
_FIRST = re.compile(r"[^\W\d]\w*+")
_HEAD = re.compile(r"[^{=\n\"]*+")
_FAMILY = re.compile(r"([^\W\d]\w*+)[ \t]+in\b")
_FILE = re.compile(r"""[ \t]*+["“”'`]?([^"“”'`\s{}]++)""")
_SIDES = frozenset({"both", "left", "right"})
_MOST_WORDS = 4  # of a head that are taken for a name


def lost_in(text: str, bare: str, start: int, end: int) -> tuple[nodes.LostDeclaration, ...]:
    """What a piece of a text may have declared; nothing for text that begins with no word, such as a comment.

    bare: the text without what could be taken for structure, as `recovery.blanked` gives it.
    """
    first = _FIRST.match(bare, start, end)
    if first is None:
        return ()
    kind = closest(first[0], words().declarations) or ""
    if kind == "override":
        return ()
    if kind == "use":
        file = _FILE.match(text, first.end(), end)
        return (nodes.LostDeclaration(kind, file[1] if file else "", start, end),)
    names = _names(text, bare, first.end(), end)
    if not names and not kind:
        return ()
    return tuple([nodes.LostDeclaration(kind, name, start, end) for name in names or ("",)])


def family_of(bare: str, start: int, end: int) -> nodes.EachHead | None:
    """The head of an `each` that was not understood: its variable, whose values are not known; None for none."""
    variable = _FAMILY.search(bare, start, end)
    if variable is None:
        return None
    return nodes.EachHead(nodes.Name(variable[1], variable.start(1), variable.end(1)), (), start, end)


def first_words(text: str) -> tuple[str, ...]:
    """The words that a text holds: which facts a line that was left out may have stated."""
    return tuple(_FIRST.findall(text))


def _names(text: str, bare: str, start: int, end: int) -> tuple[str, ...]:
    """The names that a head may have declared: each of its words, and all of them in one."""
    head = _HEAD.match(bare, start, end)
    stop = start if head is None else head.end()
    found = [word.replace("-", "_") for word in _WORD.findall(text[start:stop]) if word not in _SIDES][:_MOST_WORDS]
    return tuple(dict.fromkeys([*found, "_".join(found)])) if found else ()
