"""Arguments that several commands have, as they are described to argparse."""

from __future__ import annotations

import argparse
from pathlib import Path

from plica import limits

FORMATS = ("text", "json", "sarif", "github")


def add_common(parser: argparse.ArgumentParser) -> None:
    """What check, build and start share: how findings are written."""
    add_allow(parser)
    add_format(parser)


def add_allow(parser: argparse.ArgumentParser) -> None:
    """Folders that specs may use files of."""
    parser.add_argument(
        "--allow",
        metavar="DIR",
        type=_folder,
        action="append",
        default=[],
        help="let specs use files in this folder too; without it they may only use what lies in the spec's "
        "own folder (may be given several times)",
    )


def add_limit(parser: argparse.ArgumentParser) -> None:
    """Limits on what is taken in; every command has them."""
    parser.add_argument(
        "--limit",
        metavar="NAME=VALUE",
        action="append",
        default=[],
        help="raise a limit on the size of what is read or computed, such as text-bytes=128MiB; a refusal names the "
        f"limit (may be given several times; in scripts also as {limits.VARIABLE})",
    )


def add_format(parser: argparse.ArgumentParser, tests: bool = False) -> None:
    """How findings are written; `tests`: also as a report of tests."""
    parser.add_argument(
        "--format",
        choices=(*FORMATS, *(("junit",) if tests else ())),
        default="text",
        help="how findings are written: text for people (the default), json for programs, sarif (SARIF "
        "2.1.0) for review tools, github for annotations in a GitHub workflow"
        + (", junit for test reports" if tests else ""),
    )


def add_spec(parser: argparse.ArgumentParser) -> None:
    """The one spec that a command takes."""
    parser.add_argument("spec", metavar="SPEC", help="a spec, a file that ends in .plica")


def add_replace(parser: argparse.ArgumentParser) -> None:
    """Whether a file may be written over."""
    parser.add_argument("--replace", action="store_true", help="write even if the file exists")


OF_PROJECT = "without one, all of the project that the working folder is in (plica.toml)"


def add_run(parser: argparse.ArgumentParser) -> None:
    """How all of a project is worked on, or everything is measured."""
    parser.add_argument(
        "--workers",
        metavar="N",
        type=count,
        help="processes that work once it turns out to be long (default: one for each processor core, at most 6 where "
        "they measure or build; 1: none but this one); the results are the same with any number",
    )
    add_cache(parser)


def add_cache(parser: argparse.ArgumentParser) -> None:
    """Where results are kept."""
    parser.add_argument(
        "--cache",
        metavar="DIR",
        help="where results are kept, so that what has not changed is not done again (default: plica in "
        "$XDG_CACHE_HOME or in ~/.cache; at most 512 MiB)",
    )
    parser.add_argument("--no-cache", action="store_true", help="do everything anew, and keep nothing")


def add_clips(parser: argparse.ArgumentParser, required: bool) -> None:
    """Clips of motion."""
    parser.add_argument(
        "--clip",
        metavar="FILE",
        action="append",
        default=[],
        required=required,
        help="motion: animations in glTF 2.0 or OpenUSD, or motion capture in BVH (may be given several times)",
    )


def add_parts_of_clips(parser: argparse.ArgumentParser) -> None:
    """Which part of each clip given with --clip is looked at, and where its skeleton stands as the character does."""
    parser.add_argument(
        "--from", dest="start", metavar="SECONDS", type=float, help="leave out what is before this time of each clip"
    )
    parser.add_argument(
        "--to", dest="stop", metavar="SECONDS", type=float, help="leave out what is after this time of each clip"
    )
    parser.add_argument(
        "--stance-at",
        metavar="SECONDS",
        type=float,
        help="the time at which the skeleton of each clip stands in its neutral stance (default: as its file has it at "
        "rest)",
    )


def count(text: str) -> int:
    """A number from 1 on."""
    if text.isascii() and text.isdigit() and int(text[:9]) > 0:
        return int(text[:9])
    raise argparse.ArgumentTypeError("takes a number from 1 on")


def _folder(text: str) -> Path:
    try:
        if Path(text).is_dir():
            return Path(text)
    except ValueError:
        pass
    raise argparse.ArgumentTypeError(f"there is no folder `{text}`")
