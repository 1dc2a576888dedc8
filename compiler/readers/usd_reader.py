"""The one way to OpenUSD models: read by another process within limits, each file once in a run.

What was read is kept for as long as the files that the model is made of stay as they are.
"""

from __future__ import annotations

import json
import mmap
import os
import signal
from collections import OrderedDict
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryFile, gettempdir
from typing import NamedTuple

from plica import limits, observations
from plica.limits import Limits
from plica.readers.gltf_document import open_regular
from plica.readers.model_outline import UnreadableModel
from plica.readers.usd_child import NO_ROOM
from plica.readers.usd_process import Ended, ask
from plica.readers.usd_stage import Answer, UsdStage, decoded

MISSING = "reading OpenUSD needs the library usd-core: pip install 'plica[usd]'"
MOST_KEPT = 8  # models
HUNGRY = 0.5  # of the memory that a process may take: where it breaks down beyond that, it lacked memory
PACKED = 16  # a file of this part of the memory, unpacked, may fill it

Stamp = tuple[int, int] | None
"""When a file was last written (nanoseconds) and how many bytes it has; None where there is none."""


class _Kept(NamedTuple):
    stamps: dict[Path, Stamp]
    answer: Answer


_KEPT: OrderedDict[tuple[Path, Limits, bool], _Kept] = OrderedDict()


def read_stage(path: Path, motion: bool = False) -> UsdStage:
    """What a stage holds, on wish with its motion.

    Raises UnreadableModel, also where usd-core is not installed or a limit is exceeded.
    """
    answer = _answer(path, motion)
    if answer.beyond:
        raise UnreadableModel(_beyond(answer.beyond))
    if answer.stage is None:
        raise UnreadableModel(answer.fault)
    return answer.stage


def files_of_stage(path: Path) -> list[Path]:
    """The files that a stage is made of, the missing ones too, as far as they are known; empty where it is no file."""
    try:
        return [Path(file) for file in _answer(path).files]
    except UnreadableModel:
        return []


def _answer(path: Path, motion: bool = False) -> Answer:
    open_regular(path).close()
    if find_spec("pxr") is None:
        raise UnreadableModel(MISSING)
    # The library takes `..` for the folder above by name, also behind a symbolic link.
    key = (path.resolve() if ".." in path.parts else path.absolute(), limits.in_force(), motion)
    kept = _KEPT.pop(key, None)
    if kept is None or any(_stamp(file) != before for file, before in kept.stamps.items()):
        before = _stamp(path)
        try:
            answer = _asked(*key)
        except UnreadableModel:
            observations.doubt()  # by another process, perhaps for want of time or memory
            raise
        # The model's own stamp from before it was read, so that what is saved while this runs counts as a change.
        kept = _Kept({**{Path(file): _stamp(Path(file)) for file in answer.files}, key[0]: before}, answer)
    _KEPT[key] = kept
    while len(_KEPT) > MOST_KEPT:
        _KEPT.popitem(last=False)
    if kept.answer.stage is None or kept.answer.stage.problems:
        observations.doubt()  # for reasons that may lie elsewhere than in these files
    observations.note_whole_files(kept.stamps)
    return kept.answer


def _stamp(path: Path) -> Stamp:
    try:
        status = path.stat()
    except (OSError, ValueError):  # ValueError: a name that holds a null character
        return None
    return status.st_mtime_ns, status.st_size


def _asked(path: Path, most: Limits, motion: bool) -> Answer:
    """What another process answers; where it gives no answer, why."""
    request = json.dumps({"path": str(path), "limits": most._asdict(), "motion": motion})
    with TemporaryFile() as stream:
        ended = ask(request, stream, most.usd_seconds)
        if ended.code != 0:
            return _broken(ended, path, most)
        if not os.fstat(stream.fileno()).st_size:
            raise UnreadableModel("it is damaged: reading it gave nothing")
        answer = decoded(memoryview(mmap.mmap(stream.fileno(), 0, access=mmap.ACCESS_READ)))
    if _may_lack_memory(ended, answer, most):
        return answer._replace(fault=f"{answer.fault}; {_either(most)}")
    return answer


def _may_lack_memory(ended: Ended, answer: Answer, most: Limits) -> bool:
    """Whether damage can be too little memory, which the library takes for damage here and there."""
    if "damaged" not in answer.fault:
        return False
    size = sum(stamp[1] for file in answer.files if (stamp := _stamp(Path(file))))
    return (ended.memory or 0) > HUNGRY * most.usd_memory_bytes or size * PACKED > most.usd_memory_bytes


def _broken(ended: Ended, path: Path, most: Limits) -> Answer:
    """Why there is no answer, by how the process ended."""
    if ended.code == NO_ROOM:
        raise UnreadableModel(f"what it holds cannot be written into the folder for temporary files, {gettempdir()}")
    name = _name_of(ended.code)
    if name in ("", "SIGALRM"):
        return Answer(None, "", "usd_seconds", (str(path),))
    if ended.memory is not None and ended.memory > HUNGRY * most.usd_memory_bytes:
        return Answer(None, "", "usd_memory_bytes", (str(path),))
    return Answer(None, f"it is damaged: reading it broke down ({name}); {_either(most)}", "", (str(path),))


def _either(most: Limits) -> str:
    return (
        f"or it needs more than {limits.size(most.usd_memory_bytes)} of memory; if it is what it should be, "
        f"{_remedy('usd_memory_bytes')}"
    )


def _name_of(code: int | None) -> str:
    if code is None:
        return ""
    try:
        return signal.Signals(-code).name if code < 0 else f"code {code}"
    except ValueError:
        return f"signal {-code}"


def _beyond(name: str) -> str:
    """The sentence about a limit that a model goes beyond."""
    most = getattr(limits.in_force(), name, 0)
    sentence = {
        "usd_layers": f"it is composed of more than {most} layers",
        "usd_prims": f"it is composed of more than {most} prims",
        "usd_memory_bytes": f"reading it takes more than {limits.size(most)} of memory",
        "usd_seconds": f"reading it takes more than {most} seconds",
    }.get(name)
    if sentence is None:
        raise UnreadableModel("reading it gave no answer that can be right")
    return f"{sentence}; if it is what it should be, {_remedy(name)}"


def _remedy(name: str) -> str:
    value = "SIZE" if name.endswith("bytes") else "NUMBER"
    return f"raise the limit with `--limit {limits.shown(name)}={value}`"
