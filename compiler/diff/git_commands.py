"""Asking git, without taking in more than a limit, whatever a repository holds."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryFile
from typing import IO

from plica import limits

_BLOCK = 1 << 20  # bytes
_MOST_SAID = 4096  # bytes of what git complains


class NoRevision(Exception):  # noqa: N818 - it names a state of things, not a fault of ours
    """A revision or a path in it that git does not have; the message says why, in the user's words."""


def git(folder: Path, *arguments: str) -> bytes:
    """What a git command writes. Raises NoRevision where there is no git, no repository, or no such thing in it."""
    with output(folder, "revision_bytes", *arguments) as blocks:
        return b"".join(blocks)


@contextmanager
def output(folder: Path, limit: str, *arguments: str) -> Iterator[Iterator[bytes]]:
    """What a git command writes, block by block; `limit` names in `Limits` how much it may be. Raises NoRevision.

    The blocks have to be taken to the end, else the command is stopped.
    """
    with TemporaryFile() as complaints:
        command = ["git", "-C", str(folder), *arguments]
        try:
            running = subprocess.Popen(
                command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=complaints
            )  # fmt: skip
        except OSError:
            raise NoRevision("git is not installed") from None
        except ValueError:
            raise NoRevision("it holds a null character") from None
        assert running.stdout is not None
        try:
            yield _blocks(running.stdout, limit)
        except BaseException:
            running.kill()
            raise
        finally:
            running.stdout.close()
            code = running.wait()
        if code != 0:
            complaints.seek(0)
            said = complaints.read(_MOST_SAID).decode("utf-8", "replace").strip().splitlines()
            raise NoRevision(said[0].removeprefix("fatal: ") if said else "git knows of no such thing")


def _blocks(stream: IO[bytes], limit: str) -> Iterator[bytes]:
    most: int = getattr(limits.in_force(), limit)
    taken = 0
    while block := stream.read(_BLOCK):
        taken += len(block)
        if taken > most:
            name = limits.shown(limit)
            raise NoRevision(f"it is larger than {limits.size(most)}; raise the limit with `--limit {name}=SIZE`")
        yield block
