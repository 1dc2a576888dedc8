"""`plica preview`: a character's page live, until the user stops it."""

from __future__ import annotations

import argparse
import sys
import webbrowser
from pathlib import Path
from typing import TYPE_CHECKING

import plica
from plica.api.contents import contents
from plica.commands.output import in_order, say, show, usage_error
from plica.commands.progress import progress
from plica.commands.stopping import stopping
from plica.errors import PortTakenError

if TYPE_CHECKING:
    from plica.api.previewing import PreviewUpdate


def preview(options: argparse.Namespace) -> int:
    """Serve now and go over to every change."""
    spec = Path(options.spec)
    if not spec.is_file():
        return usage_error("preview", f"there is no file `{options.spec}`")
    try:
        served = plica.preview_spec(spec, clips=options.clip, allow=options.allow, port=options.port)
    except PortTakenError as error:
        return usage_error("preview", str(error))
    changed: tuple[Path, ...] = ()
    with stopping(), served:
        say(f"open {served.address}", "  for a browser on this machine; stop with Ctrl-C")
        sys.stdout.flush()
        while True:
            with progress(f"preparing {spec}") as step:
                update = served.update(changed, step)
            _tell(update, spec)
            if options.open and not changed:
                webbrowser.open(served.address)
            changed = served.wait()


def _tell(update: PreviewUpdate, spec: Path) -> None:
    """How going over to a state of the files went."""
    show(in_order(update.diagnostics), "text")
    if update.ok:
        say(f"{spec}: shown; {contents(update.character.rig)}; {update.seconds:.2f} s")
    else:
        say(f"{spec}: not shown, because of the mistakes above; {update.seconds:.2f} s")
    sys.stdout.flush()
