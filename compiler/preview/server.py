"""The server of a preview: on this machine only, at an address that nobody can guess, and without anything to write.

Every request must name the address itself as its host, so that a page of another site whose name was turned to this
machine gets nothing (DNS rebinding); one that comes from another origin is refused; and the path begins with 32 random
bytes, which are compared in constant time. Nothing is read from disk: what is served is the state in memory.
"""

from __future__ import annotations

import select
import socket
from collections.abc import Callable
from hmac import compare_digest
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from secrets import token_urlsafe
from threading import Condition, Semaphore, Thread
from typing import Any, Final

from plica.preview.state import PreviewState

HOST: Final = "127.0.0.1"
MOST_CONNECTIONS: Final = 64
"""Connections that are served at one time; a browser holds up to six for a page, one of them for what changes."""
IDLE_SECONDS: Final = 30.0
"""How long a connection may stay silent before it is ended."""
LOOK_SECONDS: Final = 0.5
"""How often a connection that waits for changes looks whether its page is still there."""
_ALWAYS: Final = {
    "Cache-Control": "no-store",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Content-Security-Policy": "frame-ancestors 'none'",
}


class Board:
    """The newest state, and the waiting for the next one."""

    def __init__(self) -> None:
        self._changed = Condition()
        self._state: PreviewState | None = None
        self._closed = False

    @property
    def state(self) -> PreviewState | None:
        """The newest state; None before the first."""
        return self._state

    def put(self, state: PreviewState) -> None:
        """Make a state the newest; the one before it is forgotten."""
        with self._changed:
            self._state = state
            self._changed.notify_all()

    def close(self) -> None:
        """End all waiting."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()

    @property
    def closed(self) -> bool:
        """Whether there will be no further state."""
        return self._closed

    def newer(self, number: int, seconds: float) -> PreviewState | None:
        """The newest state if its number is another one, which is waited for; None where there is none."""

        def there() -> bool:
            return self._closed or (self._state is not None and self._state.number != number)

        with self._changed:
            self._changed.wait_for(there, seconds)
            return None if self._closed or self._state is None or self._state.number == number else self._state


class PreviewServer:
    """Serves a board until it is closed. Raises OSError where the port is not free; port 0: any that is."""

    def __init__(self, board: Board, port: int = 0) -> None:
        self._board = board
        self._http = _PreviewConnections(board, port)
        self.port: int = self._http.server_address[1]
        self.address = f"http://{HOST}:{self.port}/{self._http.token}/"
        self._thread = Thread(target=self._http.serve_forever, args=(LOOK_SECONDS,), name="preview", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """End all connections and give the port back."""
        self._board.close()
        self._http.shutdown()
        self._http.server_close()
        self._thread.join()


class _PreviewConnections(ThreadingHTTPServer):
    daemon_threads = True
    block_on_close = False
    request_queue_size = MOST_CONNECTIONS
    """Connections that may wait to be taken; what a system does not queue is asked for again a second later."""

    def __init__(self, board: Board, port: int) -> None:
        self.board, self.token = board, token_urlsafe(32)
        self.free = Semaphore(MOST_CONNECTIONS)
        super().__init__((HOST, port), _Handler)

    def process_request(self, request: Any, client_address: Any) -> None:
        """Serve a connection in a thread of its own, or end it where there are too many."""
        if not self.free.acquire(blocking=False):
            self.shutdown_request(request)
            return
        super().process_request(request, client_address)

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        """Serve a connection to its end."""
        try:
            super().process_request_thread(request, client_address)
        finally:
            self.free.release()

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A page that goes away while it is written to is nothing to tell."""


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    timeout = IDLE_SECONDS
    # A head and its content go out together, and nothing waits for the page to have confirmed what came before.
    wbufsize = 1 << 16
    disable_nagle_algorithm = True
    server: _PreviewConnections

    def __getattr__(self, name: str) -> Callable[[], None]:
        """All methods but GET are refused alike, whatever they are called."""
        if name.startswith("do_"):
            return self._refuse_method
        raise AttributeError(name)

    def do_GET(self) -> None:
        """A resource of the present state."""
        if not self._is_from_here():
            self._refuse(HTTPStatus.FORBIDDEN)
            return
        token, _, path = self.path[1:].partition("/")
        if not compare_digest(token.encode("utf-8", "replace"), self.server.token.encode("ascii")):
            self._refuse(HTTPStatus.NOT_FOUND)
            return
        if path == "changes":
            self._stream()
            return
        found = _resource(self.server.board.state, path)
        if found is None:
            self._refuse(HTTPStatus.NOT_FOUND)
        else:
            self._answer(HTTPStatus.OK, *found)

    def _is_from_here(self) -> bool:
        """Whether the request names this address as its host, and comes from no other origin."""
        own = f"{HOST}:{self.server.server_address[1]}"
        hosts = self.headers.get_all("Host", [])
        origin, site = self.headers.get("Origin"), self.headers.get("Sec-Fetch-Site")
        return hosts == [own] and origin in (None, f"http://{own}") and site in (None, "none", "same-origin")

    def _stream(self) -> None:
        """Server-sent events (HTML, section 9.2): the present state and each that follows, until the page is gone."""
        self.close_connection = True
        self._begin(HTTPStatus.OK, "text/event-stream", None)
        board, number = self.server.board, -1
        while not board.closed and not self._is_gone():
            state = board.newer(number, LOOK_SECONDS)
            if state is not None:
                number = state.number
                self.wfile.write(b"data: " + state.event + b"\n\n")
                self.wfile.flush()

    def _is_gone(self) -> bool:
        """Whether the page has ended its side of the connection."""
        readable, _, _ = select.select([self.connection], [], [], 0)
        if not readable:
            return False
        try:
            return not self.connection.recv(1, socket.MSG_PEEK)
        except OSError:
            return True

    def _refuse_method(self) -> None:
        self.close_connection = True
        self._refuse(HTTPStatus.METHOD_NOT_ALLOWED, {"Allow": "GET"})

    def _refuse(self, status: HTTPStatus, more: dict[str, str] | None = None) -> None:
        self._answer(status, "text/plain; charset=utf-8", status.phrase.encode("ascii"), more)

    def _answer(self, status: HTTPStatus, kind: str, content: bytes, more: dict[str, str] | None = None) -> None:
        self._begin(status, kind, len(content), more)
        self.wfile.write(content)
        self.wfile.flush()

    def _begin(self, status: HTTPStatus, kind: str, size: int | None, more: dict[str, str] | None = None) -> None:
        self.send_response_only(status)
        length = {} if size is None else {"Content-Length": str(size)}
        for name, value in {"Content-Type": kind, **length, **_ALWAYS, **(more or {})}.items():
            self.send_header(name, value)
        if self.close_connection:
            self.send_header("Connection", "close")
        self.end_headers()

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        """What the library refuses by itself (a request that is none) is refused in our way."""
        self.close_connection = True
        self._refuse(HTTPStatus(code))

    def log_message(self, format: str, *args: Any) -> None:
        """Nothing is written down, the address least of all."""


def _resource(state: PreviewState | None, path: str) -> tuple[str, bytes] | None:
    """The media type and content of a path below the address."""
    if state is None:
        return None
    shown, (kind, _, name) = state.shown, path.partition("/")
    if path == "":
        return "text/html; charset=utf-8", state.waiting if shown is None else shown.page
    if shown is None:
        return None
    if kind in ("page", "record") and name == str(shown.number):
        return ("text/html; charset=utf-8", shown.page) if kind == "page" else ("application/json", shown.record)
    if kind == "part" and name in shown.parts:
        return "application/octet-stream", shown.parts[name]
    if kind == "script" and name in shown.scripts:
        return "text/javascript; charset=utf-8", shown.scripts[name]
    return None
