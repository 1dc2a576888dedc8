"""A table of motion as an Arrow table, and that as the bytes of files. Importing this needs pyarrow."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from io import BytesIO
from typing import Any

import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet

from plica.foreign import csv_cell
from plica.rig.rig import Rig
from plica.rig.rig_json import encoder, plain
from plica.targets.table.motion import MotionTable

FORMAT = "plica-table"
VERSION = 1
METADATA_KEY = "plica"
CLIP, FRAME, TIME = "clip name", "frame number", "time in s"
"""No strength is called so: names have no spaces."""


def arrow_table(rig: Rig, motion: MotionTable) -> Any:
    """The columns with their types, and in the metadata what each is, and what they were made from.

    A number that is none stays one that is none, and is never a missing value.
    """
    fields = [
        _field(CLIP, pa.string(), {"kind": "clip"}),
        _field(FRAME, pa.int32(), {"kind": "frame", "unit": "1"}),
        _field(TIME, pa.float64(), {"kind": "time", "unit": "s"}),
    ]
    arrays = [
        pa.array([csv_cell(name) for name in motion.clips.tolist()], pa.string()),
        pa.array(motion.frames, pa.int32()),
        pa.array(motion.times, pa.float64(), from_pandas=False),
    ]
    for column in motion.columns:
        more = {"text": column.text} if column.text else {}
        fields.append(_field(column.name, pa.float64(), {"kind": column.kind, "unit": column.unit, **more}))
        arrays.append(pa.array(column.values, pa.float64(), from_pandas=False))
    told = {
        "format": FORMAT,
        "version": VERSION,
        "minor": 0,
        "build": rig.build,
        "made_from": plain(rig.made_from),
        "character": rig.character.name,
        "clips": plain(motion.files),
    }
    return pa.Table.from_arrays(arrays, schema=pa.schema(fields, {METADATA_KEY: encoder()(told)}))


def csv_bytes(table: Any) -> bytes:
    """RFC 4180 with a line of names, UTF-8, lines that end in a line feed."""
    file = BytesIO()
    pyarrow.csv.write_csv(table, file)
    return file.getvalue()


def parquet_bytes(table: Any) -> bytes:
    """Apache Parquet, format 2.6, compressed with Zstandard."""
    file = BytesIO()
    pyarrow.parquet.write_table(table, file, version="2.6", compression="zstd")
    return file.getvalue()


WRITERS: Mapping[str, Callable[[Any], bytes]] = {"csv": csv_bytes, "parquet": parquet_bytes}


def _field(name: str, kind: Any, metadata: Mapping[str, str]) -> Any:
    return pa.field(name, kind, nullable=False, metadata=dict(metadata))
