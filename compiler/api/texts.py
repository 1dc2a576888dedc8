"""Texts of specs: the one layout, and a first text for a model that exists."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from plica.api.character import FilePath, counted_errors
from plica.api.whole_files import write_whole
from plica.diagnostics import Diagnostic, Diagnostics
from plica.skeleton.pairing import Pairing
from plica.source import Source


@dataclass(frozen=True, repr=False)
class FormattedText:
    """A spec's text in the one layout; `text` is None where it has mistakes, as the diagnostics say."""

    name: str
    before: str
    text: str | None
    diagnostics: tuple[Diagnostic, ...]

    @property
    def ok(self) -> bool:
        """Whether the text could be laid out."""
        return self.text is not None

    @property
    def changed(self) -> bool:
        """Whether the layout differs from what was given."""
        return self.text is not None and self.text != self.before

    def __repr__(self) -> str:
        state = counted_errors(self.diagnostics) if self.text is None else "changed" if self.changed else "unchanged"
        return f"<FormattedText {self.name!r}: {state}>"


@dataclass(frozen=True, repr=False)
class StartedSpec:
    """A first spec; `text` is "" where the model cannot be read. `geometry`: what the text calls the model's file.

    pairing: which joints have a partner on the other side; None where the model cannot be read. said: what was found on
    the mesh, in sentences: where the skin weights are at fault, and where the skin breaks first.
    """

    text: str
    geometry: str
    diagnostics: tuple[Diagnostic, ...]
    pairing: Pairing | None = None
    said: tuple[str, ...] = ()

    @property
    def ok(self) -> bool:
        """Whether there is a text."""
        return bool(self.text)

    def write(self, file: FilePath) -> tuple[Diagnostic, ...]:
        """Write the text, whole or not at all; what stands in the way is given as diagnostics."""
        path = Path(file)
        return write_whole({path.name: self.text.encode()}, path.parent)

    def __repr__(self) -> str:
        lines = self.text.count("\n")
        return f"<StartedSpec of {self.geometry!r}: {lines} lines, {counted_errors(self.diagnostics)}>"


def format_text(text: str, *, name: str = "spec.plica") -> FormattedText:
    """A spec in the one layout: blanks, line ends and blank lines change, and words and comments stay.

    `name` is what diagnostics call the text; mistakes in it are diagnostics of the result. Raises RuntimeError, our
    bug, where the layout would not say the same.
    """
    from plica.format import difference, lay_out

    diagnostics = Diagnostics()
    result = lay_out(Source(name, text), diagnostics)
    if result is None:
        return FormattedText(name, text, None, diagnostics.all)
    if result.text != text and (fault := difference(result)) is not None:
        raise RuntimeError(f"{name}: {fault}; the layout was not used")
    return FormattedText(name, text, result.text, diagnostics.all)


def start_spec(model: FilePath, *, folder: FilePath = ".") -> StartedSpec:
    """A first spec for a glTF 2.0 or OpenUSD model: its sides, hinges, spans and morph targets, found in the model.

    folder: where the spec will lie, from which it names the model. A model that cannot be read is a diagnostic of the
    result; nothing is raised.
    """
    from plica import start

    diagnostics = Diagnostics()
    geometry = start.path_from(Path(folder), Path(model))
    first = start.start_spec(Path(model), diagnostics, geometry, Path(folder))
    return StartedSpec(first.text, geometry, diagnostics.all, first.pairing, first.said)
