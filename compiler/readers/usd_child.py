"""Reads OpenUSD models in processes of their own, whose crash or hunger harms nobody: `python -P -m` this module.

With a socket's number as the argument it waits, the library loaded, and reads each model that is asked for in a copy
of itself. With a request as the argument it reads that one model, its answer going to standard output, for systems
where a process cannot be copied. An answer goes into a file: arrays one after the other, then JSON that says where they
are, then its length in eight bytes.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import socket
import struct
import sys
from pathlib import Path
from typing import Any, BinaryIO

from plica.limits import Limits, using

NO_ROOM = 74  # the exit code where the answer cannot be written; EX_IOERR of sysexits.h
TRAILER = struct.Struct("<Q")
LONGEST_REQUEST = 1 << 16  # bytes


def main() -> None:
    """Serve the socket, or answer the request, that the argument names."""
    sys.path[:] = [str(Path(place).absolute()) for place in sys.path]
    os.chdir(Path.cwd().anchor)  # where no relative name in a model leads to a file
    argument = sys.argv[1]
    if argument.isdigit():
        _serve(socket.socket(fileno=int(argument)))
    else:
        output = os.dup(1)
        os.dup(2)  # stays open until this process ends, which is how the parent notices
        _answer(argument, output)


def _serve(connection: socket.socket) -> None:
    """Answer requests, each of them with the file to write into, until nobody can ask any more."""
    with contextlib.suppress(ImportError):  # told to each who asks
        _load()
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    while True:
        request, files, _, _ = socket.recv_fds(connection, LONGEST_REQUEST, 1)
        while request and not request.endswith(b"\n"):
            request += connection.recv(LONGEST_REQUEST)
        if not request:
            return
        process = os.fork()
        if process == 0:
            connection.close()
            _answer(request.decode("ascii"), files[0])
        os.close(files[0])
        _, status, usage = os.wait4(process, 0)
        own = usage.ru_maxrss - _largest_of_this_process()
        ended = {"code": os.waitstatus_to_exitcode(status), "memory": max(own, 0) * 1024}
        connection.sendall(json.dumps(ended).encode("ascii") + b"\n")


def _answer(request: str, output: int) -> None:
    """Read the model that a request names, write the answer and end this process."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)  # the library prints what it pleases
    os.dup2(nowhere, 2)
    asked = json.loads(request)
    most = Limits(**asked["limits"])
    files: list[Path] = []
    try:
        with os.fdopen(output, "wb") as stream, using(most):
            answer = _Answer(stream, most)
            result = _read(Path(asked["path"]), most, answer, files, asked["motion"])
            answer.close({**result, "files": [str(file) for file in files] or [asked["path"]]})
    except OSError:
        os._exit(NO_ROOM)
    os._exit(0)  # taking a large stage apart takes time and can crash


def _load() -> None:
    """Load the library. Raises ImportError."""
    import plica.readers.usd_extract
    import plica.readers.usd_layers  # noqa: F401


def _read(path: Path, most: Limits, answer: _Answer, files: list[Path], motion: bool) -> dict[str, Any]:
    try:
        _load()
    except ImportError as error:
        return {"fault": f"the library usd-core cannot be loaded: {error}"}
    from plica.readers.usd_extract import extract
    from plica.readers.usd_layers import DAMAGED, Beyond, Unusable, compose

    _limit(most)
    try:
        composed = compose(path, most, files)
        return {"problems": composed.problems, **extract(composed.stage, answer.keep, motion)}
    except Unusable as reason:
        return {"fault": str(reason)}
    except Beyond as limit:
        return {"beyond": str(limit)}
    except MemoryError:
        return {"beyond": "usd_memory_bytes"}
    except OSError:  # the disk's, not the model's
        raise
    except Exception:  # whatever the library raises on a broken file
        return {"fault": f"it {DAMAGED}"}


class _Answer:
    """The file that the parent reads, of a limited size."""

    def __init__(self, stream: BinaryIO, most: Limits) -> None:
        self._stream, self._room, self._size = stream, most.usd_memory_bytes, 0

    def keep(self, element: str, shape: tuple[int, ...], data: bytes) -> dict[str, Any]:
        """Write an array; what stands for it in the JSON. Raises MemoryError where there is no room."""
        if self._size + len(data) > self._room:
            raise MemoryError
        result = {"element": element, "shape": list(shape), "at": self._size, "bytes": len(data)}
        padded = data + bytes(-len(data) % 8)
        self._stream.write(padded)
        self._size += len(padded)
        return result

    def close(self, result: dict[str, Any]) -> None:
        """Write the JSON."""
        text = json.dumps(result).encode("ascii")
        self._stream.write(text + TRAILER.pack(len(text)))


def _limit(most: Limits) -> None:
    """Let the system end this process where it goes beyond a limit, as far as the system can."""
    try:
        import resource
    except ImportError:  # the parent limits the time
        return
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    signal.setitimer(signal.ITIMER_REAL, most.usd_seconds)
    _lower(resource.RLIMIT_CORE, 0)
    with contextlib.suppress(OSError):
        pages = Path("/proc/self/statm").read_text("ascii").split()
        own = int(pages[5]) * resource.getpagesize()
        # Of data, not of addresses: the library keeps hundreds of megabytes of them free without using them.
        _lower(resource.RLIMIT_DATA, own + most.usd_memory_bytes)


def _largest_of_this_process() -> int:
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def _lower(which: int, most: int) -> None:
    import resource

    hard = resource.getrlimit(which)[1]
    if hard != resource.RLIM_INFINITY:
        most = min(most, hard)
    resource.setrlimit(which, (most, most))


if __name__ == "__main__":
    main()
