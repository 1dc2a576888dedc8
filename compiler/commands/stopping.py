"""Being asked to stop: Ctrl-C, and a request to end this process."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType


class Stopping:
    """Whether somebody asked to stop.

    An exception that a signal raises is lost where it meets a finaliser (Python prints or drops what those raise), so
    long work also asks now and then.
    """

    def __init__(self) -> None:
        self._asked = False

    def heed(self) -> None:
        """Raises KeyboardInterrupt once somebody asked to stop."""
        if self._asked:
            raise KeyboardInterrupt

    def hear(self, number: int, frame: FrameType | None) -> None:
        """Notes the wish, and raises KeyboardInterrupt where the work stands."""
        self._asked = True
        raise KeyboardInterrupt


@contextmanager
def stopping() -> Iterator[Stopping]:
    """While the block runs, SIGTERM is heard as Ctrl-C is; a Ctrl-C that is ignored stays ignored."""
    asked = Stopping()
    if threading.current_thread() is not threading.main_thread():
        yield asked
        return
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    for number, handler in before.items():
        if handler is not signal.SIG_IGN:
            signal.signal(number, asked.hear)
    try:
        yield asked
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
