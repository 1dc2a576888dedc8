"""Lays out blocks of the language."""

from __future__ import annotations

from typing import NamedTuple

from plica.start.words import is_plain_name
from plica.syntax.builder import encode_text


class Fact(NamedTuple):
    """One line of a block: a keyword, its values, and a comment after it."""

    keyword: str
    values: str = ""
    comment: str = ""


def block(head: str, facts: list[Fact], comment: str = "") -> list[str]:
    """The lines of a block: values aligned, comments aligned after them."""
    width = max((len(fact.keyword) for fact in facts), default=0)
    bodies = [f"    {fact.keyword:<{width}}  {fact.values}".rstrip() for fact in facts]
    opening = f"{head} {{"
    column = max((len(body) for body, fact in zip(bodies, facts, strict=True) if fact.comment), default=0)
    lines = [f"{opening}    // {comment}" if comment else opening]
    for body, fact in zip(bodies, facts, strict=True):
        lines.append(f"{body:<{column}}    // {fact.comment}" if fact.comment else body)
    return [*lines, "}"]


def joint_text(name: str) -> str:
    """A joint's name as the language writes it: quoted unless it is a plain name."""
    return name if is_plain_name(name) else encode_text(name)
