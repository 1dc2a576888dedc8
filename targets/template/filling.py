"""Filling a template with a rig, in Jinja's sandbox; what goes wrong becomes a mistake with its place."""

from __future__ import annotations

import re
from collections.abc import Callable
from math import degrees
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple

from jinja2 import BaseLoader, Environment, StrictUndefined, TemplateError, TemplateNotFound, TemplateSyntaxError
from jinja2.sandbox import ImmutableSandboxedEnvironment

from plica import file_names, regular_files
from plica.rig.rig import Rig
from plica.rig.rig_json import encoder, plain
from plica.source import Source, Span

_ENTRY = re.compile(r"'plica\.rig\.\w+\.(\w+) object'")
_LINE_ENDS = re.compile(r"\r\n?")  # Jinja counts lines by each of them, and fills templates with LF for all
# What of Jinja gives other results from run to run.
_RANDOM_FILTERS = ("random",)
_RANDOM_GLOBALS = ("lipsum",)


class Mistake(NamedTuple):
    """Why a template was not filled: a diagnostic's name, what fills it, and its place."""

    name: str
    values: dict[str, str]
    span: Span | None


def fill(path: Path, rig: Rig) -> str | Mistake:
    """The text of the template at `path`, filled, or the mistake that stood in the way.

    Takes whatever time and memory the template asks for: `within_limits.fill_within_limits` bounds both.
    """
    loader = FolderLoader(path.parent)
    try:
        return _environment(loader).get_template(path.name).render(rig=rig)
    except TemplateSyntaxError as error:
        span = loader.line_span(error.filename or path.as_posix(), error.lineno)
        return Mistake("template-mistake", {"problem": _sentence(error)}, span)
    except TemplateNotFound as error:
        problem = loader.problems.get(str(error.name), "there is no such file")
        return Mistake("template-unreadable", {"template": str(error.name), "problem": problem}, _place(error, loader))
    except MemoryError:  # for whoever set the limit
        raise
    except Exception as error:  # a template can make any operation of Python fail
        return Mistake("template-failed", {"problem": _sentence(error)}, _place(error, loader))


class FolderLoader(BaseLoader):
    """Templates of one folder and those below it, never by way of links that lead out; remembers what it read."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.sources: dict[str, Source] = {}
        self.problems: dict[str, str] = {}

    def get_source(self, environment: Environment, template: str) -> tuple[str, str, Callable[[], bool] | None]:
        """The text of a template and the path that names it. Raises TemplateNotFound, and notes why."""
        place = self.folder / template
        path = place.as_posix()
        try:
            inside = place.resolve().is_relative_to(self.folder.resolve())
            text = self._content(place, template) if inside else None
        except (regular_files.Unreadable, RuntimeError) as error:  # RuntimeError: links in a circle
            self.problems[template] = str(error)
        except UnicodeDecodeError:
            self.problems[template] = "it is not UTF-8 text"
        except (OSError, ValueError):  # too long, or holding a null character
            self.problems[template] = "it has no usable name"
        else:
            if text is not None:
                self.sources[path] = Source(path, text)
                return text, path, None
            self.problems[template] = "it lies outside the folder of the template"
        raise TemplateNotFound(template)

    def _content(self, place: Path, template: str) -> str:
        """The text. Raises Unreadable, UnicodeDecodeError."""
        if (problem := file_names.problem_of(file_names.normalised(template))) is not None:
            raise regular_files.Unreadable(problem)
        return _LINE_ENDS.sub("\n", regular_files.content(place, "text_bytes").decode("utf-8"))

    def line_span(self, path: str, line: int) -> Span | None:
        """The text of a line, without its indentation; None for a file that was not read."""
        source = self.sources.get(path)
        if source is None:
            return None
        line = min(max(line, 1), len(source.line_starts))
        text = source.line_text(line)
        start = source.line_starts[line - 1] + len(text) - len(text.lstrip())
        return Span(source, start, min(start + max(len(text.strip()), 1), len(source.text)))


def _sentence(error: Exception) -> str:
    """What an error says, with entries of the rig called as in the documents and not by their Python classes."""
    text = (error.message if isinstance(error, TemplateError) else None) or str(error)
    text = _ENTRY.sub(lambda match: f"a `{match[1]}` of the rig", text)
    return text.strip().rstrip(".") or type(error).__name__


def _place(error: Exception, loader: FolderLoader) -> Span | None:
    """The innermost line of a template on the way to an error; Jinja maps its tracebacks to template lines."""
    result = None
    step: TracebackType | None = error.__traceback__
    while step is not None:
        result = loader.line_span(step.tb_frame.f_code.co_filename, step.tb_lineno) or result
        step = step.tb_next
    return result


def _environment(loader: FolderLoader) -> Environment:
    environment = ImmutableSandboxedEnvironment(
        loader=loader,
        undefined=StrictUndefined,
        autoescape=False,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    for name in _RANDOM_FILTERS:
        del environment.filters[name]
    for name in _RANDOM_GLOBALS:
        del environment.globals[name]
    environment.filters.update(FILTERS)
    environment.globals["refuse"] = refuse
    return environment


class RefusedByTemplateError(ValueError):
    """What a template says that its form cannot hold."""


def refuse(reason: object) -> str:
    """For templates: their form cannot hold this rig, so nothing is written. Raises RefusedByTemplateError."""
    raise RefusedByTemplateError(str(reason))


def in_degrees(angle: float, digits: int = 6) -> float:
    """Radians to degrees, rounded."""
    return round(degrees(angle), digits) + 0.0


def in_millimetres(metres: float, digits: int = 6) -> float:
    """Metres to millimetres, rounded."""
    return round(metres * 1000, digits) + 0.0


def python_literal(value: Any) -> str:
    """A Python literal, in ASCII, of a text, a number, a list, or any entry of the rig (as a dict)."""
    return ascii(value if type(value) is int else plain(value))


def as_json(value: Any) -> str:
    """JSON on one line, as the target `json` writes it."""
    return encoder()(value if type(value) is int else plain(value))


FILTERS: dict[str, Callable[..., object]] = {
    "degrees": in_degrees,
    "millimetres": in_millimetres,
    "python_literal": python_literal,
    "json": as_json,
}
