"""The templates of generated Python files."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jinja2 import Template


@cache
def template(file: str) -> Template:
    """A template of this folder, by the name of its file."""
    from jinja2 import Environment, StrictUndefined

    text = files("plica.targets.python").joinpath(file).read_text("utf-8")
    return Environment(undefined=StrictUndefined, autoescape=False, keep_trailing_newline=True).from_string(text)
