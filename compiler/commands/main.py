"""The entry of the command line, and what it does when something goes wrong that no command foresaw.

Exit codes: 0 as it should be, 1 errors found (or outputs not current), 2 wrong usage, 70 a mistake of
Plica's own, 130 stopped by the user, 141 the reader of our output went away (128 plus the signal's number,
as shells count).
"""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Sequence

MOST_LETTERS = 500  # of what is quoted in a report
WRONG_USAGE = 2
INTERNAL_ERROR = 70
INTERRUPTED = 130
OUTPUT_CLOSED = 141


def main() -> int:
    """`run` as a process of its own; the entry of the installed command."""
    code = run()
    # Python looks through all objects for garbage twice as it ends, which takes as long as parsing a spec.
    gc.freeze()
    return code


def run(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code. `arguments` default to those of the process."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    for stream in (sys.stdout, sys.stderr):
        # A character that the terminal's encoding lacks is written as an escape and never an exception.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    try:
        code = _run(given)
        sys.stdout.flush()
    except BrokenPipeError:
        return _output_closed()
    except KeyboardInterrupt:
        _remark("", "stopped; no file was left half-written")
        return INTERRUPTED
    except Exception as error:  # whatever else comes up here is our bug, and is told as one
        _remark(*_report(error, given))
        return INTERNAL_ERROR
    return code


def _run(given: list[str]) -> int:
    collects = gc.isenabled()
    gc.disable()  # what is loaded is no garbage, and looking for some takes a twentieth of a check
    try:
        return _run_command(given, collects)
    finally:
        if collects:
            gc.enable()


def _run_command(given: list[str], collects: bool) -> int:
    """`collects`: whether Python is to look for garbage from where the command is loaded."""
    from plica import limits
    from plica.commands.arguments import COMMANDS, parser

    if not given:
        parser(given).print_help(sys.stderr)
        return WRONG_USAGE
    if given[0] in COMMANDS:
        arguments = parser(given).parse_args(given[1:])
        run_command = COMMANDS[given[0]].load()
        if collects:
            gc.enable()
        try:
            with limits.stated(arguments.limit):
                return run_command(arguments)
        except limits.LimitError as error:
            _remark(f"plica: {error}")
            return WRONG_USAGE
    parser(given).parse_args(given)  # prints help, the version or what is wrong, and exits
    return WRONG_USAGE


def _output_closed() -> int:
    """Point the output at nothing, so that Python does not complain once more when it exits."""
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
    except (OSError, ValueError):
        pass
    return OUTPUT_CLOSED


def _remark(*lines: str) -> None:
    from plica.commands.output import remark

    remark(*lines)


def _report(error: Exception, given: list[str]) -> list[str]:
    """What is printed for an exception that should not have come this far."""
    import platform
    import shlex
    import traceback

    from plica import __version__
    from plica.diagnostics import Diagnostics
    from plica.diagnostics.text import render

    diagnostics = Diagnostics()
    kind = type(error).__name__
    diagnostics.add("internal-error", None, error=_short(f"{kind}: {error}" if str(error) else kind))
    lines = [
        *render(diagnostics.all).rstrip().split("\n"),
        "",
        "please report these lines:",
        f"  plica {__version__}, Python {platform.python_version()}, {platform.system()}",
        f"  command: plica {_short(shlex.join(given))}",
        f"  {kind} in {_last_own_place(error)}",
    ]
    if os.environ.get("PLICA_DEBUG") == "1":
        lines += ["", *"".join(traceback.format_exception(error)).rstrip().split("\n")]
    return lines


def _short(text: str) -> str:
    return text if len(text) <= MOST_LETTERS else f"{text[:MOST_LETTERS]}…"


def _last_own_place(error: Exception) -> str:
    """Module, line and function of the innermost frame that is Plica's."""
    place, trace = "an unknown place", error.__traceback__
    while trace is not None:
        module = str(trace.tb_frame.f_globals.get("__name__", ""))
        if module == "plica" or module.startswith("plica."):
            place = f"{module}, line {trace.tb_lineno}, {trace.tb_frame.f_code.co_name}"
        trace = trace.tb_next
    return place
