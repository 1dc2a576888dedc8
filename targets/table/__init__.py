"""The target `table`: strengths and readings over clips, one row for each frame, as CSV and Parquet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.output_file_names import safe_file_name
from plica.emit.target import Target, option

FORMS = ("csv", "parquet")


@dataclass(frozen=True)
class TableTarget(Target):
    """`<character>.strengths.csv` and `<character>.strengths.parquet`, by pyarrow, which comes with the extra `table`.

    Plica computes all that stands in it. The README.md here describes the columns.
    """

    name: ClassVar[str] = "table"
    description: ClassVar[str] = "strengths and readings over clips, one row for each frame, as CSV and Parquet"
    supports: ClassVar[frozenset[str]] = frozenset(
        {
            "reading rotation",
            "reading bend",
            "reading swing",
            "reading euler",
            "reading offset",
            "reading scale",
            "reading gap",
            "reading control",
            "reading weight",
            "curve linear",
            "curve points",
            "curve hermite",
            "curve bezier",
            "combine product",
            "combine least",
            "combine greatest",
            "combine sum",
            "field rotation",
            "field direction",
            "kernel ramp",
            "kernel gaussian",
            "kernel linear",
            "shape weight",
            "shape inbetween",
            "driver unclamped",
            "fold strength",
            "skinning dual quaternion",
        }
    )

    clip: tuple[str, ...] = option(
        (), "a file of clips: glTF 2.0, OpenUSD or BVH (default: those of the model itself)", names_files=True
    )
    form: tuple[str, ...] = option(FORMS, "csv or parquet; given for each that is wanted")
    readings: bool = option(False, "also write what each driver reads")
    rate: float = option(0.0, "frames a second that glTF clips are sampled at (0: at keys, and 24 a second between)")

    def emit(self, build: Build, diagnostics: Diagnostics) -> dict[str, bytes]:
        """The tables, named after the character; nothing, after diagnostics, where there is no clip or no pyarrow."""
        problems = {
            "form": None if set(self.form) <= set(FORMS) else f"it must be one of {', '.join(FORMS)}",
            "rate": None if 0.0 <= self.rate < float("inf") else "it must not be below 0",
        }
        for name, problem in problems.items():
            if problem is not None:
                diagnostics.add("bad-target-option", None, target=self.name, option=name, problem=problem)
        if any(problems.values()):
            return {}
        from plica.targets.table.motion import MotionRequest, motion_table

        try:
            from plica.targets.table.files import WRITERS, arrow_table
        except ImportError:
            diagnostics.add("table-without-library", None)
            return {}
        motion = motion_table(build, MotionRequest(self.clip, self.readings, self.rate or None), diagnostics)
        if motion is None:
            return {}
        table = arrow_table(build.rig, motion)
        stem = f"{safe_file_name(build.rig.character.name)}.strengths"
        return {f"{stem}.{form}": WRITERS[form](table) for form in FORMS if form in self.form}


TARGET = TableTarget()
