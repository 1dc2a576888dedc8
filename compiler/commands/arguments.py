"""What may stand on the command line, and the help that explains it.

Only the command that was given is described to argparse: describing all of them takes as long as parsing a
small spec.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

from plica import __version__

FORMATS = ("text", "json", "sarif", "github")


class Command(NamedTuple):
    """One command: its line in the list, its paragraph, its examples, its arguments and what runs it."""

    summary: str
    paragraph: str
    examples: tuple[str, ...]
    add_arguments: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace], int]


def _check(options: argparse.Namespace) -> int:
    from plica.commands.check import check

    return check(options)


def _build(options: argparse.Namespace) -> int:
    from plica.commands.build import build

    return build(options)


def _start(options: argparse.Namespace) -> int:
    from plica.commands.start import start

    return start(options)


def _demo(options: argparse.Namespace) -> int:
    from plica.commands.demo import demo

    return demo(options)


def _measure(options: argparse.Namespace) -> int:
    from plica.commands.measure import measure

    return measure(options)


def _format(options: argparse.Namespace) -> int:
    from plica.commands.format import format_specs

    return format_specs(options)


def _watch(options: argparse.Namespace) -> int:
    from plica.commands.watch import watch

    return watch(options)


def _language_server(options: argparse.Namespace) -> int:
    from plica.commands.language_server import language_server

    return language_server(options)


def _diff(options: argparse.Namespace) -> int:
    from plica.commands.diff import diff

    return diff(options)


def _prove(options: argparse.Namespace) -> int:
    from plica.commands.prove import prove

    return prove(options)


def _explain(options: argparse.Namespace) -> int:
    from plica.commands.explain import explain

    return explain(options)


def _add_common(parser: argparse.ArgumentParser) -> None:
    _add_allow(parser)
    _add_format(parser)


def _add_allow(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--allow",
        metavar="DIR",
        type=_folder,
        action="append",
        default=[],
        help="let specs use files in this folder too; without it they may only use what lies in the spec's "
        "own folder (may be given several times)",
    )


def _add_format(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--format",
        choices=FORMATS,
        default="text",
        help="how findings are written: text for people (the default), json for programs, sarif (SARIF "
        "2.1.0) for review tools, github for annotations in a GitHub workflow",
    )


def _add_check(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("specs", metavar="SPEC", nargs="+", help="a spec, a file that ends in .plica")
    parser.add_argument(
        "--axes",
        action="store_true",
        help="also print, for each reading that exists on both sides, the joint and the axis on the left and "
        "on the right, each in the joint's own rest frame",
    )
    _add_common(parser)


def _add_build(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("spec", metavar="SPEC", help="a spec, a file that ends in .plica")
    parser.add_argument("--out", metavar="DIR", required=True, help="the folder to write to; it is made where needed")
    parser.add_argument(
        "--target",
        metavar="NAME",
        action="append",
        default=[],
        help="an output form (may be given several times; default: json and python)",
    )
    parser.add_argument(
        "--option",
        metavar="TARGET.KEY=VALUE",
        type=_target_option,
        action="append",
        default=[],
        help="an option of a target (may be given several times; a list is given item by item)",
    )
    parser.add_argument(
        "--allow-inexpressible",
        action="store_true",
        help="go on, with warnings, where a target cannot express something; without it that is an error",
    )
    parser.add_argument(
        "--normals", action="store_true", help="also compute how shapes change normals, and store that with the offsets"
    )
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--dry-run", action="store_true", help="say what would be written, and write nothing")
    how.add_argument(
        "--current",
        action="store_true",
        help="write nothing; exit with 1 if a file in the folder is not what this build would write",
    )
    _add_common(parser)


def _add_start(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("model", metavar="MODEL", help="a model with a skeleton: glTF 2.0 or OpenUSD")
    parser.add_argument("--out", metavar="FILE", help="the file to write (default: print the spec)")
    parser.add_argument("--replace", action="store_true", help="write even if the file exists")
    _add_format(parser)


def _add_demo(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "folder", metavar="DIR", nargs="?", default="wren", help="the folder to write to (default: ./wren)"
    )
    parser.add_argument("--replace", action="store_true", help="write even if the folder holds other or changed files")


def _add_prove(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("spec", metavar="SPEC", help="a spec, a file that ends in .plica")
    _add_clips(parser, required=False)
    parser.add_argument(
        "--baseline",
        metavar="FILE",
        help="figures that were accepted: what is no worse does not fail, and what got worse is told",
    )
    parser.add_argument(
        "--write-baseline", action="store_true", help="write this run's figures to the baseline file"
    )
    _add_allow(parser)
    parser.add_argument(
        "--format",
        choices=(*FORMATS, "junit"),
        default="text",
        help="how results are written: a table for people (the default), json for programs, sarif (SARIF 2.1.0) "
        "for review tools, github for annotations in a GitHub workflow, junit for test reports",
    )


def _add_measure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("spec", metavar="SPEC", help="a spec, a file that ends in .plica")
    _add_clips(parser, required=True)
    parser.add_argument(
        "--from", dest="start", metavar="SECONDS", type=float, help="leave out what is before this time of each clip"
    )
    parser.add_argument(
        "--to", dest="stop", metavar="SECONDS", type=float, help="leave out what is after this time of each clip"
    )
    _add_allow(parser)
    parser.add_argument(
        "--format", choices=("text", "json"), default="text", help="text for people (the default), json for programs"
    )


def _add_clips(parser: argparse.ArgumentParser, required: bool) -> None:
    parser.add_argument(
        "--clip",
        metavar="FILE",
        action="append",
        default=[],
        required=required,
        help="motion: animations in glTF 2.0, or motion capture in BVH (may be given several times)",
    )


def _add_layout(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "specs",
        metavar="SPEC",
        nargs="+",
        help="a spec or a library; `-` for the standard input, laid out to the output",
    )
    parser.add_argument(
        "--check",
        action="store_true",
        help="write nothing; name the files that would change, and exit with 1 if any does",
    )
    parser.add_argument(
        "--diff",
        action="store_true",
        help="write nothing; show what would change as a unified diff, and exit with 1 if anything does",
    )
    _add_format(parser)


def _add_watch(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("spec", metavar="SPEC", help="a spec, a file that ends in .plica")
    parser.add_argument("--out", metavar="DIR", help="the folder to write to (default: only check)")
    parser.add_argument(
        "--target",
        metavar="NAME",
        action="append",
        default=[],
        help="an output form (may be given several times; default: json and python)",
    )
    _add_allow(parser)


def _add_language_server(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--stdio", action="store_true", help="talk over the standard streams, as it does anyway")
    _add_allow(parser)


def _add_diff(parser: argparse.ArgumentParser) -> None:
    parser.usage = "plica diff [-h] [options] OLD NEW"
    kinds = "a spec, a folder of specs, a built .json file, git:REVISION:PATH, or git:REVISION for the other's path"
    parser.add_argument("old", metavar="OLD", nargs="?", help=kinds)
    parser.add_argument("new", metavar="NEW", nargs="?", help="the same")
    parser.add_argument(
        "--measure",
        action="store_true",
        help="also compute every shape on its mesh, and tell how many vertices move and how far",
    )
    parser.add_argument(
        "--accept",
        metavar="FILE",
        help='a TOML file of changes that are agreed to, in lines like `3f2a9c0d11e2b3c4 = "the reason"`; they do not '
        "count for the exit code",
    )
    _add_allow(parser)
    parser.add_argument(
        "--format",
        choices=(*FORMATS, "markdown"),
        default="text",
        help="text for people (the default), markdown for a pull request with plots of old and new responses, json "
        "for programs, sarif (SARIF 2.1.0) for review tools, github for annotations in a GitHub workflow",
    )
    parser.add_argument(
        "--git-driver",
        metavar="WORD",
        nargs="+",
        help="what git gives to an external diff; set up once in a repository, `git diff` shows what changes do: "
        "git config diff.plica.command 'plica diff --git-driver' && echo '*.plica diff=plica' >> .gitattributes",
    )


def _add_explain(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("rule", metavar="CODE|NAME", nargs="?", help="as in PL101 or unexpected-text")
    parser.add_argument("--all", action="store_true", help="list every code with its first sentence")


COMMANDS = {
    "check": Command(
        "find every mistake in a spec, short of measuring",
        """
        Reads each spec and what it uses, looks every joint and name up in the real skeleton, checks units,
        sides and mirrored axes, and reports all mistakes at once, each with its place. Nothing is written.
        Exits with 0 if there is no error, with 1 if there is one.
        """,
        ("plica check wren.plica", "plica check wren.plica --axes"),
        _add_check,
        _check,
    ),
    "build": Command(
        "check a spec and write it in the forms that others read",
        """
        Checks the spec and, if it has no error, writes each target's files into one folder. The same spec
        always gives the same bytes. Files are written whole or not at all, and never outside the folder.
        Exits with 1 if there is an error, and then nothing has been written.
        """,
        ("plica build wren.plica --out build", "plica build wren.plica --out build --target json --current"),
        _add_build,
        _build,
    ),
    "prove": Command(
        "measure what a spec expects, over the whole range of motion",
        """
        Moves the character through the poses that each `expect` names (sweeps of strengths, clips, the whole
        range of motion) and measures it, with the shapes and without. Tells the worst figure, its limit, and
        the pose and the place on the skin where it was met. Motion given with --clip is added to every
        expectation. Exits with 1 if one does not hold; stopped with Ctrl-C it tells what it has.
        """,
        ("plica prove wren.plica", "plica prove wren.plica --clip clips/rounds.glb --format junit"),
        _add_prove,
        _prove,
    ),
    "measure": Command(
        "tell how far every reading travels in real motion",
        """
        Reads motion and tells for every driver the smallest and the largest reading, percentiles, how long it
        stays near its extremes, and a `span` line to paste, in the spec's own units; warns where the spec's span
        is never reached, or exceeded. Needs no mesh. The report goes to the standard output, warnings to the
        standard error.
        """,
        ("plica measure wren.plica --clip clips/rounds.glb", "plica measure wren.plica --clip walk.bvh --format json"),
        _add_measure,
        _measure,
    ),
    "start": Command(
        "write a first spec for a model that exists",
        """
        Looks into a model and writes down what it finds: the sides and how joint names tell them, the
        mirror plane, the joints and the morph targets, as a spec that checks without errors and is ready to
        be filled in. The spec goes to the standard output unless --out is given.
        """,
        ("plica start otter.glb", "plica start otter.glb --out otter.plica"),
        _add_start,
        _start,
    ),
    "demo": Command(
        "write the demo character and run the whole job on it",
        """
        Writes Wren, the otter who runs the river post: a small model, its sculpts, masks and maps, a spec
        and the library of reusable limbs. Then it checks the spec, builds it, and says what lies where. A
        good place to try things out.
        """,
        ("plica demo", "plica demo /tmp/otter --replace"),
        _add_demo,
        _demo,
    ),
    "format": Command(
        "put specs into the one layout that all specs have",
        """
        Indents, aligns and breaks the lines of each spec the same way, whoever wrote it; there is nothing to
        choose. Words, comments, blank lines between declarations and their order stay. A file with mistakes is
        left alone. Before a file is written Plica makes sure that it still says the same; it is written whole
        or not at all. Exits with 1 if a file has mistakes.
        """,
        ("plica format wren.plica", "plica format --check --diff *.plica", "plica format - < wren.plica"),
        _add_layout,
        _format,
    ),
    "watch": Command(
        "build again whenever something is saved",
        """
        Checks the spec, writes its targets if --out is given, and does so again whenever the spec, a library
        or a file that it names is saved; only what the change touches is computed. Mistakes are shown with
        their places, and the last outputs stay until they are mended. Ends with Ctrl-C.
        """,
        ("plica watch wren.plica", "plica watch wren.plica --out build --target json"),
        _add_watch,
        _watch,
    ),
    "language-server": Command(
        "answer an editor's questions about specs",
        """
        Speaks the Language Server Protocol over the standard streams: findings as you type, formatting, what
        a name means on both sides, definitions and references, renaming, completion with the joints of the
        real skeleton, fixes, and the mirrored axes within the text. Editors start it; it needs the extra
        `editor`.
        """,
        ("plica language-server",),
        _add_language_server,
        _language_server,
    ),
    "diff": Command(
        "tell what a change does",
        """
        Compares two states of a character, or of all characters in two folders, entry by entry, and judges every
        change: how bad it is (breaking, risky, safe, cosmetic) and what it reaches. For each changed driver it
        computes how much its strength changes, and where. Layout, comments and order are no changes. The last
        line tells the version step that the changes ask for. Exits with 0 if there is no change, with 1 if there
        is one, with 2 if there is nothing to compare.
        """,
        (
            "plica diff old/wren.plica wren.plica",
            "plica diff git:HEAD wren.plica",
            "plica diff git:main . --format markdown",
            "plica diff git:v1:wren.plica git:v2:wren.plica --accept accepted.toml",
        ),
        _add_diff,
        _diff,
    ),
    "explain": Command(
        "tell more about a finding",
        """
        Every finding has a code (PL101) and a name (unexpected-text). This tells what it means and how to
        mend it, with a text that causes it and the same text put right.
        """,
        ("plica explain PL101", "plica explain --all"),
        _add_explain,
        _explain,
    ),
}

_OVERVIEW = """
A character artist writes once, for both sides of a character, how its skin reacts to motion. Plica checks
that text against the real model and skeleton, works out what used to be worked out by hand, and writes it
in forms that other programs read.
"""
_FIRST_STEPS = (
    "plica demo                     make an example to look at",
    "plica start otter.glb          a first spec for a model of your own",
    "plica check otter.plica        find the mistakes in it",
    "plica build otter.plica --out build",
)
_EXIT_CODES = """
exit codes:
  0 as it should be    1 errors were found    2 wrong usage    70 a mistake of Plica's own    130 stopped
"""


def parser(given: Sequence[str]) -> argparse.ArgumentParser:
    """The parser for what was given: of one command where the first word names it, else of the overview."""
    if given and given[0] in COMMANDS:
        return _command_parser(given[0])
    main = _Parser(
        prog="plica",
        usage="plica [-h] [--version] COMMAND ...",
        description=" ".join(_OVERVIEW.split()),
        epilog=f"first steps:\n{_indented(_FIRST_STEPS)}\n{_EXIT_CODES}\n"
        "`plica COMMAND --help` tells more about a command.",
        formatter_class=_Help,
        allow_abbrev=False,
    )
    version = f"plica {__version__}"
    main.add_argument("--version", action="version", version=version, help="print the version and stop")
    commands = main.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for name, command in COMMANDS.items():
        commands.add_parser(name, help=command.summary)
    return main


def _command_parser(name: str) -> argparse.ArgumentParser:
    command = COMMANDS[name]
    parser = argparse.ArgumentParser(
        prog=f"plica {name}",
        description=" ".join(command.paragraph.split()),
        epilog=f"examples:\n{_indented(command.examples)}",
        formatter_class=_Help,
        allow_abbrev=False,
    )
    command.add_arguments(parser)
    return parser


def _indented(lines: tuple[str, ...]) -> str:
    return "\n".join(f"  {line}" for line in lines)


class _Help(argparse.HelpFormatter):
    """Wraps paragraphs to the terminal and keeps lists of examples as they are."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        return text if "\n" in text else super()._fill_text(text, width, indent)


class _Parser(argparse.ArgumentParser):
    """Says what was most likely meant by a mistyped command."""

    def _check_value(self, action: argparse.Action, value: str) -> None:
        if isinstance(action, argparse._SubParsersAction) and value not in COMMANDS:
            from plica.diagnostics.suggest import did_you_mean

            known = did_you_mean(value, COMMANDS) or "the commands are " + ", ".join(COMMANDS)
            raise argparse.ArgumentError(None, f"there is no command `{value}`; {known}")
        super()._check_value(action, value)


def _folder(text: str) -> Path:
    try:
        if Path(text).is_dir():
            return Path(text)
    except ValueError:
        pass
    raise argparse.ArgumentTypeError(f"there is no folder `{text}`")


def _target_option(text: str) -> tuple[str, str, str]:
    """Target, key and value of `target.key=value`."""
    place, equals, value = text.partition("=")
    target, point, key = place.partition(".")
    if not (equals and point and target and key):
        raise argparse.ArgumentTypeError(f"`{text}` is not of the form target.key=value")
    return target, key, value
