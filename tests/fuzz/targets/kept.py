"""What a cache folder holds: entries with the right seal and any content."""

from __future__ import annotations

import shutil
from functools import cache, partial
from typing import NamedTuple

import numpy as np

from plica.diagnostics import Diagnostics
from plica.mesh.attach import attach
from plica.pipeline import compile_file
from plica.prove.cache.disk import KINDS, DiskCache
from plica.prove.execution.executor import LocalExecutor
from plica.prove.proof import ProofSubject
from plica.prove.prover import Prover
from plica.workspace import Workspace
from tests.fuzz import character
from tests.fuzz.grammars import documents
from tests.fuzz.mutate import after_first_line, of_bytes, of_json
from tests.fuzz.target import Target
from tests.fuzz.targets.scratch import scratch


class _Known(NamedTuple):
    """What is proven, and the entries that proving it left, by kind."""

    subject: ProofSubject
    keys: dict[str, tuple[str, ...]]


@cache
def _known() -> _Known:
    compiled = compile_file(character.put_down(scratch("kept")))
    assert compiled.rig is not None
    rig = compiled.rig._replace(expectations=tuple(one for one in compiled.rig.expectations if one.kind == "crossing"))
    attached = attach(rig, Workspace(scratch("kept")).locate, Diagnostics())
    subject = ProofSubject(rig, attached)
    shutil.rmtree(scratch("store"))
    _prove(subject)
    return _Known(subject, {kind: tuple(p.name for p in (scratch("store") / kind).glob("??/*")) for kind in KINDS})


def _prove(subject: ProofSubject) -> None:
    store = DiskCache(scratch("store"))
    crew = partial(LocalExecutor, count=1)
    for result in Prover(subject, hire=crew, store=store).results():
        assert result.worst is None or np.isfinite(result.worst)


def _entry(data: bytes) -> None:
    """The first line says what kind of entry; the rest is what all entries of it hold."""
    head, _, content = data.partition(b"\n")
    known = _known()
    kind = head.decode("ascii", "replace")
    for other in KINDS:  # what an earlier input left
        shutil.rmtree(scratch("store") / other, ignore_errors=True)
    store = DiskCache(scratch("store"))
    for key in known.keys.get(kind, ()):
        store.put(kind, key, content)
    _prove(known.subject)


TARGETS = (
    Target(
        "cache",
        _entry,
        after_first_line({b"figures": of_json()}, of_bytes()),
        documents.figures,
        prepare=_known,
        short=20,
        longest=65_536,
    ),
)
