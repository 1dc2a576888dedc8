"""The commands behind the lines above expectations: prove one in the background, and stop that."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from lsprotocol import types
from pygls.exceptions import JsonRpcInvalidParams, JsonRpcInvalidRequest, JsonRpcRequestCancelled

from plica.editor.proofs import ExpectBlock, StoppedError, expect_blocks, job_of

if TYPE_CHECKING:
    from plica.editor.server import Server

ANSWER_SECONDS = 5.0  # that an editor has to make the progress it said it can show


def proving(server: Server) -> Callable[[str, int], Awaitable[list[dict[str, str]]]]:
    """The command that proves the expectations of one `expect` of a text, by its number there."""

    async def prove(uri: str, number: int) -> list[dict[str, str]]:
        block, around = _block(server, uri, number), server.around(uri)
        if around.own_rig is None:
            raise JsonRpcInvalidRequest("the text has mistakes, or nothing uses it: nothing can be proven of it")
        job = job_of(around, block, server.documents.texts(), around.clips)
        request = server.conversation.msg_id
        if request is not None:
            server.conversation.stopping[request] = lambda: server.proofs.stop(block)
        working = asyncio.ensure_future(server.proofs.prove(around, block, job))
        _refresh(server)
        try:
            async with _Progress(server, block):
                answer = await working
        except StoppedError as error:
            raise JsonRpcRequestCancelled("the measuring was stopped") from error
        finally:
            if request is not None:
                server.conversation.stopping.pop(request, None)
            _refresh(server)
        if answer.problem:
            raise JsonRpcInvalidRequest(answer.problem)
        return [{"status": fact.status, "figure": fact.figure, "table": fact.table} for fact in answer.facts]

    return prove


def stopping(server: Server) -> Callable[[str, int], None]:
    """The command that stops that."""

    def stop(uri: str, number: int) -> None:
        server.proofs.stop(_block(server, uri, number))

    return stop


def ending(server: Server) -> Callable[[Any], None]:
    """What is done when the editor shuts the server down."""
    return lambda params: server.proofs.end()


def _block(server: Server, uri: str, number: int) -> ExpectBlock:
    blocks = expect_blocks(server.analysis(uri).document)
    if not 0 <= number < len(blocks):
        raise JsonRpcInvalidParams(f"{uri} has no `expect` of number {number}, counted from 0")
    return blocks[number]


class _Progress:
    """Shown while a block is measured, with a way to stop it, where the editor can show that."""

    def __init__(self, server: Server, block: ExpectBlock) -> None:
        self._server, self._block = server, block
        self._token: str | None = None

    async def __aenter__(self) -> None:
        window = self._server.client_capabilities.window
        if window is None or not window.work_done_progress:
            return
        token, shown = str(uuid4()), self._server.work_done_progress
        try:
            await asyncio.wait_for(shown.create_async(token), ANSWER_SECONDS)
        except Exception:  # whatever an editor answers: it is no reason not to prove
            return
        self._token = token
        words = "; ".join(key.words for key, _ in self._block.facts)
        shown.begin(token, types.WorkDoneProgressBegin(f"proving {words}", cancellable=True))
        shown.tokens[token].add_done_callback(self._ended)

    async def __aexit__(self, *_: object) -> None:
        if self._token is not None:
            self._server.work_done_progress.end(self._token, types.WorkDoneProgressEnd())
            self._server.work_done_progress.tokens.pop(self._token, None)

    def _ended(self, future: Any) -> None:
        if future.cancelled():
            self._server.proofs.stop(self._block)


def _refresh(server: Server) -> None:
    """Ask the editor to ask again for what changed without an edit, where it can."""
    workspace = server.client_capabilities.workspace
    if workspace is None:
        return
    if workspace.code_lens is not None and workspace.code_lens.refresh_support:
        server.workspace_code_lens_refresh(None)
    if workspace.inlay_hint is not None and workspace.inlay_hint.refresh_support:
        server.workspace_inlay_hint_refresh(None)
