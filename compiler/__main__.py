"""`python -m plica` is the command `plica`."""

from __future__ import annotations

import sys

from plica.commands.main import main

if __name__ == "__main__":
    sys.exit(main())
