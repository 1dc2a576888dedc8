"""How long `plica prove` of the demo takes: cold, and from its cache.

Run `python -m tests.bench.prove_demo` from the repository. Each is a command of its own; the least of three counts.
Cold means without a cache, byte code made before. Seconds on the clock.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from tests.bench.commands import spent
from tests.bench.goals import judge

ROUNDS = 3


def main() -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as place:
        os.environ["PYTHONPYCACHEPREFIX"] = f"{place}/pycache"
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        spent(Path(place), "demo", "wren")
        folder, cache = Path(place) / "wren", f"{place}/cache"
        spent(folder, "prove", "wren.plica", "--cache", cache)
        cold = min(spent(folder, "prove", "wren.plica", "--no-cache") for _ in range(ROUNDS))
        warm = min(spent(folder, "prove", "wren.plica", "--cache", cache) for _ in range(ROUNDS))
        print(f"cold {cold.clock:.2f} s ({cold.processor:.2f} s of processors), from the cache {warm.clock:.2f} s")
        judge("prove of the demo, cold", cold.clock, 3.0, "s")
        judge("prove of the demo, from its cache", warm.clock, 0.5, "s")


if __name__ == "__main__":
    main()
