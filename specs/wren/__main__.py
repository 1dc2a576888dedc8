"""Makes the demo character's data anew: `python -m plica.specs.wren [--keep-drafts] [FOLDER]`, by default beside this
module. Drafting the sculpts of limbs and fingers takes minutes; with `--keep-drafts` they are left as they are.
"""

from __future__ import annotations

import sys
from pathlib import Path

from plica.diagnostics import Diagnostics
from plica.emit.writer import write
from plica.specs.wren.drafts import drafted_files
from plica.specs.wren.made import made_files

DATA = Path(__file__).parent / "data"
KEEP = "--keep-drafts"


def main(arguments: list[str]) -> int:
    """Write the files, and name those whose bytes were others before."""
    folders = [argument for argument in arguments if argument != KEEP]
    if len(folders) > 1 or (folders and folders[0].startswith("-")):
        sys.stderr.write(f"usage: python -m plica.specs.wren [{KEEP}] [FOLDER]\n")
        return 2
    files = made_files()
    if KEEP not in arguments:
        files |= drafted_files(files)
    diagnostics = Diagnostics()
    written = write(files, Path(folders[0]) if folders else DATA, diagnostics)
    for problem in diagnostics.all:
        sys.stderr.write(f"{problem.message}\n")
    if written is None:
        return 1
    sys.stdout.write("".join(f"{path}\n" for path in written.written))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
