"""Reasons for changes that are accepted: what is one, and what is none."""

from __future__ import annotations

from plica.diagnostics import Diagnostics
from plica.diff.acceptances import FINGERPRINT_DIGITS, read_acceptances


def test_every_line_with_a_reason_is_read_and_every_other_one_reported() -> None:
    one, number, blank, last = (digit * FINGERPRINT_DIGITS for digit in "1234")
    text = f'{one} = "agreed"\nchange = "no fingerprint"\n{number} = 3\n{blank} = "  "\n{last} = "agreed, too"\n'
    diagnostics = Diagnostics()
    assert read_acceptances(text, "accepted.toml", diagnostics) == {one: "agreed", last: "agreed, too"}
    assert [entry.name for entry in diagnostics.all] == ["unreadable-acceptances"] * 3
