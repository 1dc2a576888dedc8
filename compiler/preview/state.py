"""What a preview shows: the last sheet without mistakes, in parts that a page asks for one by one, and the findings of
the files as they are now."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from functools import cache
from hashlib import blake2b
from typing import Any, NamedTuple

from plica.diagnostics import Diagnostic
from plica.diagnostics.text import summary
from plica.preview.findings import ShownSpec, finding_views
from plica.sheet.array_pack import ArrayPack
from plica.sheet.document import Served, page, page_file, parts_of_head, template
from plica.sheet.record import plain
from plica.sheet.script import bundled, page_modules
from plica.sheet.sheet import Sheet

_PACKAGE = "plica.preview"


class ShownSheet(NamedTuple):
    """A sheet as it is served. number: of this state of the files; page: the document; record: what its script works
    on, with the digests of all parts; parts, scripts: bytes by digest; script: the digest of the one there is."""

    number: int
    spec: ShownSpec
    page: bytes
    record: bytes
    parts: Mapping[str, bytes]
    script: str
    scripts: Mapping[str, bytes]


class PreviewState(NamedTuple):
    """A state of the files. number: counts up; shown: the last sheet without mistakes, None where there was none yet;
    event: what pages are told of the state, one line of JSON; waiting: the document without a sheet."""

    number: int
    shown: ShownSheet | None
    event: bytes
    waiting: bytes


def shown_sheet(number: int, sheet: Sheet, spec: ShownSpec, address: str) -> ShownSheet:
    """A sheet in parts. address: below which they are served, ending with `/`."""
    parts = {_digest(content): content for content in sheet.pack.parts.values()}
    script = f"{{\n{bundled({**_modules(), **sheet.generated}, 'generated')}\n}}\n".encode()
    record = {
        "record": plain(sheet.record),
        "parts": _listed(sheet.pack),
    }
    return ShownSheet(
        number,
        spec,
        page(sheet.content, _script(), _served(address)),
        json.dumps(record, ensure_ascii=True, separators=(",", ":")).encode("ascii"),
        parts,
        _digest(script),
        {_digest(script): script},
    )


def preview_state(number: int, shown: ShownSheet | None, found: Sequence[Diagnostic], address: str) -> PreviewState:
    """The state of which these are the findings."""
    mistaken = shown is None or shown.number != number
    views = finding_views(found, None if shown is None else shown.spec)
    counts = summary(found) if found else ""
    findings = _template("findings.html.jinja").render(
        findings=views, mistaken=mistaken, counts=counts, nothing=shown is None
    )
    event = {
        "number": number,
        "shown": 0 if shown is None else shown.number,
        "script": "" if shown is None else shown.script,
        "findings": findings,
    }
    waiting = _template("waiting.html.jinja").render(**parts_of_head(_script(), _served(address)))
    return PreviewState(number, shown, json.dumps(event, ensure_ascii=True).encode("ascii"), waiting.encode("utf-8"))


def _listed(pack: ArrayPack) -> list[tuple[str, str, int]]:
    """The name, digest and size of each part, in the order of the block."""
    return [(name, _digest(content), len(content)) for name, content in pack.parts.items()]


def _digest(content: bytes) -> str:
    return blake2b(content, digest_size=16).hexdigest()


def _served(address: str) -> Served:
    return Served(address, page_file("preview.css", _PACKAGE))


@cache
def _template(name: str) -> Any:
    return template({name: page_file(name, _PACKAGE)}, name)


@cache
def _modules() -> Mapping[str, str]:
    return {**page_modules(), **page_modules(_PACKAGE)}


@cache
def _script() -> str:
    """The script of a page that follows its files; the character's own modules come to it as a script of their own."""
    return bundled(_modules(), "preview")
