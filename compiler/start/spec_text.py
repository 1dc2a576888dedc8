"""Writes blocks of the language."""

from __future__ import annotations

from typing import NamedTuple

from plica.start.name_words import is_plain_name
from plica.syntax.builder import encode_text


class FactLine(NamedTuple):
    """One line of a block: a keyword, its values, and a comment after it."""

    keyword: str
    values: str = ""
    comment: str = ""


def block(head: str, facts: list[FactLine], comment: str = "") -> list[str]:
    """The lines of a block, not yet laid out."""
    return [
        f"{head} {{{_after(comment)}",
        *[f"{fact.keyword} {fact.values}{_after(fact.comment)}" for fact in facts],
        "}",
    ]


def _after(comment: str) -> str:
    return f"  // {comment}" if comment else ""


def joint_text(name: str) -> str:
    """A joint's name as the language writes it: quoted unless it is a plain name."""
    return name if is_plain_name(name) else encode_text(name)
