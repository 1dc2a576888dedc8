"""What an editor sends, read ahead: so it is known that a request was given up while it, or another, is worked on."""

from __future__ import annotations

import json
import os
import re
import threading
from queue import SimpleQueue

from lsprotocol import types

_LENGTH = re.compile(rb"^Content-Length: (\d+)\r\n$")  # the very form that pygls takes, so that both cut alike
AT_ONCE = 1 << 16  # bytes that are asked for at a time
_CANCEL = types.CANCEL_REQUEST.encode()


class Inbox:
    """The lines and bodies that come in by a file descriptor, in order, for one reader.

    `given_up` holds the numbers of given-up requests. The descriptor is read by itself and not through a stream of
    Python's: such a one cannot be closed, nor Python end, while a thread waits in it for an editor that says no more.
    """

    def __init__(self, descriptor: int) -> None:
        self.given_up: set[int | str] = set()
        self._descriptor, self._pieces = descriptor, SimpleQueue[bytes]()
        self._held = bytearray()
        threading.Thread(target=self._read_ahead, name="plica reading ahead", daemon=True).start()

    def readline(self, size: int | None = -1, /) -> bytes:
        """The next line of a header, "" at the end."""
        return self._pieces.get()

    def read(self, size: int = -1, /) -> bytes:
        """The next body; its header says how long it is."""
        return self._pieces.get()

    def _read_ahead(self) -> None:
        length = 0
        try:
            while line := self._line():
                self._pieces.put(line)
                match = _LENGTH.match(line)
                if match and not length:
                    length = int(match[1])
                if length and not line.strip():
                    body = self._body(length)
                    self._note(body)
                    self._pieces.put(body)
                    length = 0
        except OSError:
            pass  # for whoever reads, it ends
        self._pieces.put(b"")

    def _line(self) -> bytes:
        """The next line with its end, or what is left at the end of all."""
        while (end := self._held.find(b"\n")) < 0:
            if not self._take():
                return self._body(len(self._held))
        return self._body(end + 1)

    def _body(self, length: int) -> bytes:
        """So many bytes, or fewer at the end of all."""
        while len(self._held) < length and self._take():
            pass
        body = bytes(self._held[:length])
        del self._held[:length]
        return body

    def _take(self) -> bool:
        got = os.read(self._descriptor, AT_ONCE)
        self._held += got
        return bool(got)

    def _note(self, body: bytes) -> None:
        if _CANCEL not in body or len(body) > 1000:
            return
        try:
            message = json.loads(body)
        except (ValueError, RecursionError):
            return
        if isinstance(message, dict) and message.get("method") == types.CANCEL_REQUEST:
            params = message.get("params")
            number = params.get("id") if isinstance(params, dict) else None
            if isinstance(number, int | str):
                self.given_up.add(number)
