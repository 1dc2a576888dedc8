"""What a fuzz target is: one record says everything that the drivers need to know of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from hypothesis.strategies import SearchStrategy

HERE = Path(__file__).resolve().parent
CORPUS = HERE / "corpus"
FOUND = HERE / "found"
OPEN = FOUND / "open.txt"
MIB = 1 << 20

Entry = Callable[[bytes], None]
Mutate = Callable[[Random, bytes], bytes]
Grammar = Callable[[], "SearchStrategy[bytes]"]


def no_more() -> Iterable[bytes]:
    """The default of `Target.more_seeds`."""
    return ()


def nothing_to_prepare() -> None:
    """The default of `Target.prepare`."""


class Target(NamedTuple):
    """One way for foreign data into Plica.

    `entry` takes an input and returns; whatever it raises is a finding, so it suppresses what is a documented refusal
    and asserts what must hold of a result. `mutate` changes an input in a way that keeps some of its structure.
    `grammar`: made when needed, inputs written from nothing. `seeds` are the files of its folder in `corpus`, and
    `more_seeds`. `prepare` is called once, before any input.

    One input may take `seconds` and for each of its bytes `seconds_per_byte` (processor time, of this process), and
    `memory` bytes beyond what the process held before. `short` inputs are run in the suite. `needs` are modules
    without which the target cannot be run. `guided`: whether watching the branches is worth that inputs take some six
    times as long.
    """

    name: str
    entry: Entry
    mutate: Mutate
    grammar: Grammar | None = None
    more_seeds: Callable[[], Iterable[bytes]] = no_more
    prepare: Callable[[], object] = nothing_to_prepare
    memory: int = 256 * MIB
    seconds: float = 2.0
    seconds_per_byte: float = 0.0005
    longest: int = 16_384
    short: int = 60
    needs: tuple[str, ...] = ()
    guided: bool = True

    def seeds(self) -> list[bytes]:
        """The inputs to begin with, in a fixed order."""
        return [path.read_bytes() for path in files_in(CORPUS / self.name)] + list(self.more_seeds())

    def time_for(self, length: int) -> float:
        """Seconds of processor time that an input of so many bytes may take."""
        return self.seconds + self.seconds_per_byte * length


def files_in(folder: Path) -> list[Path]:
    """The files of a folder, sorted; none where it is not there."""
    return sorted(path for path in folder.iterdir() if path.is_file()) if folder.is_dir() else []


def open_findings() -> dict[tuple[str, str], str]:
    """Findings that are kept but not mended: cause by target and file name. `open.txt` has a line for each,
    `TARGET/FILE CAUSE`.
    """
    known = {}
    for line in OPEN.read_text("utf-8").splitlines() if OPEN.exists() else ():
        if line and not line.startswith("#"):
            place, _, cause = line.partition(" ")
            target, _, name = place.partition("/")
            known[target, name] = cause.strip()
    return known
