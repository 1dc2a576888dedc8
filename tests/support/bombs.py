"""All texts that ask for a huge amount of work, by name: each is a folder of files, `spec.plica` the one to compile."""

from __future__ import annotations

from tests.support import growing_bombs, long_bombs  # noqa: F401 - they add their texts
from tests.support.bomb_texts import BOMBS, HEAD, written

__all__ = ["BOMBS", "HEAD", "written"]
