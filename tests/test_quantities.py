"""Numbers with their units, as people read them."""

from __future__ import annotations

import re
from math import pi

import pytest

from plica.quantities import area, changed, in_unit, length, measured, memory, number, percent, quantity, whole
from tests.support.data import ROOT


@pytest.mark.parametrize(
    ("shown", "expected"),
    [
        (number(-0.0), "0"),
        (number(1.0), "1"),
        (number(1 / 3), "0.333333"),
        (number(1 / 3, 2), "0.33"),
        (quantity(pi / 8, "deg"), "22.5 deg"),
        (quantity(-0.003, "mm"), "-3 mm"),
        (quantity(0.5, ""), "0.5"),
        (changed(0.0123456, "mm"), "12.35 mm"),
        (changed(1e-13, "mm"), "0 mm"),
        (changed(1e-10, "mm"), "1e-07 mm"),
        (changed(0.07, "%"), "7 %"),
        (changed(3 * 2**20, "bytes"), "3 MiB"),
        (measured(pi / 180 * 12.34, "deg"), "12.3 deg"),
        (measured(-0.0001, "%"), "-0.01 %"),
        (measured(-0.00001, "%"), "0 %"),
        (measured(0.25, ""), "0.25"),
        (measured(1536.0, "KiB"), "1.5 KiB"),
        (whole(pi / 4, "deg"), "45 deg"),
        (whole(0.796, "%"), "80 %"),
        (length(0.00025), "0.25 mm"),
        (length(0.9999), "1e+03 mm"),
        (length(1.7), "1.7 m"),
        (area(0.25), "0.25 m²"),
        (area(0.05), "500 cm²"),
        (percent(0.0404), "4 %"),
        (percent(0.0404, up=True), "4.1 %"),
        (memory(1000), "1000 bytes"),
        (memory(1536), "1.5 KiB"),
        (memory(2**20), "1 MiB"),
    ],
)
def test_what_people_read(shown: str, expected: str) -> None:
    assert shown == expected


def test_a_value_in_a_unit() -> None:
    assert in_unit(0.002, "mm") == 2.0
    assert in_unit(0.002, "") == 0.002


def test_no_other_module_puts_a_number_and_a_unit_together() -> None:
    written = re.compile(r":\.\d[gf]\} (?:mm|cm|m|deg|%|KiB|MiB|bytes)\b|:g\} (?:mm|cm|m|deg|%)\b")
    result = [
        f"{path.relative_to(ROOT)}: {match.group()}"
        for folder in ("compiler", "targets")
        for path in sorted((ROOT / folder).rglob("*.py"))
        if path.name != "quantities.py"
        for match in written.finditer(path.read_text("utf-8"))
    ]
    assert result == []


def test_percents_are_never_written_with_powers_of_ten() -> None:
    assert [percent(share) for share in (0.0041, 0.125, 0.45, 0.996, 1.0, 12.34)] == [
        "0.41 %",
        "12 %",
        "45 %",
        "99.6 %",
        "100 %",
        "1234 %",
    ]
