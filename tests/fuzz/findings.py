"""Findings in a folder: for each cause the smallest input that has it, the reason beside it, and how often it came."""

from __future__ import annotations

import json
from hashlib import sha256
from pathlib import Path
from typing import NamedTuple

from tests.fuzz.judge import Verdict


class Finding(NamedTuple):
    """A cause, the smallest input that showed it, what is to be said about it, and how many inputs had it."""

    cause: str
    data: bytes
    detail: str
    times: int

    @property
    def name(self) -> str:
        """What its files are called."""
        return sha256(self.cause.encode()).hexdigest()[:10]


def keep(folder: Path, data: bytes, verdict: Verdict, times: int = 1) -> None:
    """Add one input that failed."""
    folder.mkdir(parents=True, exist_ok=True)
    new = Finding(verdict.cause, data, verdict.detail, times)
    known = _read(folder / f"{new.name}.json")
    if known is not None:
        smaller = new if len(new.data) < len(known.data) else known
        new = smaller._replace(times=known.times + times)
    (folder / f"{new.name}.input").write_bytes(new.data)
    head = {"cause": new.cause, "times": new.times, "detail": new.detail}
    (folder / f"{new.name}.json").write_text(json.dumps(head, indent=1), "utf-8")


def kept(folder: Path) -> list[Finding]:
    """All that is in a folder, by cause."""
    result = [_read(path) for path in folder.glob("*.json")] if folder.is_dir() else []
    return sorted((one for one in result if one is not None), key=lambda one: one.cause)


def _read(path: Path) -> Finding | None:
    if not path.exists():
        return None
    head = json.loads(path.read_text("utf-8"))
    return Finding(head["cause"], path.with_suffix(".input").read_bytes(), head["detail"], head["times"])
