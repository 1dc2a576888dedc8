"""`plica format`: the canonical layout, written over each file that has another.

Without --check and --diff the names of the files that were changed go to the standard output; a text from the
standard input goes there in its layout, and nothing else does.
"""

from __future__ import annotations

import argparse
import gc
import re
import stat
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import plica
from plica.commands.output import has_errors, in_order, put, say, show, usage_error
from plica.diagnostics import Diagnostic, Diagnostics
from plica.source import Source, Span

if TYPE_CHECKING:
    from plica.workspace import Refused

STANDARD_INPUT = "-"
SHOWN_INPUT = "standard input"


class _Text(NamedTuple):
    """One text that is laid out: its name, the bytes that it had and those that it is to have."""

    name: str
    before: bytes
    after: bytes


def format_specs(options: argparse.Namespace) -> int:
    """Lay out each file; 1 where one has mistakes, or where --check or --diff finds one that would change."""
    specs, told = (options.specs, ()) if options.specs else _project_specs()
    if specs is None:
        return usage_error("format", "give a SPEC; without one the command works on a project, and there is none here")
    if specs.count(STANDARD_INPUT) and len(set(specs)) > 1:
        return usage_error("format", "`-` stands alone: the standard input is one text, and its layout the output")
    collects = gc.isenabled()
    gc.disable()  # as for a check: there is no garbage worth the looking
    try:
        return _format(options, specs, told)
    finally:
        if collects:
            gc.enable()


def _project_specs() -> tuple[list[str] | None, tuple[Diagnostic, ...]]:
    """The characters and libraries of the project that one works in; None where there is none."""
    from plica.api.found_project import find_project

    found = find_project()
    if found.root is None:
        return None, ()
    members, told = found.members()
    specs = [] if members is None else [found.shown(path) for path in members.specs]
    return specs, (*found.diagnostics, *told)


def _format(options: argparse.Namespace, specs: list[str], told: tuple[Diagnostic, ...]) -> int:
    diagnostics = Diagnostics()
    diagnostics.extend(told)
    code = 0
    for spec in dict.fromkeys(specs):
        text = _laid_out(spec, diagnostics)
        if text is None:
            continue
        if options.check or options.diff:
            code = max(code, _compare(text, options, diagnostics))
        elif spec == STANDARD_INPUT:
            sys.stdout.flush()
            sys.stdout.buffer.write(text.after)
        elif text.after != text.before and _write(Path(spec), text.after, diagnostics):
            say(f"laid out {text.name}", form=options.format)
    shown = in_order(diagnostics.all)
    # With JSON and SARIF the findings are the output; a text or a diff must not be mixed with them.
    product = options.diff or STANDARD_INPUT in specs
    if options.format == "junit":
        put(_junit(specs, shown))
    else:
        show(shown, options.format, sys.stderr if product else sys.stdout, command="format")
    return 1 if has_errors(shown) else code


def _junit(specs: list[str], found: Sequence[Diagnostic]) -> str:
    """A test for each text: it fails where the text has a mistake, or another layout."""
    from plica.diagnostics.junit import Suite, document, findings_case

    cases = []
    for name in dict.fromkeys(SHOWN_INPUT if spec == STANDARD_INPUT else Path(spec).as_posix() for spec in specs):
        own = [one for one in found if one.span is not None and one.span.source.path == name]
        cases.append(findings_case("plica format", name, own, None, failed=bool(own)))
    others = [one for one in found if one.span is None]
    if others:
        cases.append(findings_case("plica format", "the files", others, None))
    return document([Suite("plica format", cases, 0.0)])


def _laid_out(spec: str, diagnostics: Diagnostics) -> _Text | None:
    """One text before and after; None, with diagnostics, where it cannot be read or has mistakes."""
    name = SHOWN_INPUT if spec == STANDARD_INPUT else Path(spec).as_posix()
    read = _read(spec, name, diagnostics)
    if read is None:
        return None
    before, text = read
    result = plica.format_text(text, name=name)
    diagnostics.extend(result.diagnostics)
    return None if result.text is None else _Text(name, before, _with_ends_of(text, result.text).encode())


def _with_ends_of(text: str, laid_out: str) -> str:
    """A layout with the line ends of the text, where these are those of Windows throughout: they are no layout."""
    every = text.count("\r\n")
    return laid_out.replace("\n", "\r\n") if every and every == text.count("\n") == text.count("\r") else laid_out


def _read(spec: str, name: str, diagnostics: Diagnostics) -> tuple[bytes, str] | None:
    """The bytes of one text and the text itself."""
    from plica.workspace import Refused, Workspace, text_of

    path = Path(spec)
    data = _piped(name) if spec == STANDARD_INPUT else Workspace(path.parent).read_bytes(path, name)
    text = data if isinstance(data, Refused) else text_of(data, name)
    if isinstance(data, bytes) and isinstance(text, str):
        return data, text
    if isinstance(text, Refused):
        diagnostics.add_filled(text.name, None, text.values)
    return None


def _piped(name: str) -> bytes | Refused:
    """The text that another program writes to the standard input."""
    from plica import limits
    from plica.workspace import too_large

    most = limits.in_force().spec_bytes
    data = sys.stdin.buffer.read(most + 1)
    return data if len(data) <= most else too_large(name, "spec_bytes")


def _compare(text: _Text, options: argparse.Namespace, diagnostics: Diagnostics) -> int:
    if text.after == text.before:
        return 0
    if options.check and options.format == "text":
        say(f"{text.name}: would change", form=options.format)
    elif options.check:
        diagnostics.add("layout-differs", _first_difference(text), file=text.name)
    if options.diff:
        put("".join(_diff(text)))
    return 1


def _first_difference(text: _Text) -> Span:
    """The line that is the first to be laid out otherwise."""
    before, after = text.before.decode("utf-8-sig"), text.after.decode()
    differing = (place for place, (one, other) in enumerate(zip(before, after, strict=False)) if one != other)
    same = next(differing, min(len(before), len(after)))
    start = before.rfind("\n", 0, same) + 1
    end = before.find("\n", same)
    return Span(Source(text.name, before), start, end if end >= 0 else len(before))


def _diff(text: _Text) -> Iterator[str]:
    """The lines of a unified diff."""
    from difflib import unified_diff

    from plica import foreign

    # Cut at line feeds alone: other signs that Python takes for line ends may stand in comments.
    before, after = (re.findall(r"[^\n]*\n|[^\n]+", one.decode()) for one in (text.before, text.after))
    for line in unified_diff(before, after, text.name, text.name):
        end = line[len(line.removesuffix("\n").removesuffix("\r")) :]
        shown = foreign.source_line(line.removesuffix(end)) + end
        yield shown if end else f"{shown}\n\\ No newline at end of file\n"


def _write(path: Path, text: bytes, diagnostics: Diagnostics) -> bool:
    """Write a file whole or not at all, through links and with the rights that it has."""
    from plica.emit.writer import write

    place = path.resolve()
    rights = stat.S_IMODE(place.stat().st_mode)
    if write({place.name: text}, place.parent, diagnostics) is None:
        return False
    place.chmod(rights)
    return True
