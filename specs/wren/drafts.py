"""Wren's drafted sculpts: what the skin of her limbs and fingers does where they bend, as `plica draft` computes it."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from plica.api.character import compile_file
from plica.api.drafting import draft_sculpts
from plica.demo import SPEC, demo_files
from plica.diagnostics import Diagnostics
from plica.emit.writer import write
from plica.specs.wren import otter

SHAPES: Final = ("elbow_crease", "armpit_hold", "knee_hold", *(f"{finger.name}_knuckle" for finger in otter.FINGERS))
"""The shapes that are drafted, in this order."""


def is_draft(path: str) -> bool:
    """Whether the file at this path in `data/` is a drafted sculpt."""
    return path.startswith(tuple(f"sculpts/{shape}" for shape in SHAPES))


def drafted_files(made: Mapping[str, bytes]) -> dict[str, bytes]:
    """The drafted sculpts, by path in `data/`, of the demo with these files (`made.made_files`) in place of its own.

    Takes minutes, and the extra `draft`. Raises ValueError where a shape cannot be drafted, or where the spec does not
    say the inbetweens that it gets.
    """
    diagnostics = Diagnostics()
    with tempfile.TemporaryDirectory() as name:
        write({**demo_files(), **made}, Path(name), diagnostics)
        drafts = draft_sculpts(compile_file(Path(name) / SPEC), SHAPES)
    problems = [one.message for one in (*diagnostics.all, *drafts.diagnostics)]
    for one in drafts.drafts:
        problems += [f"the spec is to say of {one.declared}: {line}" for line in one.lines]
        problems += [f"the spec is to say no more of {one.declared}: {line}" for line in one.obsolete]
    if problems:
        raise ValueError("; ".join(problems))
    return drafts.files
