"""Where the pages of documents are read, for outputs that link to them.

A link is the base and the page's name, for a rule with the anchor of its heading: `diagnostics.md#pl203-unknown-joint`.
Codes and names of rules never change their meaning, so these anchors stay. SARIF asks for absolute addresses (3.49.12,
3.19.16), and pages are read in more than one place: whoever publishes them says where with `PLICA_DOCUMENTS`, such as
`https://git.example/tools/plica/grammar/`. Without it the base is `plica:grammar/`, an address without a host: the
folder `grammar` of Plica's own repository and package.
"""

from __future__ import annotations

import os
from typing import Final
from urllib.parse import quote, urlsplit

from plica.diagnostics.catalogue import Rule

VARIABLE: Final = "PLICA_DOCUMENTS"
BASE: Final = "plica:grammar/"


def page(name: str) -> str:
    """The address of a page."""
    return _base() + name


def rule_page(rule: Rule) -> str:
    """The address of a rule on the page of diagnostics."""
    return page(f"diagnostics.md#{rule.code.lower()}-{rule.name}")


def _base() -> str:
    """The base that was stated, if it is an absolute address that needs no escapes."""
    stated = os.environ.get(VARIABLE, "")
    try:
        usable = bool(urlsplit(stated).scheme) and quote(stated, safe=":/?&=%~@!$'()*+,;[]") == stated
    except ValueError:
        usable = False
    if not usable:
        return BASE
    return stated if stated.endswith(("/", "=")) else f"{stated}/"
