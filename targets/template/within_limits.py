"""Filling a template within limits of time and memory, which only another process can be held to."""

from __future__ import annotations

import json
import pickle
import signal
import subprocess
import sys
from pathlib import Path

from plica import limits
from plica.limits import Limits
from plica.rig.rig import Rig
from plica.source import Source, Span
from plica.targets.template.child import FillRequest
from plica.targets.template.filling import Mistake

COMMAND = (sys.executable, "-P", "-m", "plica.targets.template.child")  # -P: no module comes from the working folder
PATIENCE = 30  # seconds of waiting for each second of work, on a machine that is busy
STARTING = 60  # seconds for a process to be started


def fill_within_limits(path: Path, rig: Rig) -> str | Mistake:
    """The text of the template at `path`, filled, or what stood in the way: a mistake in it, or a limit."""
    most = limits.in_force()
    request = pickle.dumps(FillRequest(str(path), rig, most))
    try:
        done = subprocess.run(
            COMMAND,
            input=request,
            capture_output=True,
            timeout=STARTING + PATIENCE * most.template_seconds,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return _beyond(path, "template_seconds", f"{most.template_seconds} seconds")
    if done.returncode == 0:
        return _answered(done.stdout)
    return _broken(path, done, most)


def _answered(answer: bytes) -> str | Mistake:
    plain = json.loads(answer)
    if "text" in plain:
        return str(plain["text"])
    place = plain["place"]
    span = None if place is None else Span(Source(place[0], place[1]), place[2], place[3])
    return Mistake(plain["mistake"], plain["values"], span)


def _broken(path: Path, done: subprocess.CompletedProcess[bytes], most: Limits) -> Mistake:
    """Why there is no answer, by how the process ended."""
    if -done.returncode in (getattr(signal, "SIGXCPU", 0), getattr(signal, "SIGKILL", 0)):
        return _beyond(path, "template_seconds", f"{most.template_seconds} seconds")
    if b"MemoryError" in done.stderr:
        return _beyond(path, "template_memory_bytes", limits.size(most.template_memory_bytes))
    problem = f"the process that fills it broke down (code {done.returncode})"
    return Mistake("template-failed", {"problem": problem}, None)


def _beyond(path: Path, limit: str, amount: str) -> Mistake:
    values = {"template": path.as_posix(), "amount": amount, "name": limits.shown(limit)}
    return Mistake("template-too-long", values, None)
