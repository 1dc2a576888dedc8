"""What does not hold yet, and why: each entry is a test that must fail until it is mended (strict xfail)."""

from __future__ import annotations

from typing import Final, NamedTuple


class Open(NamedTuple):
    """Laws that one variant breaks on some characters (none named: on all)."""

    variant: str
    laws: tuple[str, ...]
    why: str
    characters: tuple[str, ...] = ()


OPEN: Final[tuple[Open, ...]] = (
    Open(
        "under_controls",
        ("offsets", "measures"),
        "a sweep of the elbow, and a sculpt posed at it, leave a hand behind that hangs elsewhere, which is told",
    ),
)


def reason(variant: str, law: str, character: str) -> str | None:
    """Why a law does not hold; None where it must."""
    for one in OPEN:
        if one.variant == variant and law in one.laws and (not one.characters or character in one.characters):
            return one.why
    return None
