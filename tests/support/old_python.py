"""The oldest Python that generated files promise to run on."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest


def old_python() -> str:
    """The oldest Python that the module promises to run on; skips, saying so, where it is absent."""
    versions = Path(os.environ.get("PYENV_ROOT") or Path.home() / ".pyenv") / "versions"
    for python in (*map(str, sorted(versions.glob("3.7.*/bin/python"))), "python3.7"):
        if shutil.which(python) is not None:
            done = subprocess.run([python, "--version"], capture_output=True, text=True, check=False)
            if done.stdout.startswith("Python 3.7."):
                return python
    pytest.skip("there is no Python 3.7 here to run the generated module with")
