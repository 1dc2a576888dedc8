"""Which message of the Language Server Protocol is answered by what; serving an editor over the standard streams."""

from __future__ import annotations

import os
from collections.abc import Iterable
from functools import partial
from pathlib import Path
from typing import Any, BinaryIO, TypeVar, cast

from lsprotocol import types

from plica.editor import lenses, proving_commands, views
from plica.editor.inbox import Inbox
from plica.editor.server import Server

_Params = TypeVar("_Params")


def make_server(allowed: Iterable[Path] = ()) -> Server:
    """A server that answers everything it can; `allowed` are further folders that specs may use files of."""
    server = Server(allowed)
    server.command(lenses.PROVE)(proving_commands.proving(server))
    server.command(lenses.STOP)(proving_commands.stopping(server))
    answers: dict[str, tuple[Any, Any]] = {
        types.INITIALIZED: (server.begun, None),
        types.TEXT_DOCUMENT_DID_OPEN: (server.opened, None),
        types.TEXT_DOCUMENT_DID_CHANGE: (server.changed, None),
        types.TEXT_DOCUMENT_DID_CLOSE: (server.closed, None),
        types.TEXT_DOCUMENT_DID_SAVE: (server.saved, None),
        types.WORKSPACE_DID_CHANGE_WATCHED_FILES: (server.saved, None),
        types.TEXT_DOCUMENT_HOVER: (server.hover, None),
        types.TEXT_DOCUMENT_DEFINITION: (server.definition, None),
        types.TEXT_DOCUMENT_REFERENCES: (server.references, None),
        types.TEXT_DOCUMENT_PREPARE_RENAME: (server.prepare_rename, None),
        types.TEXT_DOCUMENT_RENAME: (server.rename, types.RenameOptions(prepare_provider=True)),
        types.TEXT_DOCUMENT_COMPLETION: (
            server.completion,
            types.CompletionOptions(trigger_characters=[" ", ".", '"', "/", "{"]),
        ),
        types.TEXT_DOCUMENT_FORMATTING: (server.formatting, None),
        types.TEXT_DOCUMENT_CODE_ACTION: (
            server.code_actions,
            types.CodeActionOptions(code_action_kinds=[types.CodeActionKind.QuickFix]),
        ),
        types.TEXT_DOCUMENT_DOCUMENT_SYMBOL: (server.symbols, None),
        types.TEXT_DOCUMENT_INLAY_HINT: (server.inlay_hints, None),
        types.TEXT_DOCUMENT_CODE_LENS: (server.lenses, None),
        types.SHUTDOWN: (proving_commands.ending(server), None),
        types.TEXT_DOCUMENT_SEMANTIC_TOKENS_FULL: (partial(views.tokens, server), views.LEGEND),
        types.TEXT_DOCUMENT_SEMANTIC_TOKENS_RANGE: (partial(views.tokens_in, server), views.LEGEND),
        types.TEXT_DOCUMENT_FOLDING_RANGE: (partial(views.folding, server), None),
        types.TEXT_DOCUMENT_DOCUMENT_LINK: (partial(views.links, server), None),
        types.TEXT_DOCUMENT_DOCUMENT_HIGHLIGHT: (partial(views.highlights, server), None),
        types.TEXT_DOCUMENT_SIGNATURE_HELP: (
            partial(views.signature, server),
            types.SignatureHelpOptions(trigger_characters=["{", "=", " "]),
        ),
        types.WORKSPACE_SYMBOL: (partial(views.names_anywhere, server), None),
    }
    for method, (answer, options) in answers.items():
        server.feature(method, options)(partial(_answered, answer))
    return server


def _answered(answer: Any, params: _Params) -> Any:
    """The answer to a message; a function of its own, because pygls marks the functions that it is given."""
    return answer(params)


def serve(allowed: Iterable[Path] = ()) -> int:
    """Serve one editor over the standard streams, until it says that it is done; the exit code: 1 where it did not ask
    to shut down before (LSP 3.17, "Exit Notification").
    """
    # A copy, because pygls closes its stream in the end and the command line has the standard one still to flush.
    with os.fdopen(os.dup(1), "wb") as stdout:
        server, inbox = make_server(allowed), Inbox(0)
        server.conversation.given_up = inbox.given_up
        server.start_io(cast(BinaryIO, inbox), stdout)
        return 0 if server.conversation.was_shut_down else 1
