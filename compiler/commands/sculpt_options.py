"""The arguments of the commands that sculpts go through."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Literal

from plica.commands.shared_options import add_allow, add_replace, add_spec

UNITS_OF_FILES = {"m": 1.0, "dm": 0.1, "cm": 0.01, "mm": 0.001, "in": 0.0254, "ft": 0.3048}
"""Metres in a length of a mesh file."""


def add_which_pose(parser: argparse.ArgumentParser, clip: str) -> argparse._MutuallyExclusiveGroup:
    """One of the ways to say a pose; `clip`: the help of `--clip`. Commands may add ways of their own."""
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--at", metavar="POSE", help="a pose as in `posed at`; names of both sides mean the left")
    which.add_argument("--pose", metavar="NAME", help="a pose that the spec declares")
    which.add_argument("--clip", metavar="FILE", help=clip)
    which.add_argument("--worst", metavar="WORDS", help="the worst pose of the expectation that holds these words")
    return which


def add_pose(parser: argparse.ArgumentParser) -> None:
    """Arguments of `pose`."""
    add_spec(parser)
    parser.add_argument(
        "shape",
        metavar="SHAPE",
        nargs="?",
        help="the shape that is to be sculpted: its pose is the one that its sculpt says, without a sculpt the one in "
        "which it is fully on; a shape of both sides means the left",
    )
    parser.add_argument(
        "--out", metavar="FILE", required=True, help="the file to write; its ending says the form: .obj .glb .usda .npz"
    )
    add_which_pose(parser, clip="a moment of a motion, with --time")
    parser.add_argument("--time", metavar="SECONDS", type=float, default=0.0, help="the moment of --clip (default 0)")
    parser.add_argument(
        "--strength", metavar="S", type=float, default=1.0, help="below 1: the pose of the inbetween at that strength"
    )
    parser.add_argument("--both-sides", action="store_true", help="both sides of the shape in their pose")
    parser.add_argument(
        "--on",
        metavar="SHAPES",
        help="the shapes that are on, output names with commas between, or `none` (default: those that the sculpt's "
        "`after` says; for a shape without a sculpt, and without a shape, all that there are)",
    )
    parser.add_argument("--unit", choices=UNITS_OF_FILES, default="m", help="the file's unit of length (default: m)")
    parser.add_argument("--up", choices=("y", "z"), default="y", help="the axis that points up (default: y)")
    parser.add_argument(
        "--welded", action="store_true", help="one vertex for each point, where uv seams split the mesh"
    )
    add_replace(parser)
    add_allow(parser)


def add_adopt(parser: argparse.ArgumentParser) -> None:
    """Arguments of `adopt`."""
    add_spec(parser)
    parser.add_argument("shape", metavar="SHAPE", nargs="?", help="the shape; one of both sides means the left")
    parser.add_argument("file", metavar="FILE", nargs="?", help="the sculpted mesh: OBJ, glTF, OpenUSD or NPZ")
    parser.add_argument(
        "--over",
        metavar="MODEL",
        help="instead of SHAPE and FILE: carry all sculpts of the spec over from this state of its model to the "
        "present one",
    )
    parser.add_argument(
        "--from",
        dest="other",
        metavar="OTHER_SPEC",
        help="instead of SHAPE and FILE: carry the sculpts of another character of like build over to the shapes of "
        "the same names",
    )
    parser.add_argument(
        "--shape",
        dest="shapes",
        metavar="NAME",
        action="append",
        help="with --from: only this shape, by its declared name; may be given several times",
    )
    parser.add_argument("--out", metavar="FILE", help="the file to write (default: sculpts/SHAPE.npz beside the spec)")
    add_replace(parser)
    parser.add_argument(
        "--record",
        metavar="FILE",
        help="what `plica pose` wrote beside the mesh (default: the .pose.json of FILE's name, if it is there; else "
        "the pose is the one that the spec says of the shape)",
    )
    parser.add_argument("--at", metavar="POSE", help="the pose that it was sculpted in, as in `posed at`")
    parser.add_argument(
        "--strength",
        metavar="S",
        type=float,
        help="below 1: as the inbetween at that strength (default: 1, or for a drafted shape that at which it was on)",
    )
    parser.add_argument("--both-sides", action="store_true", help="both sides were in their pose")
    parser.add_argument(
        "--also",
        metavar="MESHES",
        help="meshes or nodes of the character that lie over the skin (clothes, lashes), with commas between: where "
        "the sculpt leaves them they take the offset of the nearest skin, fading out with the distance",
    )
    parser.add_argument("--drop-strays", action="store_true", help="leave out marks far from the sculpt")
    add_allow(parser)


def add_draft(parser: argparse.ArgumentParser) -> None:
    """Arguments of `draft`."""
    add_spec(parser)
    parser.add_argument("shapes", metavar="SHAPE", nargs="+", help="a shape; one of both sides means the left")
    parser.add_argument("--region", metavar="NAME", help="what is drafted freely, a region's output name")
    parser.add_argument("--volume", metavar="PERCENT", type=_quantity("share"), help="the volume kept, 90%% to 100%%")
    parser.add_argument(
        "--nearness", metavar="N", type=float, help="how strongly the skin holds to where skinning puts it"
    )
    parser.add_argument(
        "--border", metavar="LENGTH", type=_quantity("length"), help="over which it fades out, as in '4 cm'"
    )
    parser.add_argument(
        "--gap", metavar="LENGTH", type=_quantity("length"), help="what stays free between skin and skin, as in '1 mm'"
    )
    parser.add_argument(
        "--into-spec",
        action="store_true",
        help="write what the spec is to say into it, where its text declares the shape once; else it is only shown",
    )
    parser.add_argument("--inbetweens", metavar="N", type=_whole, help="how many sculpts on the way, 0 to 8")
    parser.add_argument(
        "--without-contact",
        dest="contact",
        action="store_false",
        help="a quick first look, in which skin may pass through itself; needs no extra package",
    )
    add_allow(parser)


def _whole(text: str) -> int:
    if text.isascii() and text.isdigit() and int(text[:9]) <= 8:
        return int(text)
    raise argparse.ArgumentTypeError("takes a number from 0 to 8")


def _quantity(what: Literal["share", "length"]) -> Callable[[str], float]:
    """A quantity with its unit, as the language writes it."""

    def read(text: str) -> float:
        from plica.api.drafting import wish

        try:
            return wish(text, what)
        except ValueError as error:
            raise argparse.ArgumentTypeError(str(error)) from None

    return read
