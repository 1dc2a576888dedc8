"""The one entry to models of any format. Each format's reader is loaded when a file needs it."""

from __future__ import annotations

from collections.abc import Callable, Collection
from pathlib import Path
from typing import Protocol, TypeVar

from plica.diagnostics import Diagnostics
from plica.readers.allowance import OverLimit
from plica.readers.model_outline import ModelOutline, UnreadableModel
from plica.source import Span

GLTF_ENDINGS = (".gltf", ".glb")
USD_ENDINGS = (".usd", ".usda", ".usdc", ".usdz")


def read_outline(path: Path, meshes: Collection[str] = ()) -> ModelOutline:
    """The outline of a glTF or USD model; `meshes` names those whose skins matter (empty: all).

    The format is told by the file's ending, else by its first bytes. Raises UnreadableModel.
    """
    if is_usd(path):
        from plica.readers.usd_model import outline_of_usd

        return outline_of_usd(path, meshes)
    from plica.readers.gltf_document import read_document
    from plica.readers.gltf_skeleton import outline_of_document

    return outline_of_document(read_document(path), meshes, path)


def find_outline(
    path: Path, shown: str, span: Span | None, diagnostics: Diagnostics, meshes: Collection[str] = ()
) -> ModelOutline | None:
    """The outline, or None and a diagnostic at `span`; `shown` is what the user calls the file."""
    return read_or_told(lambda: read_outline(path, meshes), "unreadable-model", shown, span, diagnostics)


class WithProblems(Protocol):
    """What was read, with sentences about what was put right in it."""

    @property
    def problems(self) -> tuple[str, ...]: ...


Readable = TypeVar("Readable", bound=WithProblems)


def read_or_told(
    read: Callable[[], Readable], rule: str, shown: str, span: Span | None, diagnostics: Diagnostics
) -> Readable | None:
    """What `read` gives, its problems told; None and a diagnostic of `rule` where it raises UnreadableModel."""
    try:
        result = read()
    except UnreadableModel as error:
        tell(error, rule, shown, span, diagnostics)
        return None
    for problem in result.problems:
        diagnostics.add("unclear-model", span, file=shown, problem=problem)
    return result


def tell(
    error: Exception, rule: str, shown: str, span: Span | None, diagnostics: Diagnostics, **values: object
) -> None:
    """Adds why a file cannot be used: by `rule`, filled with more `values`, or by the limit that it goes beyond."""
    if isinstance(error, OverLimit):
        diagnostics.add_filled("over-limit", span, error.values | {"what": f"`{shown}`: {error.values['what']}"})
    else:
        texts = {name: str(value) for name, value in values.items()}
        diagnostics.add_filled(rule, span, {"file": shown, "reason": str(error), **texts})


def is_usd(path: Path) -> bool:
    """Whether a file is OpenUSD, by its ending, else by its first bytes. Raises UnreadableModel."""
    ending = path.suffix.lower()
    if ending in GLTF_ENDINGS:
        return False
    if ending in USD_ENDINGS:
        return True
    from plica.readers.gltf_document import open_regular

    with open_regular(path) as stream:
        start = stream.read(12)
    if start.startswith(b"glTF") or start.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"{"):
        return False
    if start.startswith((b"#usda", b"PXR-USDC", b"PK\x03\x04")):
        return True
    raise UnreadableModel("it is neither glTF 2.0 (.gltf, .glb) nor OpenUSD (.usd, .usda, .usdc, .usdz)")
