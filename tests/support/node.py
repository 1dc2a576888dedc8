"""Programs of others that run in node: their answers as data, or a skip that says what is missing here."""

import json
import shutil
import subprocess
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent.parent / "node"


def answer(script: str, *arguments: str | Path, timeout: float = 300) -> object:
    """What `tests/node/SCRIPT` prints as JSON, run with `arguments`.

    Skips where node or its packages are missing; a script that fails is a failure, with what it said.
    """
    node = shutil.which("node")
    if node is None:
        pytest.skip("node is not installed")
    if not (FOLDER / "node_modules").is_dir():
        pytest.skip("node's packages are missing: npm ci --prefix tests/node")
    result = subprocess.run(
        [node, FOLDER / script, *map(str, arguments)], capture_output=True, text=True, timeout=timeout, cwd=FOLDER
    )
    assert result.returncode == 0, result.stderr[-4000:]
    return json.loads(result.stdout)
