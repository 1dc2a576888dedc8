"""The page itself: text, style, script and data as one file of HTML that asks for nothing else."""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Mapping
from functools import cache
from hashlib import sha256
from importlib.resources import files
from typing import Any, Final

from jinja2 import Environment, StrictUndefined
from jinja2.loaders import DictLoader
from markupsafe import Markup

from plica import foreign
from plica.foreign import script_literal

_FOLDER: Final = "plica.sheet"
# Nothing is loaded from anywhere; what runs and how it looks is exactly what stands in the page.
_POLICY: Final = (
    "default-src 'none'; script-src {script}; style-src {style}; img-src data:; base-uri 'none'; form-action 'none'"
)


def page(content: Mapping[str, Any], record: Mapping[str, Any], block: bytes, script: str) -> bytes:
    """The page as UTF-8. content: what the template shows; record: plain data for the script; block: its arrays.

    The picture is shown while the document is still read, so what only its rows need stands behind them. Texts go
    through `plica.foreign` and into elements, never into markup; the script is one of its own and not of the content's.
    """
    style = _small(_file("sheet.css"))
    filled: str = _template().render(
        **content,
        policy=Markup(_POLICY.format(script=_digest(script), style=_digest(style))),
        style=Markup(style),
        script=Markup(script),
        record=Markup(script_literal({name: value for name, value in record.items() if name != "rows"})),
        rows_data=Markup(script_literal(record["rows"])),
        block=Markup(b64encode(block).decode("ascii")),
    )
    return filled.encode("utf-8", "backslashreplace")


def _digest(text: str) -> str:
    """The source of a policy that allows exactly this text (Content Security Policy Level 3, section 2.3.1)."""
    return f"'sha256-{b64encode(sha256(text.encode('utf-8')).digest()).decode('ascii')}'"


def _small(style: str) -> str:
    """A style sheet without its comments."""
    return re.sub(r"/\*.*?\*/\s*", "", style, flags=re.DOTALL)


def _file(name: str) -> str:
    return files(_FOLDER).joinpath("page", name).read_text("utf-8")


@cache
def _template() -> Any:
    names = ("sheet.html.jinja", "rows.html.jinja")
    made = Environment(
        undefined=StrictUndefined,
        autoescape=True,
        finalize=_shown,
        trim_blocks=True,
        lstrip_blocks=True,
        loader=DictLoader({name: _file(name) for name in names}),
    )
    made.globals["source_line"] = _source_line
    return made.get_template("sheet.html.jinja")


def _source_line(text: str) -> str:
    """A line of a spec: tabs stay."""
    return Markup("\t").join(foreign.line(part) for part in text.split("\t"))


def _shown(value: Any) -> Any:
    """Texts on one line, with what is unsafe or unseen as its escape; markup of the template's own stays."""
    return foreign.line(value) if isinstance(value, str) and not hasattr(value, "__html__") else value
