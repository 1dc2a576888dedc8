"""The arguments of each command, as they are described to argparse."""

from __future__ import annotations

import argparse

from plica.commands.shared_options import (
    FORMATS,
    OF_PROJECT,
    add_allow,
    add_cache,
    add_clips,
    add_common,
    add_format,
    add_parts_of_clips,
    add_replace,
    add_run,
    add_spec,
)


def add_check(parser: argparse.ArgumentParser) -> None:
    """Arguments of `check`."""
    parser.add_argument("specs", metavar="SPEC", nargs="*", help=f"a spec, a file that ends in .plica; {OF_PROJECT}")
    parser.add_argument(
        "--axes",
        action="store_true",
        help="also print, for each reading that exists on both sides, the joint and the axis on the left and "
        "on the right, each in the joint's own rest frame",
    )
    parser.add_argument(
        "--users",
        action="store_true",
        help="also check every spec that uses one of the given files, which may then be models, sculpts, images, clips "
        "and libraries, too; looks through the project, or without one through the git repository",
    )
    add_run(parser)
    add_allow(parser)
    add_format(parser, tests=True)


def _add_targets(parser: argparse.ArgumentParser) -> None:
    """Output forms."""
    parser.add_argument(
        "--target",
        metavar="NAME",
        action="append",
        default=[],
        help="an output form (may be given several times; default: json and python)",
    )


def add_build(parser: argparse.ArgumentParser) -> None:
    """Arguments of `build`."""
    parser.add_argument(
        "spec",
        metavar="SPEC",
        nargs="?",
        help=f"a spec, a file that ends in .plica; {OF_PROJECT}, each character into a folder of its own",
    )
    parser.add_argument(
        "--out", metavar="DIR", help="the folder to write to; it is made where needed (default: what a project says)"
    )
    _add_targets(parser)
    parser.add_argument(
        "--option",
        metavar="TARGET.KEY=VALUE",
        type=_target_option,
        action="append",
        default=[],
        help="an option of a target (may be given several times; a list is given item by item), such as "
        "masks.size=512, or masks.still=nose=1 for the blended normal map with that driver fully on",
    )
    parser.add_argument(
        "--allow-inexpressible",
        action="store_true",
        help="go on, with warnings, where a target cannot express something; without it that is an error",
    )
    parser.add_argument(
        "--normals",
        action="store_true",
        help="also compute how shapes turn the file's normals, and store that with the offsets",
    )
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--dry-run", action="store_true", help="say what would be written, and write nothing")
    how.add_argument(
        "--current",
        action="store_true",
        help="write nothing; exit with 1 if a file in the folder is not what this build would write",
    )
    add_run(parser)
    add_common(parser)


def add_start(parser: argparse.ArgumentParser) -> None:
    """Arguments of `start`."""
    parser.add_argument("model", metavar="MODEL", help="a model with a skeleton: glTF 2.0 or OpenUSD")
    parser.add_argument("--out", metavar="FILE", help="the file to write (default: print the spec)")
    add_replace(parser)
    add_format(parser)


def add_demo(parser: argparse.ArgumentParser) -> None:
    """Arguments of `demo`."""
    parser.add_argument(
        "folder", metavar="DIR", nargs="?", default="wren", help="the folder to write to (default: ./wren)"
    )
    parser.add_argument("--replace", action="store_true", help="write even if the folder holds other or changed files")


def add_prove(parser: argparse.ArgumentParser) -> None:
    """Arguments of `prove`."""
    parser.add_argument("spec", metavar="SPEC", nargs="?", help=f"a spec, a file that ends in .plica; {OF_PROJECT}")
    add_clips(parser, required=False)
    add_parts_of_clips(parser)
    parser.add_argument(
        "--baseline",
        metavar="FILE",
        help="figures that were accepted: what is no worse does not fail, and what got worse is told",
    )
    parser.add_argument("--write-baseline", action="store_true", help="write this run's figures to the baseline file")
    parser.add_argument(
        "--pictures",
        metavar="DIR",
        help="draw the worst place of each expectation about the skin into this folder, one PNG file for each",
    )
    parser.add_argument(
        "--poses",
        action="store_true",
        help="write the worst pose of each expectation in full, as a declaration; else only those of what fails",
    )
    parser.add_argument(
        "--allow-unmeasured",
        action="store_true",
        help="what could not be measured (no mesh, a region without skin, ...) is told but does not count as a failure",
    )
    parser.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        help="measure on a cluster: the address of a dask.distributed scheduler, such as tcp://10.0.0.5:8786 (needs "
        "the extra `cluster` here and Plica on its workers); a scheduler is trusted with everything: what it sends is "
        "code that runs as you, and its workers get the character",
    )
    add_run(parser)
    add_allow(parser)
    parser.add_argument(
        "--format",
        choices=(*FORMATS, "junit"),
        default="text",
        help="how results are written: a table for people (the default), json for programs, sarif (SARIF 2.1.0) "
        "for review tools, github for annotations in a GitHub workflow, junit for test reports",
    )


def add_sheet(parser: argparse.ArgumentParser) -> None:
    """Arguments of `sheet`."""
    add_spec(parser)
    parser.add_argument("--out", metavar="FILE", required=True, help="the page to write, such as wren.html")
    parser.add_argument("--replace", action="store_true", help="write over a file that exists")
    _add_page_clips(parser)
    parser.add_argument(
        "--against",
        metavar="OLD",
        help="an earlier state to show beside it, with what changed first: a spec, a folder, a built .json file, "
        "git:REVISION:PATH, or git:REVISION for the path of the spec",
    )
    parser.add_argument(
        "--unmeasured",
        action="store_true",
        help="measure nothing: the page then shows every expectation as not measured",
    )
    add_run(parser)
    add_allow(parser)


def _add_page_clips(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--clip",
        metavar="FILE",
        action="append",
        default=[],
        help="motion to play on the page, beside the clips that expectations name (may be given several times; "
        "default: the project's clips)",
    )


def add_preview(parser: argparse.ArgumentParser) -> None:
    """Arguments of `preview`."""
    add_spec(parser)
    _add_page_clips(parser)
    parser.add_argument(
        "--port", metavar="NUMBER", type=_port, default=0, help="the port to serve at (default: any that is free)"
    )
    parser.add_argument("--open", action="store_true", help="also open the page in the usual browser")
    add_allow(parser)


def _port(text: str) -> int:
    if not text.isdecimal() or not 0 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"`{text}` is no port, a number from 0 to 65535")
    return int(text)


def add_measure(parser: argparse.ArgumentParser) -> None:
    """Arguments of `measure`."""
    add_spec(parser)
    add_clips(parser, required=True)
    add_parts_of_clips(parser)
    add_allow(parser)
    parser.add_argument(
        "--format", choices=("text", "json"), default="text", help="text for people (the default), json for programs"
    )


def add_layout(parser: argparse.ArgumentParser) -> None:
    """Arguments of `layout`."""
    parser.add_argument(
        "specs",
        metavar="SPEC",
        nargs="*",
        help=f"a spec or a library; `-` for the standard input, laid out to the output; {OF_PROJECT}",
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
    add_format(parser, tests=True)


def add_watch(parser: argparse.ArgumentParser) -> None:
    """Arguments of `watch`."""
    add_spec(parser)
    parser.add_argument("--out", metavar="DIR", help="the folder to write to (default: only check)")
    _add_targets(parser)
    parser.add_argument(
        "--prove", action="store_true", help="also measure the expectations; show those that hang on what was saved"
    )
    add_allow(parser)


def add_language_server(parser: argparse.ArgumentParser) -> None:
    """Arguments of `language-server`."""
    parser.add_argument("--stdio", action="store_true", help="talk over the standard streams, as it does anyway")
    add_allow(parser)


def add_diff(parser: argparse.ArgumentParser) -> None:
    """Arguments of `diff`."""
    parser.usage = "plica diff [-h] [options] [OLD [NEW]]"
    kinds = "a spec, a folder of specs, a built .json file, git:REVISION:PATH, or git:REVISION for the other's path"
    parser.add_argument("old", metavar="OLD", nargs="?", help=f"{kinds} (default in a project: git:HEAD)")
    parser.add_argument("new", metavar="NEW", nargs="?", help="the same (default: the project that one works in)")
    parser.add_argument(
        "--no-measure",
        dest="measure",
        action="store_false",
        help="do not look at the mesh. Otherwise, where a change may show there, vertices moved and the skin and "
        "texture covered are told, which takes about as long as one build; other changes cost nothing more",
    )
    parser.add_argument(
        "--accept",
        metavar="FILE",
        help='a TOML file of changes that are agreed to, in lines like `3f2a9c0d11e2b3c4 = "the reason"`; they do not '
        "count for the exit code",
    )
    add_allow(parser)
    parser.add_argument(
        "--format",
        choices=(*FORMATS, "markdown"),
        default="text",
        help="text for people (the default), markdown for a pull request with charts of old and new responses, json "
        "for programs, sarif (SARIF 2.1.0) for review tools, github for annotations in a GitHub workflow",
    )
    parser.add_argument(
        "--all",
        dest="whole",
        action="store_true",
        help="show everything, however long: otherwise text has two screens, what matters most first, and the rest is "
        "counted",
    )
    parser.add_argument(
        "--pictures",
        metavar="DIR",
        help="draw the skin before and after, in the pose in which it differs most, and the difference as colour into "
        "this folder, one PNG file for each character; markdown shows them by links from the working folder",
    )
    add_cache(parser)
    parser.add_argument(
        "--git-driver",
        metavar="WORD",
        nargs=argparse.REMAINDER,  # names of files may begin with `-`
        help="what git gives to an external diff; set up once in a repository, `git diff` shows above lines what "
        "changes do: "
        "git config diff.plica.command 'plica diff --git-driver' && echo '*.plica diff=plica' >> .gitattributes. "
        "Libraries and models are read from the states that git compares, as far as these can be told (the output "
        "names them; of several commits with one text the latest is taken); nothing is measured on the mesh",
    )


def add_explain(parser: argparse.ArgumentParser) -> None:
    """Arguments of `explain`."""
    parser.add_argument("rule", metavar="CODE|NAME", nargs="?", help="as in PL101 or unexpected-text")
    parser.add_argument("--all", action="store_true", help="list every code with its first sentence")


def add_completion(parser: argparse.ArgumentParser) -> None:
    """Arguments of `completion`."""
    parser.add_argument("shell", choices=("bash", "zsh", "fish", "tcsh"), help="the shell to print a script for")


def _target_option(text: str) -> tuple[str, str, str]:
    """Target, key and value of `target.key=value`."""
    place, equals, value = text.partition("=")
    target, point, key = place.partition(".")
    if not (equals and point and target and key):
        raise argparse.ArgumentTypeError(f"`{text}` is not of the form target.key=value")
    return target, key, value
