"""A character beside an earlier state of it, for its sheet."""

from __future__ import annotations

from contextlib import ExitStack
from functools import partial
from pathlib import Path

from plica.api.character import Character, FilePath, rig_of
from plica.api.comparing import compared
from plica.diagnostics import Diagnostics
from plica.diff.broken_state import BrokenState
from plica.diff.character_state import CharacterState
from plica.diff.character_states import ONE, Options, contents_of, read_side, state_of, with_equal_tables
from plica.diff.comparison import Version, Versions
from plica.diff.renamed_alike import renamed_joints, with_joints_called
from plica.diff.report import Report
from plica.diff.skin_states import PosableSkin, posable_skin
from plica.mesh.attach import Attached
from plica.mesh.computed_cache import ComputedCache
from plica.mesh.deform import Deformer
from plica.prove.proof import ProofSubject
from plica.readers.model_outline import listed
from plica.rig.rig import Rig
from plica.sheet.before import Earlier, EarlierState
from plica.sheet.changes import asked_strengths
from plica.sheet.detail_pictures import SpecFiles
from plica.sheet.most_different import ComparedSkins, same_vertices
from plica.texture.mask_set import MaskSet
from plica.texture.masks import masks_of
from plica.workspace import Refused, Workspace, located_bytes


def earlier_state(
    character: Character,
    given: str,
    subject: ProofSubject,
    measure: bool,
    cache: FilePath | bool,
    diagnostics: Diagnostics,
    mirrors: ExitStack,
) -> Earlier | None:
    """What a sheet of the character shows of the state that was given, as `plica.compare_characters` takes it; None
    after diagnostics.

    subject: the character, its mesh attached. measure: whether the report looks at the mesh. The files of a revision
    are there until `mirrors` is closed. In a folder the character is found by its name.
    """
    sides = _sides(character, given, diagnostics, mirrors)
    if sides is None:
        return None
    was, now = sides
    looked = sides if measure else tuple({ONE: _unmeasured(side[ONE])} for side in sides)
    report = compared((looked[0], looked[1]), cache)
    before, after = was[ONE], now[ONE]
    assert isinstance(after, CharacterState)
    if isinstance(before, BrokenState):
        return Earlier(given, report, None, "the earlier state does not compile, so there is no skin to compare with")
    state, skins = _skins(before, after, report, subject)
    return Earlier(given, report, state, skins)


def _sides(
    character: Character, given: str, diagnostics: Diagnostics, mirrors: ExitStack
) -> tuple[Versions, Versions] | None:
    place = Path(character.file)
    sides = read_side(given, place if place.exists() else None, Options(character.allow), diagnostics, mirrors)
    if not sides:
        return None
    found = [one for key, one in sides.items() if key == ONE or _name(one) == character.name]
    if len(found) != 1:
        names = listed(sorted({_name(one) for one in sides.values()}))
        diagnostics.add("character-not-there", None, character=character.name, given=given, names=names)
        return None
    return with_equal_tables({ONE: found[0]}, {ONE: _present_state(character)})


def _present_state(character: Character) -> CharacterState:
    """The character as `plica diff` reads one. Raises NoRigError."""
    rig, compiled = rig_of(character), character.compiled
    workspace = Workspace(character.folder, character.allow)
    if compiled is None:
        return CharacterState(character.file, rig, locate=workspace.locate)
    return state_of(compiled, character.file, contents_of(rig, workspace), workspace.locate)


def _unmeasured(state: Version) -> Version:
    return state if isinstance(state, BrokenState) else state._replace(locate=None)


def _name(state: Version) -> str:
    return state.name if isinstance(state, BrokenState) else state.rig.character.name


def _skins(
    before: CharacterState, after: CharacterState, report: Report, subject: ProofSubject
) -> tuple[EarlierState, ComparedSkins | str]:
    """The earlier state with its mesh, and both skins; or why there is no difference to show."""
    called = with_joints_called(before.rig, renamed_joints(before.rig, after.rig))
    rig = called._replace(controls=(*called.controls, *before.weights))
    skin = posable_skin(before, ComputedCache(), rig)
    files = SpecFiles(partial(_read, before))
    if isinstance(skin, str):
        return EarlierState(rig, None, None, files), f"old state: {skin}"
    state = EarlierState(rig, skin.attached, _masks(rig, skin.attached, files), files)
    if subject.attached is None:
        return state, "the character has no mesh now"
    now = PosableSkin(
        subject.rig, subject.attached, Deformer(subject.attached.mesh, subject.rig, subject.attached.shapes)
    )
    if not same_vertices(skin.attached.mesh, subject.attached.mesh):
        return state, "the mesh has other vertices now, so there is no difference to show"
    return state, ComparedSkins(skin, now, asked_strengths(report, rig, subject.rig), subject.poses or {})


def _read(state: CharacterState, file: str) -> bytes | Refused:
    assert state.locate is not None
    return located_bytes(state.locate, file, "image_bytes")


def _masks(rig: Rig, attached: Attached, files: SpecFiles) -> MaskSet | None:
    """The folds' masks; None where there are none. What is wrong with them concerned the earlier state alone."""
    return masks_of(rig, attached, files.read, Diagnostics()) if rig.folds else None
