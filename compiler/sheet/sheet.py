"""A character's sheet: everything that is known of it, put together for its page."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from plica.mesh.attach import Attached
from plica.prove.results import Result
from plica.prove.sweeps import PoseTrack
from plica.rig.rig import Rig
from plica.sheet.array_pack import ArrayPack
from plica.sheet.before import Earlier, PresentSkin, earlier_module, pack_before
from plica.sheet.changes import changes_view
from plica.sheet.detail_pictures import DetailLayout, SpecFiles, pack_details
from plica.sheet.document import PageData, page
from plica.sheet.graph import graph_view
from plica.sheet.kept import Kept
from plica.sheet.motion_data import controls_data, joints_data, pack_clips
from plica.sheet.page_rig import of_given_strengths, with_readings
from plica.sheet.photos import PhotoAlbum
from plica.sheet.places import declared_places, worst_places
from plica.sheet.record import FoldData, SheetRecord, plain
from plica.sheet.rows import TITLES, grouped, strength_rows
from plica.sheet.script import bundled, page_modules
from plica.sheet.skin_arrays import pack_skin
from plica.sheet.spec_lines import SpecLines
from plica.sheet.tables import coverage_views, expectation_views, fold_views, memory_views, noted_views, shape_views
from plica.source import Span
from plica.texture.mask_set import MaskSet


@dataclass(frozen=True, eq=False)
class SheetSubject:
    """What a sheet is made of.

    rig: with the controls of all morph targets that the skin shows. results: of every expectation, measured or not.
    clips, poses: motion to play and declared poses by name. files: those that the spec names. album: reads photographs.
    stills: pictures (name, PNG or WebP) for browsers that cannot show the skin. earlier: a state to compare with.
    worst: pictures of the worst places of expectations by their number, with width and height in pixels.
    """

    rig: Rig
    attached: Attached | None
    results: Sequence[Result]
    masks: MaskSet | None
    clips: Sequence[PoseTrack]
    poses: Mapping[str, PoseTrack]
    origins: Mapping[tuple[str, str], Span]
    files: SpecFiles
    album: PhotoAlbum
    stills: Sequence[tuple[str, bytes]] = ()
    earlier: Earlier | None = None
    worst: Mapping[int, tuple[bytes, int, int]] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Sheet:
    """A character's sheet apart from the page that shows it.

    content: what the template shows; record: what the script works on; pack: its arrays and pictures; generated: the
    character's own modules of JavaScript, by name.
    """

    content: Mapping[str, Any]
    record: SheetRecord
    pack: ArrayPack
    generated: Mapping[str, str]


def sheet_page(subject: SheetSubject, step: Callable[[str], None] = lambda text: None) -> bytes:
    """The page of a character that opens from disk, the same bytes from the same subject."""
    made = sheet_of(subject, Kept(), step)
    step("writing the page")
    main = "sheet" if subject.earlier is None else "compared-sheet"
    script = bundled({**page_modules(), **made.generated}, main)
    return page(made.content, script, PageData(plain(made.record), made.pack.compressed()))


def sheet_of(subject: SheetSubject, kept: Kept, step: Callable[[str], None] = lambda text: None) -> Sheet:
    """The sheet of a character. `kept`: what sheets before this one made; what is as it was is taken from it."""
    from plica.targets.javascript import module_text

    rig, attached, pack = subject.rig, subject.attached, ArrayPack()
    lines, blocks = SpecLines(subject.origins), block_ids(rig)
    shown, readings = with_readings(rig)
    album = subject.album
    rows = strength_rows(rig, readings, lines, blocks, album)
    step("packing the skin")
    uv_sets = [] if attached is None else list(attached.mesh.uvs)
    skin = None if attached is None else pack_skin(rig, attached, uv_sets, pack, kept)
    details = () if attached is None else pack_details(rig, subject.masks, uv_sets, subject.files, pack, kept)
    clips = pack_clips(rig, subject.clips, pack)
    step("looking at worst places")
    places = (*declared_places(rig, subject.poses, blocks), *worst_places(rig, attached, subject.results, pack))
    before, changes = None, None
    if subject.earlier is not None:
        step("packing the earlier state")
        before = pack_before(subject.earlier, None if attached is None else PresentSkin(rig, attached), pack)
        changes, more = changes_view(subject.earlier, rig, lines, places)
        places = (*places, *more)
    record = SheetRecord(
        rig.character.name,
        rig.character.skinning,
        tuple(strength.name for strength in rig.strengths),
        skin,
        joints_data(rig),
        controls_data(rig),
        rows.data,
        places,
        clips,
        details,
        tuple(
            FoldData(fold.name, fold.follows, fold.detail, fold.area, blocks[f"fold {fold.name}"]) for fold in rig.folds
        ),
        before,
        blocks,
        pack.arrays,
        pack.files,
    )
    generated = {
        "rig": module_text(shown, program=False),
        "combined": module_text(of_given_strengths(rig), program=False),
    }
    if subject.earlier is not None:
        generated["earlier"] = earlier_module(subject.earlier.state, generated["rig"])
    jumps = {
        int(place.block.removeprefix("expect-")): number
        for number, place in enumerate(places)
        if place.group == "worst"
    }
    content = {
        "character": rig.character,
        "changes": changes,
        "before": before,
        "said": album.said([rig.character.about]),
        "counts": _counts(rig),
        "verdicts": _verdicts(subject.results),
        "titles": TITLES,
        "rows": rows.views,
        "shapes": shape_views(rig, attached, lines, blocks, album),
        "folds": fold_views(rig, subject.masks, lines, blocks, album),
        "expectations": expectation_views(subject.results, jumps, lines, album),
        "noted": noted_views(rig, lines, album),
        "unseen": _unseen(rig, details),
        "graph": graph_view(rig, lines, blocks),
        "coverage": coverage_views(rig, attached, blocks),
        "memory": memory_views(rig, attached, subject.masks),
        "texts": lines.texts,
        "stills": [(name, _data_url(content)) for name, content in subject.stills],
        "worst": {f"expect-{number}": (_data_url(drawn), *size) for number, (drawn, *size) in subject.worst.items()},
        "live": skin is not None,
        "clips": clips,
        "places": places,
        "regions": [] if skin is None else [name for name, _ in skin.regions],
    }
    return Sheet(content, record, pack, generated)


def block_ids(rig: Rig) -> dict[str, str]:
    """The id on the page of the row of each strength, by its name, and of each shape and fold, by kind and name."""
    ids: dict[str, str] = {}
    for number, members in enumerate(grouped(rig.strengths).values()):
        ids.update({member.name: f"row-{number}" for member in members})
    ids.update({f"shape {shape.name}": f"shape-{number}" for number, shape in enumerate(rig.shapes)})
    ids.update({f"fold {fold.name}": f"fold-{number}" for number, fold in enumerate(rig.folds)})
    return ids


def _unseen(rig: Rig, details: Sequence[DetailLayout]) -> list[str]:
    """The folds that are not to be seen on the page's skin."""
    seen = {slot.fold for detail in details if detail.maps is not None for slot in detail.folds}
    return [fold.name for fold in rig.folds if fold.name not in seen]


def _counts(rig: Rig) -> list[tuple[int, str]]:
    return [
        (len(rig.skeleton), "joints"),
        (len(rig.strengths), "strengths"),
        (len(rig.regions), "regions"),
        (len(rig.shapes), "shapes"),
        (len(rig.folds), "folds"),
        (len(rig.expectations), "expectations"),
    ]


def _verdicts(results: Sequence[Result]) -> dict[str, int]:
    return {status: sum(one.status == status for one in results) for status in ("fails", "not measured", "holds")}


def _data_url(content: bytes) -> str:
    from base64 import b64encode

    kind = "webp" if content[:4] == b"RIFF" else "png"
    return f"data:image/{kind};base64,{b64encode(content).decode('ascii')}"
