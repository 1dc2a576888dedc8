"""The page itself: text, style, script and data as one file of HTML that asks for nothing else."""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Mapping
from functools import cache
from hashlib import sha256
from importlib.resources import files
from typing import Any, Final, NamedTuple

from jinja2 import Environment, StrictUndefined
from jinja2.loaders import DictLoader
from markupsafe import Markup

from plica import foreign
from plica.foreign import script_literal

_FOLDER: Final = "plica.sheet"
# Nothing is loaded from anywhere; what runs and how it looks is exactly what stands in the page. A page that is served
# asks the address below which it lies, and nobody else, for what it shows.
_POLICY: Final = (
    "default-src 'none'; script-src {script}; style-src {style}; img-src data:; base-uri 'none'; form-action 'none'"
)
_SERVED: Final = "; connect-src {address}"


class PageData(NamedTuple):
    """What a page from disk holds for its script: the record as plain data, and the block of its arrays."""

    record: Mapping[str, Any]
    block: bytes


class Served(NamedTuple):
    """A page that is served and follows its files: the address that its script asks for data, ending with `/`, and a
    style of its own besides that of every page."""

    address: str
    style: str


def page(content: Mapping[str, Any], script: str, data: PageData | Served) -> bytes:
    """The page as UTF-8. content: what the template shows; data: what the script works on, or where it gets that.

    The picture is shown while the document is still read, so what only its rows need stands behind them. Texts go
    through `plica.foreign` and into elements, never into markup; the script is one of its own and not of the content's.
    """
    held, served = (data, None) if isinstance(data, PageData) else (None, data)
    filled: str = _template(("sheet.html.jinja", "rows.html.jinja")).render(
        **content,
        **(_held(held) if held else {}),
        held=held is not None,
        **parts_of_head(script, served),
    )
    return filled.encode("utf-8", "backslashreplace")


def _held(data: PageData) -> dict[str, Markup]:
    record = {name: value for name, value in data.record.items() if name != "rows"}
    return {
        "record": Markup(script_literal(record)),
        "rows_data": Markup(script_literal(data.record["rows"])),
        "block": Markup(b64encode(data.block).decode("ascii")),
    }


def parts_of_head(script: str, served: Served | None) -> dict[str, Markup]:
    """The policy, style and script of a page, for its template."""
    style = _small(page_file("sheet.css") + (served.style if served else ""))
    scripts = f"{_digest(script)} {served.address}script/" if served else _digest(script)
    policy = _POLICY.format(script=scripts, style=_digest(style))
    policy += _SERVED.format(address=served.address) if served else ""
    return {"policy": Markup(policy), "style": Markup(style), "script": Markup(script)}


def _digest(text: str) -> str:
    """The source of a policy that allows exactly this text (Content Security Policy Level 3, section 2.3.1)."""
    return f"'sha256-{b64encode(sha256(text.encode('utf-8')).digest()).decode('ascii')}'"


def _small(style: str) -> str:
    """A style sheet without its comments."""
    return re.sub(r"/\*.*?\*/\s*", "", style, flags=re.DOTALL)


def page_file(name: str, package: str = _FOLDER) -> str:
    """The text of a file in the folder `page` of a package."""
    return files(package).joinpath("page", name).read_text("utf-8")


@cache
def _template(names: tuple[str, ...]) -> Any:
    return template({name: page_file(name) for name in names}, names[0])


def template(texts: Mapping[str, str], name: str) -> Any:
    """One of some templates, which can import the others; what it fills in is escaped and on one line."""
    made = Environment(
        undefined=StrictUndefined,
        autoescape=True,
        finalize=_shown,
        trim_blocks=True,
        lstrip_blocks=True,
        loader=DictLoader(dict(texts)),
    )
    made.globals["source_line"] = _source_line
    return made.get_template(name)


def _source_line(text: str) -> str:
    """A line of a spec: tabs stay."""
    return Markup("\t").join(foreign.line(part) for part in text.split("\t"))


def _shown(value: Any) -> Any:
    """Texts on one line, with what is unsafe or unseen as its escape; markup of the template's own stays."""
    return foreign.line(value) if isinstance(value, str) and not hasattr(value, "__html__") else value
