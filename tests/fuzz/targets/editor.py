"""What an editor sends: messages of the Language Server Protocol, one after the other; and the words it colours."""

from __future__ import annotations

import asyncio
import json
import logging
import traceback
from collections.abc import Callable
from typing import Any

from tests.fuzz import character
from tests.fuzz.grammars import documents
from tests.fuzz.mutate import of_json, of_words, one_of
from tests.fuzz.target import Target
from tests.fuzz.targets.scratch import scratch
from tests.fuzz.targets.texts import HOSTILE, WORDS

FOLDER = "file:///work-of-wren/"  # in inputs; stands for the folder of this process
MOST_MESSAGES = 40
_START = {"processId": None, "rootUri": None, "capabilities": {}}


class _Heard(logging.Handler):
    """The mistakes of ours that pygls caught and logged."""

    def __init__(self) -> None:
        super().__init__(logging.ERROR)
        self.errors: list[BaseException] = []

    def emit(self, record: logging.LogRecord) -> None:
        """Keep what came up in Plica and is no refusal."""
        from pygls.exceptions import JsonRpcException

        error = record.exc_info[1] if record.exc_info else None
        if error is not None and not isinstance(error, JsonRpcException) and _is_ours(error):
            self.errors.append(error)


def _is_ours(error: BaseException) -> bool:
    """Whether it came up in Plica; the protocol's library refuses malformed messages by itself."""
    frames = traceback.walk_tb(error.__traceback__)
    return any(str(frame.f_globals.get("__name__", "")).startswith("plica.") for frame, _ in frames)


class _Answers:
    """Takes what the server sends."""

    def __init__(self) -> None:
        self.sent: list[bytes] = []

    def write(self, data: bytes) -> None:
        """Keep a message."""
        self.sent.append(data)

    def close(self) -> None:
        """Nothing to do."""


def _messages(data: bytes) -> None:
    """A list of `{"method": ..., "params": ...}`; those with an `id` ask for an answer and must get one."""
    folder = scratch("editor")
    if not (folder / "wren.plica").exists():
        character.put_down(folder)
    try:
        messages = json.loads(data.replace(FOLDER.encode(), folder.as_uri().encode() + b"/"))
    except (ValueError, RecursionError):
        return
    if not isinstance(messages, list):
        return
    heard = _Heard()
    logger = logging.getLogger("pygls")
    logger.addHandler(heard)
    logger.propagate = False
    try:
        asyncio.run(_conversation([one for one in messages if isinstance(one, dict)][:MOST_MESSAGES]))
    finally:
        logger.removeHandler(heard)
    if heard.errors:
        raise heard.errors[0]


async def _conversation(messages: list[dict[str, Any]]) -> None:
    from plica.editor.features import make_server

    server, answers = make_server(), _Answers()
    server.protocol.set_writer(answers)
    start = [{"id": 0, "method": "initialize", "params": _START}, {"method": "initialized", "params": {}}]
    for message in [*start, *messages]:
        if message.get("method") in ("exit", "shutdown"):
            continue
        body = json.dumps({"jsonrpc": "2.0", **message})
        _taken(lambda body=body: server.protocol.handle_message(_read(server, body)))  # type: ignore[misc]
        await asyncio.sleep(0)
    server.publish()
    for one in answers.sent:
        json.loads(one[one.index(b"{") :])


def _read(server: Any, body: str) -> Any:
    return json.loads(body, object_hook=server.protocol.structure_message)


def _taken(handle: Callable[[], object]) -> None:
    """A message that the protocol's library cannot read is its own to refuse."""
    from pygls.exceptions import JsonRpcException

    try:
        handle()
    except Exception as error:
        if not isinstance(error, JsonRpcException) and _is_ours(error):
            raise


def _colours(data: bytes) -> None:
    """The words that are coloured are the text, whatever it is."""
    from plica.editor.pygments_lexer import PlicaLexer

    text = data.decode("utf-8", "replace").replace("\r\n", "\n").replace("\r", "\n")
    lexer = PlicaLexer(stripnl=False, ensurenl=False)
    assert "".join(value for _, value in lexer.get_tokens(text)) == text.removeprefix("\ufeff")


_ODD = [
    None, -1, 0, 1, 3, 17, 2**31, 2**53, 0.5, "", "x", FOLDER + "wren.plica", FOLDER + "limb.plica", "untitled:1",
    "file:///",
    "file:///%00", "file://host/x", "http://x/y", "\ud800", [], {}, *HOSTILE, "{joint}", "elbow", "bend", "a b",
    "driver",
]  # fmt: skip

TARGETS = (
    Target("editor", _messages, of_json(_ODD), documents.conversations, short=15, needs=("pygls",), seconds=4.0),
    Target("colours", _colours, one_of(of_words(WORDS), of_words(HOSTILE)), short=120, needs=("pygments",)),
)
