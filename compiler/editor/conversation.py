"""How messages are answered beyond what pygls does: every request gets an answer, whatever state the server is in.

Codes of errors are those of the Language Server Protocol 3.17 ("Response Message", "Server lifecycle").
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from typing import Any

from lsprotocol import types
from pygls.exceptions import JsonRpcException, JsonRpcRequestCancelled
from pygls.protocol import LanguageServerProtocol, lsp_method

from plica.editor.file_completion import ENDINGS

NOT_INITIALIZED = -32002
INVALID_REQUEST = -32600


class Conversation(LanguageServerProtocol):
    """The protocol in UTF-16 positions, which every editor can speak, whatever else this one would prefer."""

    _has_begun = False
    _current: int | str | None = None

    def __init__(self, *arguments: Any) -> None:
        super().__init__(*arguments)
        self.given_up: set[int | str] = set()  # requests that the editor gave up, also while messages are worked on
        self.stopping: dict[int | str, Callable[[], None]] = {}  # what stops requests that are worked on elsewhere

    @property
    def was_shut_down(self) -> bool:
        """Whether the editor asked the server to shut down."""
        return self._shutdown

    def heed(self) -> None:
        """Raises JsonRpcRequestCancelled once the request that is being answered was given up."""
        if self._current in self.given_up:
            raise JsonRpcRequestCancelled(f"request {self._current} was cancelled")

    @lsp_method(types.INITIALIZE)
    def lsp_initialize(self, params: types.InitializeParams) -> Generator[Any, Any, types.InitializeResult]:
        """Begin, as pygls does, without a choice of encodings."""
        self._has_begun = True
        if params.capabilities.general is not None:
            params.capabilities.general.position_encodings = None
        return (yield from super().lsp_initialize(params))

    def handle_message(self, message: Any) -> None:
        """Answer a message; requests before the beginning and after the end with the error that is meant for them."""
        method, number = getattr(message, "method", None), getattr(message, "id", None)
        if method is not None and number is not None:
            if not isinstance(number, int | float | str):
                self._refuse(None, INVALID_REQUEST, "the id of a request is a number or a text")  # JSON-RPC 2.0, 4
                return
            if self._shutdown:
                self._refuse(number, INVALID_REQUEST, "the server is shutting down")
                return
            if not self._has_begun and method != types.INITIALIZE:
                self._refuse(number, NOT_INITIALIZED, "the server is not initialized")
                return
            if number in self.given_up:
                self.given_up.discard(number)
                self._refuse(number, JsonRpcRequestCancelled.CODE, "the request was cancelled")
                return
        elif method is not None and not self._has_begun and method != types.EXIT:
            return
        self._current = number if method is not None else None
        try:
            super().handle_message(message)
        finally:
            self._current = None

    def _handle_cancel_notification(self, msg_id: int | str) -> None:
        """What is worked on elsewhere is stopped, and answered by pygls; else the request had its answer before."""
        if not isinstance(msg_id, int | float | str):
            return  # no request has such an id
        self.given_up.discard(msg_id)
        stop = self.stopping.pop(msg_id, None)
        if msg_id in self._request_futures:
            super()._handle_cancel_notification(msg_id)
        if stop is not None:
            stop()

    def structure_message(self, data: dict[str, Any]) -> Any:
        """A message out of its JSON; one that has the wrong form is answered with an error, and then dropped."""
        try:
            return super().structure_message(data)
        except JsonRpcException as error:
            if "method" in data and "id" in data:
                self._refuse(data["id"], error.code, f"{data['method']}: the parameters do not have its form")
            raise

    def _refuse(self, number: Any, code: int, reason: str) -> None:
        self._send_response(number, error=types.ResponseError(code, reason))


def watched_files(capabilities: types.ClientCapabilities) -> types.RegistrationParams | None:
    """What asks an editor to say when files change that specs depend on; None for an editor that does not take it."""
    workspace = capabilities.workspace
    watching = workspace.did_change_watched_files if workspace is not None else None
    if watching is None or not watching.dynamic_registration:
        return None
    endings = sorted({ending.removeprefix(".") for listed in ENDINGS.values() for ending in listed})
    patterns = [f"**/*.{{{','.join(endings)}}}", "**/plica.toml"]
    options = types.DidChangeWatchedFilesRegistrationOptions([types.FileSystemWatcher(one) for one in patterns])
    registration = types.Registration("plica-files", types.WORKSPACE_DID_CHANGE_WATCHED_FILES, options)
    return types.RegistrationParams([registration])
