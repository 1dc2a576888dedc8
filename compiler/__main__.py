"""`python -m plica` is the command `plica`."""

from __future__ import annotations

import sys

from plica.commands.main import run

if __name__ == "__main__":
    sys.exit(run())
