"""Calls whose memory and processor time are bounded: what small files must not be able to take."""

from __future__ import annotations

import subprocess
import sys
import tracemalloc
from collections.abc import Callable
from typing import Final

import pytest

from tests.support.data import ROOT

MIB: Final = 1024**2

_BOUNDED: Final = """
import resource
from pathlib import Path
import numpy as np
{imports}
with open("/proc/self/statm") as file:
    now = int(file.read().split()[0]) * resource.getpagesize()
resource.setrlimit(resource.RLIMIT_AS, (now + {more}, now + {more}))
resource.setrlimit(resource.RLIMIT_CPU, ({seconds}, {seconds}))
{body}
"""


def peak(call: Callable[[], object]) -> int:
    """The most bytes that a call holds at one time, those of numpy's arrays among them."""
    tracemalloc.start()
    try:
        call()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def in_bounds(imports: str, body: str, more: int, seconds: int = 600) -> str:
    """What a program prints that may take so many bytes of addresses after its imports, and seconds of the processor.

    A program that takes more fails the test.
    """
    if not sys.platform.startswith("linux"):
        pytest.skip("a process tells its own size in another way here")
    code = _BOUNDED.format(imports=imports, body=body, more=more, seconds=seconds)
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout.strip()
