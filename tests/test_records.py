"""Records are frozen, and those that hold arrays are compared by identity: an array has no single answer to `==`."""

from __future__ import annotations

import dataclasses
import inspect
import re
from collections.abc import Iterator
from importlib import import_module
from typing import Any

from tests.support.data import ROOT

# What changes as long as it lives, and is no record.
STATEFUL = {
    "plica.mesh.painting.Paintings",
    "plica.mesh.region_sources.RegionSources",
    "plica.prove.execution.skin_runs._Found",
    "plica.prove.execution.skin_runs._Run",
    "plica.prove.kept_masks.KeptMasks",
}
ARRAY = re.compile(r"\b(Array|Floats|NDArray|Integers|Indexes|Bools)\b")


def dataclasses_of(folders: tuple[str, ...]) -> Iterator[Any]:
    """The dataclasses that the modules of these folders define."""
    for path in sorted(path for folder in folders for path in (ROOT / "compiler" / folder).rglob("*.py")):
        parts = path.relative_to(ROOT / "compiler").with_suffix("").parts
        name = ".".join(("plica", *(part for part in parts if part != "__init__")))
        for _, member in inspect.getmembers(import_module(name), inspect.isclass):
            if member.__module__ == name and dataclasses.is_dataclass(member):
                yield member


def types_of(record: Any) -> list[str]:
    """The types of the fields that take part in comparing."""
    return [str(field.type) for field in dataclasses.fields(record) if field.compare]


def test_records_are_frozen_and_those_with_arrays_compare_by_identity() -> None:
    """Also those that hold such a record."""
    records = list(dataclasses_of(("spec", "kinds", "rig", "evaluate", "diff", "prove", "mesh", "measure", "skeleton")))
    assert len(records) > 60
    names = {record.__name__ for record in records if not record.__dataclass_params__.eq}
    for record in records:
        title, parameters = f"{record.__module__}.{record.__name__}", record.__dataclass_params__
        if not parameters.frozen:
            assert title in STATEFUL, title
        elif parameters.eq:
            assert not any(map(ARRAY.search, types_of(record))), title
            assert not names & {word for text in types_of(record) for word in re.findall(r"\w+", text)}, title
