"""Makes the demo character's data anew: `python -m plica.specs.wren [FOLDER]`, by default beside this module."""

from __future__ import annotations

import sys
from pathlib import Path

from plica.diagnostics import Diagnostics
from plica.emit.writer import write
from plica.specs.wren.made import made_files

DATA = Path(__file__).parent / "data"


def main(arguments: list[str]) -> int:
    """Write the files, and name those whose bytes were others before."""
    if len(arguments) > 1 or (arguments and arguments[0].startswith("-")):
        sys.stderr.write("usage: python -m plica.specs.wren [FOLDER]\n")
        return 2
    diagnostics = Diagnostics()
    written = write(made_files(), Path(arguments[0]) if arguments else DATA, diagnostics)
    for problem in diagnostics.all:
        sys.stderr.write(f"{problem.message}\n")
    if written is None:
        return 1
    sys.stdout.write("".join(f"{path}\n" for path in written.written))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
