"""Starts the processes that read OpenUSD models: native code that reads foreign files may crash or take all memory.

Loading the library takes a third of a second. Where the system can copy a process, one process loads it for the whole
run and reads each model in a copy of itself; elsewhere each model gets a process that loads it anew.
"""

from __future__ import annotations

import atexit
import json
import os
import socket
import subprocess
import sys
from contextlib import suppress
from threading import Lock
from typing import IO, NamedTuple

COMMAND = (sys.executable, "-P", "-m", "plica.readers.usd_child")  # -P: no module comes from the working folder
COPIES = sys.platform == "linux"
PATIENCE = 60  # seconds for a process to be started and to load the library, on top of what reading may take


class Ended(NamedTuple):
    """How a process ended: its exit code, negative for a signal; None where it took too long.

    `memory`: the most bytes that it held beyond the library, None where that is not known.
    """

    code: int | None
    memory: int | None


def ask(request: str, stream: IO[bytes], seconds: int) -> Ended:
    """Let a process read a model within so many seconds, its answer going into a file."""
    if COPIES:
        with _LOCK:
            return _served(request, stream, seconds)
    return _once(request, stream, seconds)


class _Server(NamedTuple):
    """The process that has the library loaded, and the process that started it."""

    process: subprocess.Popen[bytes]
    connection: socket.socket
    owner: int


_LOCK = Lock()
_SERVERS: list[_Server] = []  # one, or none yet


def _served(request: str, stream: IO[bytes], seconds: int) -> Ended:
    server = _server()
    try:
        server.connection.settimeout(seconds + PATIENCE)
        socket.send_fds(server.connection, [request.encode("ascii") + b"\n"], [stream.fileno()])
        said = b""
        while not said.endswith(b"\n"):
            said += (part := server.connection.recv(1024))
            if not part:
                _stop()
                return Ended(1, None)
        ended = json.loads(said)
        return Ended(int(ended["code"]), int(ended["memory"]))
    except TimeoutError:
        _stop()
        return Ended(None, None)
    except OSError:
        _stop()
        return Ended(1, None)
    except BaseException:  # an answer that nobody waited for would be taken for the next one
        _stop()
        raise


def _server() -> _Server:
    """The process of this run; a copy of this process starts its own."""
    if _SERVERS and (_SERVERS[0].owner != os.getpid() or _SERVERS[0].process.poll() is not None):
        _stop()
    if not _SERVERS:
        ours, theirs = socket.socketpair()
        with theirs:
            process = subprocess.Popen(
                [*COMMAND, str(theirs.fileno())],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                pass_fds=[theirs.fileno()],
                env=_environment(),
            )
        _SERVERS.append(_Server(process, ours, os.getpid()))
    return _SERVERS[0]


@atexit.register
def _stop() -> None:
    while _SERVERS:
        server = _SERVERS.pop()
        server.connection.close()
        if server.owner == os.getpid():
            with suppress(OSError):
                server.process.kill()
            server.process.wait()


def _once(request: str, stream: IO[bytes], seconds: int) -> Ended:
    # Waiting for the end of standard error takes no time slices; the process closes it when it ends.
    with subprocess.Popen(
        [*COMMAND, request], stdin=subprocess.DEVNULL, stdout=stream, stderr=subprocess.PIPE, env=_environment()
    ) as process:
        try:
            process.communicate(timeout=seconds + PATIENCE if hasattr(os, "wait4") else seconds)
        except subprocess.TimeoutExpired:
            process.kill()
            return Ended(None, None)
        except BaseException:
            process.kill()
            raise
        return Ended(process.returncode, None)


def _environment() -> dict[str, str]:
    """The environment without what tells the library where to look for layers and further code."""
    result = {name: value for name, value in os.environ.items() if not name.startswith("PXR_")}
    result["PXR_WORK_THREAD_LIMIT"] = "1"  # the same order of findings each time; threads reserve memory
    return result
