"""`plica language-server`: for editors, over the standard streams."""

from __future__ import annotations

import argparse
from importlib.util import find_spec

from plica.commands.output import usage_error


def language_server(options: argparse.Namespace) -> int:
    """Serve one editor until it says that it is done."""
    if find_spec("pygls") is None:
        return usage_error("language-server", "needs the package pygls; install it with `pip install plica[editor]`")
    from plica.editor.features import serve

    return serve(options.allow)
