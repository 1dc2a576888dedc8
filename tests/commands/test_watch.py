"""`plica watch` as a process of its own."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

SPEC = """plica 1
character stick { skeleton { joint hips at 0 m, 1 m, 0 m } }
driver lean { reads bend of hips span 0 deg .. 30 deg }
"""


def read_until(stream: object, word: str) -> str:
    """The lines up to the one that holds a word."""
    lines = []
    for line in stream:  # type: ignore[attr-defined]
        lines.append(line)
        if word in line:
            return "".join(lines)
    raise AssertionError(f"it ended without `{word}`: {lines}")


@pytest.mark.skipif(os.name == "nt", reason="there is no SIGINT for one process on this system")
def test_it_builds_again_and_stops_when_asked(tmp_path: Path) -> None:
    spec = tmp_path / "stick.plica"
    spec.write_text(SPEC, "utf-8")
    command = [sys.executable, "-m", "plica", "watch", "stick.plica", "--out", "out", "--target", "json"]
    with subprocess.Popen(
        command, cwd=tmp_path, stdout=subprocess.PIPE, text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    ) as process:  # fmt: skip
        read_until(process.stdout, "watching")
        rig = next((tmp_path / "out").glob("*.rig.json"))
        first = rig.read_bytes()
        spec.write_text(SPEC.replace("reads", "reds"), "utf-8")
        assert "PL101" in read_until(process.stdout, "not built")
        assert rig.read_bytes() == first
        spec.write_text(SPEC.replace("30 deg", "40 deg"), "utf-8")
        read_until(process.stdout, "wrote")
        assert "40 deg" in read_until(process.stdout, "30 deg")  # what the save did
        process.send_signal(signal.SIGINT)
        assert process.wait(600) == 130
    assert rig.read_bytes() != first
