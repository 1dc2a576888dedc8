"""The arguments of `picture`, as they are described to argparse."""

from __future__ import annotations

import argparse

from plica.commands.sculpt_options import add_which_pose
from plica.commands.shared_options import add_allow, add_replace, add_spec, count


def add_picture(parser: argparse.ArgumentParser) -> None:
    """Arguments of `picture`."""
    add_spec(parser)
    parser.add_argument(
        "--out", metavar="FILE", required=True, help="the file to write; its ending says the form: .png or .webp"
    )
    which = add_which_pose(parser, clip="moments of a motion, or with --time a single one")
    which.add_argument(
        "--sweep", metavar="STRENGTH", help="from rest to where its span ends; a name of both sides means the left"
    )
    parser.add_argument("--time", metavar="SECONDS", type=float, help="the moment of --clip")
    parser.add_argument(
        "--frames", metavar="N", type=count, help="moments of a sweep or a clip (default: 6, moving 24)"
    )
    parser.add_argument(
        "--moving",
        action="store_true",
        help="one view after the other, a sweep there and back (.png is APNG then)",
    )
    parser.add_argument(
        "--from",
        dest="standpoint",
        metavar="STANDPOINT",
        help="front, back, left, right (the character's own), front-left, back-right and so on, above, or degrees from "
        "the front towards its left and above the horizon, as in 35 or 35,10 (default: the quarter from which most of "
        "what moves is seen)",
    )
    parser.add_argument("--look-at", metavar="NAME", help="show a region, or the skin of a joint, alone")
    parser.add_argument("--whole", action="store_true", help="show the whole figure, not only what moves")
    parser.add_argument(
        "--size", metavar="WxH", type=_pixels, help="pixels of a view (default: 800x640, of several 400x360)"
    )
    parser.add_argument("--bare", action="store_true", help="the bare skin, without shapes")
    parser.add_argument("--tint", action="store_true", help="colour shows how far shapes move the skin")
    add_replace(parser)
    add_allow(parser)


def _pixels(text: str) -> tuple[int, int]:
    columns, _, rows = text.partition("x")
    if all(one.isascii() and one.isdigit() and len(one) < 6 for one in (columns, rows)):
        return int(columns), int(rows)
    raise argparse.ArgumentTypeError("takes columns and rows, as in 800x640")
