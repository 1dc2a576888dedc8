"""Text to Rig in one call: the function behind the command line, the editor and the tests."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from plica.diagnostics import Diagnostic, Diagnostics
from plica.named_tuples import NamedTuple
from plica.rig.expand import expand
from plica.rig.rig import Rig
from plica.rig.strengths import Control
from plica.source import Source, Span
from plica.spec.acceptances import drop_accepted
from plica.spec.bind import Bound, bind, bind_library
from plica.spec.budget import Budget
from plica.spec.entries import Spec
from plica.syntax.nodes import Document
from plica.syntax.parser import parse
from plica.workspace import Refused, Workspace


class Compiled(NamedTuple):
    """What compiling gave. `spec` and `rig` are None where the stage before it found errors.

    `origins`: where each rig entry was declared, by kind (`driver`, `shape`, ...) and output name.
    `documents`: the spec and the libraries that it uses. `is_library`: a file with parameters and no character.
    `bound`: what binding gave, also where it found errors; None where the text could not be bound. `weights`: controls
    that no output has, for the weights of the skin's morph targets in poses.
    """

    diagnostics: tuple[Diagnostic, ...]
    documents: tuple[Document, ...]
    spec: Spec | None
    rig: Rig | None
    origins: Mapping[tuple[str, str], Span]
    is_library: bool = False
    bound: Bound | None = None
    weights: tuple[Control, ...] = ()

    @property
    def sources(self) -> tuple[Source, ...]:
        """The texts that were read."""
        return tuple(document.source for document in self.documents)


def compile_file(path: Path, allowed: Sequence[Path] = ()) -> Compiled:
    """Compile a spec. Files that it names must lie in its folder or in one of `allowed`."""
    workspace = Workspace(path.parent, allowed)
    text = workspace.read_text(path, path.as_posix())
    if isinstance(text, Refused):
        diagnostics = Diagnostics()
        diagnostics.add_filled(text.name, None, text.values)
        return Compiled(diagnostics.all, (), None, None, {})
    return compile_text(text, path.as_posix(), workspace)


def compile_text(text: str, path: str = "spec.plica", workspace: Workspace | None = None) -> Compiled:
    """Compile a text. Without a workspace no file is read: other files cannot be used, nor checked for."""
    diagnostics = Diagnostics()
    return compile_document(parse(Source(path, text), diagnostics), workspace, diagnostics)


def compile_document(document: Document, workspace: Workspace | None, diagnostics: Diagnostics) -> Compiled:
    """Compile a text that was parsed; `diagnostics` holds what parsing it found.

    What could be parsed is bound all the same, so that one run tells every mistake.
    """
    if diagnostics.stopped or (diagnostics.has_errors and not document.is_read):
        return Compiled(diagnostics.all, (document,), None, None, {})
    root = workspace.root if workspace else None
    if _is_library(document):
        bound = bind_library(document, root, workspace, diagnostics)
        return Compiled(diagnostics.all, bound.documents, None, None, {}, is_library=True, bound=bound)
    bound = bind(document, root, workspace, diagnostics)
    if diagnostics.has_errors or bound.spec is None:
        # What is accepted may not have been found yet.
        return Compiled(diagnostics.all, bound.documents, None, None, {}, bound=bound)
    expanded = expand(bound.spec, diagnostics, bound.budget or Budget(diagnostics))
    drop_accepted(bound.acceptances, diagnostics)
    rig = None if diagnostics.has_errors else expanded.rig
    weights = expanded.weights
    return Compiled(diagnostics.all, bound.documents, bound.spec, rig, expanded.origins, bound=bound, weights=weights)


def _is_library(document: Document) -> bool:
    kinds = {getattr(node, "kind", type(node).__name__) for node in document.declarations}
    kinds |= {lost.kind for lost in document.lost}
    return "character" not in kinds and "Parameter" in kinds
