"""The file of accepted changes: TOML, one line for each, `fingerprint = "reason"`.

3f2a9c0d11e2b3c4 = "agreed with animation: the boot is stiffer now"
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from plica.diagnostics import Diagnostics
from plica.diff.judged_change import FINGERPRINT_DIGITS
from plica.diff.report import Report
from plica.plain_data import UnreadableDataError, toml_of

_FINGERPRINT = re.compile(rf"[0-9a-f]{{{FINGERPRINT_DIGITS}}}")


def read_acceptances(text: str, file: str, diagnostics: Diagnostics) -> dict[str, str]:
    """Reasons by fingerprint; diagnostics for what is no such line."""
    try:
        entries = toml_of(text)
    except UnreadableDataError as error:
        diagnostics.add("unreadable-acceptances", None, file=file, problem=str(error))
        return {}
    reasons: dict[str, str] = {}
    for fingerprint, reason in entries.items():
        if not _FINGERPRINT.fullmatch(fingerprint):
            problem = f"`{fingerprint}` is not the fingerprint of a change"
        elif not isinstance(reason, str) or not reason.strip():
            problem = f"`{fingerprint}` needs a reason, a text in quotes"
        else:
            reasons[fingerprint] = reason
            continue
        diagnostics.add("unreadable-acceptances", None, file=file, problem=problem)
    return reasons


def report_unused(report: Report, reasons: Mapping[str, str], file: str, diagnostics: Diagnostics) -> None:
    """A warning for each acceptance that no change has; `report` has its accepted changes taken out."""
    used = {accepted.agreed for accepted in report.accepted}
    for fingerprint in reasons:
        if fingerprint not in used:
            diagnostics.add("unused-acceptance", None, file=file, fingerprint=fingerprint, reason=reasons[fingerprint])
