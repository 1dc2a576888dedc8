"""A character's sheet: one page to look at and to judge it by."""

from __future__ import annotations

import io
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from plica.api.character import Character, FilePath, counted_errors, file_names
from plica.api.kept_in import store_in
from plica.api.proving import measured
from plica.api.subject import subject_of
from plica.api.whole_files import write_whole
from plica.diagnostics import Diagnostic, Diagnostics, Severity
from plica.mesh.attach import Attached
from plica.prove.proof import Proof, ProofSubject
from plica.prove.results import Result, not_measured
from plica.prove.subject import ExtraClips
from plica.quantities import memory
from plica.source import Span
from plica.texture.mask_set import MaskSet
from plica.workspace import Refused, Workspace, located_bytes

if TYPE_CHECKING:
    from plica.sheet.sheet import SheetSubject

LEFT_OUT = "measuring was left out"
STILL = (480, 480)
"""Pixels of a still picture."""
MOST_PICTURES = 8
"""Expectations that fail and whose worst places are on the page as pictures too, for print and for lesser browsers."""


@dataclass(frozen=True, eq=False, repr=False)
class CharacterSheet:
    """The page of a character.

    page: one file of HTML that opens from disk and asks for nothing else; b"" after errors. results: of every
    expectation, as the page shows them. diagnostics: what was found on the way.
    """

    character: Character
    page: bytes
    results: tuple[Result, ...]
    diagnostics: tuple[Diagnostic, ...]

    @property
    def ok(self) -> bool:
        """Whether there is a page. It says nothing of the verdicts."""
        return bool(self.page) and not any(one.severity is Severity.ERROR for one in self.diagnostics)

    @property
    def size(self) -> str:
        """How large the page is, in words: `650.2 KiB`."""
        return memory(len(self.page))

    def write(self, file: FilePath) -> tuple[Diagnostic, ...]:
        """Write the page, whole or not at all; what stands in the way is given as diagnostics."""
        path = Path(file)
        return write_whole({path.name: self.page}, path.parent)

    def __repr__(self) -> str:
        if not self.ok:
            return f"<CharacterSheet of {self.character.file!r}: {counted_errors(self.diagnostics)}>"
        return f"<CharacterSheet of {self.character.name!r}: {self.size}>"


def make_sheet(
    character: Character,
    *,
    clips: Iterable[FilePath] = (),
    against: FilePath | None = None,
    measure: bool = True,
    cache: FilePath | bool = True,
    workers: int | None = None,
    progress: Callable[[str], None] = lambda step: None,
) -> CharacterSheet:
    """The sheet of a character: its skin live, every driver's response, what drives what, expectations with figures.

    clips: files of motion to play, besides those that expectations name. against: an earlier state of the character, as
    `compare_characters` takes it, to be shown beside it with what changed. measure: whether expectations are measured;
    without that they stand on the page as not measured, and changes are not measured on the mesh. cache, workers: as in
    `prove_expectations`. progress: called with what is done next.

    Errors of the spec and its files are diagnostics of the result, which then has no page.
    """
    from plica.api.against import earlier_state
    from plica.sheet.sheet import sheet_page

    diagnostics = Diagnostics()
    workspace = Workspace(character.folder, character.allow)
    files = file_names(clips)
    subject = subject_of(character, workspace, ExtraClips(files), diagnostics, progress)
    if subject is None:
        return CharacterSheet(character, b"", (), diagnostics.all)
    with ExitStack() as mirrors:
        earlier = None
        if against is not None:
            progress(f"comparing with {os.fspath(against)}")
            earlier = earlier_state(character, os.fspath(against), subject, measure, cache, diagnostics, mirrors)
            if earlier is None:
                return CharacterSheet(character, b"", (), diagnostics.all)
        proof, results = _proven(subject, measure, cache, workers, progress, diagnostics)
        progress("packing masks")
        shown = sheet_subject(
            subject, proof, results, character.origins, workspace, diagnostics, stills_of(character, subject.attached)
        )
        page = sheet_page(replace(shown, earlier=earlier, worst=_worst(subject, results, progress)), progress)
    return CharacterSheet(character, page, tuple(results), diagnostics.all)


def sheet_subject(
    subject: ProofSubject,
    proof: Proof,
    results: Sequence[Result],
    origins: Mapping[tuple[str, str], Span],
    workspace: Workspace,
    diagnostics: Diagnostics,
    stills: Sequence[tuple[str, bytes]],
    version: Callable[[str], str] = lambda file: "",
) -> SheetSubject:
    """What the sheet of a subject is made of; `proof`: which makes its masks; `version`: as in `SpecFiles`."""
    from plica.sheet.detail_pictures import SpecFiles
    from plica.sheet.photos import PhotoAlbum
    from plica.sheet.sheet import SheetSubject

    def read(file: str) -> bytes | Refused:
        return located_bytes(workspace.locate, file, "image_bytes")

    return SheetSubject(
        subject.rig,
        subject.attached,
        results,
        _masks(proof),
        [*(track for tracks in (subject.clips or {}).values() for track in tracks), *subject.extra],
        subject.poses or {},
        origins,
        SpecFiles(read, version),
        PhotoAlbum(read, diagnostics),
        stills,
    )


def _proven(
    subject: ProofSubject,
    measure: bool,
    cache: FilePath | bool,
    workers: int | None,
    progress: Callable[[str], None],
    diagnostics: Diagnostics,
) -> tuple[Proof, list[Result]]:
    """The results of all expectations, and what measuring made."""
    # Clips that are given to be looked at are nothing that the spec goes over.
    asked = replace(subject, extra=())
    if not measure:
        return Proof(asked), [not_measured(index, one, LEFT_OUT) for index, one in enumerate(subject.rig.expectations)]
    prover, results, _ = measured(asked, store_in(cache), workers, None, progress, diagnostics)
    return prover.proof, results


def _worst(
    subject: ProofSubject, results: Sequence[Result], progress: Callable[[str], None]
) -> dict[int, tuple[bytes, int, int]]:
    """Pictures of the worst places of expectations that fail, by their number: WebP, its width and its height."""
    from PIL import Image

    from plica.prove.report.pictures import pictures_of

    failing = [one for one in results if one.status == "fails"]
    made: dict[int, tuple[bytes, int, int]] = {}
    for result, drawn in islice(pictures_of(subject, failing), MOST_PICTURES):
        progress(f"drawing {result.title}")
        picture, content = Image.open(io.BytesIO(drawn)).convert("RGB"), io.BytesIO()
        picture.save(content, "WEBP", quality=70)
        made[result.index] = content.getvalue(), picture.width, picture.height
    return made


def _masks(proof: Proof) -> MaskSet | None:
    """The folds' masks; None where there are none, which the page then says."""
    if proof.attached is None or not proof.rig.folds or isinstance(proof.masks, str):
        return None
    return proof.masks


def stills_of(character: Character, attached: Attached | None) -> list[tuple[str, bytes]]:
    """Pictures for browsers that cannot show the skin, as WebP."""
    from plica.api.picture_figures import neutral_view
    from plica.api.skin import AttachedMesh
    from plica.picture.files import content_of

    if attached is None or not len(attached.mesh.triangles):
        return []
    image = neutral_view(AttachedMesh(character, attached, ()), STILL)
    return [("in its neutral stance", content_of([image], ".webp"))]
