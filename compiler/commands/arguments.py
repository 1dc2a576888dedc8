"""What may stand on the command line, and the help that explains it.

Only the command that was given is described to argparse: describing all of them takes as long as parsing a
small spec.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from importlib import import_module
from typing import NoReturn

from plica import __version__, foreign
from plica.commands import options, picture_options, sculpt_options
from plica.commands.shared_options import add_limit
from plica.named_tuples import NamedTuple


class Command(NamedTuple):
    """One command: its line in the list, its paragraph, its examples, its arguments and what loads it."""

    summary: str
    paragraph: str
    examples: tuple[str, ...]
    add_arguments: Callable[[argparse.ArgumentParser], None]
    load: Callable[[], Callable[[argparse.Namespace], int]]


def _from(module: str, name: str = "") -> Callable[[], Callable[[argparse.Namespace], int]]:
    """Loads what runs a command; `name`: the function, where it is not called as its module."""

    def load() -> Callable[[argparse.Namespace], int]:
        run: Callable[[argparse.Namespace], int] = getattr(import_module(f"plica.commands.{module}"), name or module)
        return run

    return load


COMMANDS = {
    "check": Command(
        "find every mistake in a spec, short of measuring",
        """
        Reads each spec and what it uses, looks every joint and name up in the real skeleton, checks units,
        sides and mirrored axes, and reports all mistakes at once, each with its place. Nothing is written.
        Exits with 0 if there is no error, with 1 if there is one.
        """,
        ("plica check wren.plica", "plica check wren.plica --axes", "plica check"),
        options.add_check,
        _from("check"),
    ),
    "build": Command(
        "check a spec and write it in the forms that others read",
        """
        Checks the spec and, if it has no error, writes each target's files into one folder. The same spec
        always gives the same bytes. Files are written whole or not at all, and never outside the folder.
        Exits with 1 if there is an error, and then nothing has been written.
        """,
        ("plica build wren.plica --out build", "plica build wren.plica --out build --target json --current"),
        options.add_build,
        _from("build"),
    ),
    "prove": Command(
        "measure what a spec expects, over the whole range of motion",
        """
        Moves the character through the poses that each `expect` names (sweeps of strengths, clips, the whole
        range of motion) and measures it, with the shapes and without. Tells the worst figure, its limit, and
        the pose and the place on the skin where it was met. Motion given with --clip is added to every
        expectation. Exits with 1 if one does not hold, or could not be measured; stopped with Ctrl-C it tells
        what it has, and the next run goes on from there.
        """,
        ("plica prove wren.plica", "plica prove wren.plica --clip clips/rounds.glb --format junit"),
        options.add_prove,
        _from("prove"),
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
        options.add_measure,
        _from("measure"),
    ),
    "start": Command(
        "write a first spec for a model that exists",
        """
        Looks into a model and writes down what it finds: the sides and how joint names tell them, the
        mirror plane, the joints and the morph targets, as a spec that checks without errors and is ready to
        be filled in. Axes and spans are those of the model's own clips, where they tell; else they are guesses
        and marked so. The spec goes to the standard output unless --out is given.
        """,
        ("plica start otter.glb", "plica start otter.glb --out otter.plica"),
        options.add_start,
        _from("start"),
    ),
    "demo": Command(
        "write the demo character and run the whole job on it",
        """
        Writes Wren, the otter who runs the river post: a small model, its sculpts, masks and maps, a spec
        and the library of reusable limbs. Then it checks the spec, builds it, and says what lies where. A
        good place to try things out.
        """,
        ("plica demo", "plica demo /tmp/otter --replace"),
        options.add_demo,
        _from("demo"),
    ),
    "format": Command(
        "put specs into the one layout that all specs have",
        """
        Indents, aligns and breaks the lines of each spec the same way, whoever wrote it; there is nothing to
        choose. Words, comments, blank lines between declarations and their order stay. A file with mistakes is
        left alone. Before a file is written Plica makes sure that it still says the same; it is written whole
        or not at all. Exits with 1 if a file has mistakes.
        """,
        ("plica format wren.plica", "plica format --check --diff wren.plica"),
        options.add_layout,
        _from("format", "format_specs"),
    ),
    "watch": Command(
        "build again whenever something is saved",
        """
        Checks the spec, writes its targets if --out is given, and does so again whenever the spec, a library
        or a file that it names is saved; only what the change touches is computed. Mistakes are shown with
        their places, and the last outputs stay until they are mended; else what is different from the last build
        without mistakes is shown, as `plica diff --no-measure` does, and with --prove the expectations that hang on it,
        measured. Ends with Ctrl-C.
        """,
        ("plica watch wren.plica --prove", "plica watch wren.plica --out build --target json"),
        options.add_watch,
        _from("watch"),
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
        options.add_language_server,
        _from("language_server"),
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
        options.add_diff,
        _from("diff"),
    ),
    "pose": Command(
        "write the skin in a pose, to sculpt on",
        """
        Writes the mesh as it stands in a pose, with the shapes that are on there: the pose of a shape's sculpt, one
        that is said with --at, a declared one, a moment of a clip, or the worst pose of an expectation. Vertices
        keep their order. Beside the mesh stands a small file that says what it was made of; `plica adopt` reads it
        when the sculpt comes back.
        """,
        (
            "plica pose wren.plica elbow_crease --out elbow.obj",
            "plica pose wren.plica --pose salute --out salute.obj --unit cm --up z",
            "plica pose wren.plica --clip clips/rounds.glb --time 2.5 --out moment.glb",
        ),
        sculpt_options.add_pose,
        _from("pose"),
    ),
    "picture": Command(
        "draw the skin in a pose, or over a sweep or a clip",
        """
        Draws the skin as a camera sees it that stands upright before it: lit, on its ground, with shapes and folds as
        far on as the pose says. A sweep, or a clip without --time, gives a sheet of several views, each with the words
        for it, or with --moving a picture that moves, for a pull request. Without a pose it draws the neutral stance.
        """,
        (
            "plica picture wren.plica --sweep elbow_bend --tint --out elbow.png",
            "plica picture wren.plica --sweep paw_to_chin --from front-right --out chin.png",
            "plica picture wren.plica --clip clips/rounds.glb --moving --out rounds.webp",
        ),
        picture_options.add_picture,
        _from("picture"),
    ),
    "adopt": Command(
        "take a sculpt in",
        """
        Takes in a mesh that was sculpted over what `plica pose` wrote. The vertices that nobody touched tell its
        unit, axes, place, order and pose; what is not as it should be is put right and said, or, where that is not
        certain, refused. Writes a small NPZ file of offsets with the fingerprint of the mesh, the pose, and what was
        done.
        """,
        (
            "plica adopt wren.plica elbow_crease elbow.obj --replace",
            "plica adopt wren.plica elbow_crease elbow.obj --drop-strays --out sculpts/elbow_crease.npz",
            "plica adopt wren.plica --over before/wren.glb --replace",
        ),
        sculpt_options.add_adopt,
        _from("adopt"),
    ),
    "draft": Command(
        "compute first sculpts",
        """
        Computes the sculpt of each SHAPE: where the skin settles in the shape's pose, its volume kept as wished, as
        little stretched as it can be, and not passing through itself. Writes it as `plica adopt` writes a sculpt, with
        inbetweens, and says what it is like, before and after, and what the spec is to say of it. Drafting again
        keeps what was sculpted over it by hand. The options say for this time what the facts `draft volume` and so
        on, and `within`, say in the spec.
        """,
        (
            "plica draft wren.plica knee_hold",
            "plica draft wren.plica knee_hold --without-contact",
            "plica draft wren.plica knee_hold --volume 98% --border 4cm --inbetweens 2",
        ),
        sculpt_options.add_draft,
        _from("draft"),
    ),
    "sheet": Command(
        "write a character as one page to look at and judge it by",
        """
        Writes one file of HTML that opens from disk and asks for nothing else: the skin, live, turned and posed by
        whoever looks; each driver's response on both sides, with a slider that moves its joint and everything that
        follows; what it drives, and who drives the skin that is clicked; clips; every expectation with its figures
        and a way to its worst place; which joints are covered; what textures take of memory; the spec itself.
        Expectations are measured as `prove` does it, and figures that it has kept are taken. With --against an earlier
        state stands beside the present one, with what changed first, each change with the pose in which it shows most.
        """,
        (
            "plica sheet wren.plica --out wren.html",
            "plica sheet wren.plica --out wren.html --clip clips/rounds.glb",
            "plica sheet wren.plica --against git:HEAD --out changed.html",
        ),
        options.add_sheet,
        _from("sheet"),
    ),
    "completion": Command(
        "print what completes Plica's words in a shell",
        """
        Prints a script for a shell. Sent to a file that the shell reads as it starts, for bash
        ~/.local/share/bash-completion/completions/plica, it completes commands, options and files. Each version of
        Plica has its own, so make it anew after an update.
        """,
        ("plica completion bash", "plica completion zsh"),
        options.add_completion,
        _from("completion"),
    ),
    "preview": Command(
        "show a character's page live while its files are saved",
        """
        Serves the page that `sheet` writes, on this machine only, and prints its address. Whenever the spec or anything
        that it is made of is saved (libraries, models, sculpts, images, the project's plica.toml), open pages go over
        to it: only what has changed is computed and sent, and pose, camera, opened rows and what was chosen stay.
        After mistakes the last state without any stays, with the findings above it and beside their rows. Nothing is
        measured, and nothing is written. Only who knows the address is answered; it is another one each time. Ends
        with Ctrl-C.
        """,
        ("plica preview wren.plica --open", "plica preview wren.plica --port 8123 --clip clips/rounds.glb"),
        options.add_preview,
        _from("preview"),
    ),
    "explain": Command(
        "tell more about a finding",
        """
        Every finding has a code (PL101) and a name (unexpected-text). This tells what it means and how to
        mend it, with a text that causes it and the same text put right.
        """,
        ("plica explain PL101", "plica explain --all"),
        options.add_explain,
        _from("explain"),
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
    main = _overview()
    commands = main.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for name, command in COMMANDS.items():
        commands.add_parser(name, help=command.summary)
    return main


def whole_parser() -> argparse.ArgumentParser:
    """The overview with every command's arguments below it."""
    main = _overview()
    commands = main.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for name, command in COMMANDS.items():
        below = commands.add_parser(name, help=command.summary, allow_abbrev=False)
        command.add_arguments(below)
        add_limit(below)
    return main


def _overview() -> argparse.ArgumentParser:
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
    return main


def _command_parser(name: str) -> argparse.ArgumentParser:
    command = COMMANDS[name]
    parser = _Parser(
        prog=f"plica {name}",
        description=" ".join(command.paragraph.split()),
        epilog=f"examples:\n{_indented(command.examples)}",
        formatter_class=_Help,
        allow_abbrev=False,
    )
    command.add_arguments(parser)
    add_limit(parser)
    return parser


def _indented(lines: tuple[str, ...]) -> str:
    return "\n".join(f"  {line}" for line in lines)


class _Help(argparse.HelpFormatter):
    """Wraps paragraphs to the terminal and keeps lists of examples as they are."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        return text if "\n" in text else super()._fill_text(text, width, indent)


class _Parser(argparse.ArgumentParser):
    """Says what was most likely meant by a mistyped command, and what is wrong on one line."""

    def error(self, message: str) -> NoReturn:
        super().error(foreign.line(message))

    def _check_value(self, action: argparse.Action, value: str) -> None:
        if isinstance(action, argparse._SubParsersAction) and value not in COMMANDS:
            from plica.diagnostics.suggest import did_you_mean

            known = did_you_mean(value, COMMANDS) or "the commands are " + ", ".join(COMMANDS)
            raise argparse.ArgumentError(None, f"there is no command `{value}`; {known}")
        super()._check_value(action, value)
