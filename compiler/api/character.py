"""A character: a compiled spec, or a rig that was built from one and is read back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from os import PathLike, fspath
from pathlib import Path
from typing import TYPE_CHECKING

from plica.diagnostics import Diagnostic, Diagnostics, Severity
from plica.errors import NoRigError
from plica.frozen import Frozen
from plica.source import Span
from plica.workspace import Refused, Workspace

if TYPE_CHECKING:
    from plica.evaluate.evaluator import Evaluator
    from plica.pipeline import Compiled
    from plica.rig.rig import Rig
    from plica.skeleton.pairing import Pairing

FilePath = str | PathLike[str]


class Character(Frozen):
    """What a spec says of a character, both sides written out; or why it says nothing.

    diagnostics: what compiling found, errors and warnings, by place. rig: the data that everything is computed from
    (`plica.rig.rig`), None where there are errors and for a library of other specs. folder: where the files lie that
    the spec names; allow: further folders that they may lie in. file: what the user calls the spec or the rig.
    origins: where each entry was declared, by kind and output name; empty for a rig that was read.
    """

    rig: Rig | None
    diagnostics: tuple[Diagnostic, ...]
    file: str
    folder: Path
    allow: tuple[Path, ...]
    origins: Mapping[tuple[str, str], Span]
    compiled: Compiled | None

    def __init__(
        self,
        rig: Rig | None,
        diagnostics: tuple[Diagnostic, ...],
        file: str,
        folder: Path,
        allow: tuple[Path, ...] = (),
        origins: Mapping[tuple[str, str], Span] | None = None,
        compiled: Compiled | None = None,
    ) -> None:
        super().__init__(
            rig=rig,
            diagnostics=diagnostics,
            file=file,
            folder=folder,
            allow=allow,
            origins={} if origins is None else origins,
            compiled=compiled,
        )

    @property
    def ok(self) -> bool:
        """Whether there is no error. A library of other specs can be without errors and has no rig all the same."""
        return not any(one.severity is Severity.ERROR for one in self.diagnostics)

    @property
    def is_library(self) -> bool:
        """Whether the text is a library that other specs use: it has parameters and describes no character."""
        return self.compiled is not None and self.compiled.is_library

    @property
    def name(self) -> str:
        """The character's name; "" where there is no rig."""
        return "" if self.rig is None else self.rig.character.name

    @property
    def joints(self) -> tuple[str, ...]:
        """The names of the joints, parents before their children. Raises NoRigError."""
        return tuple(joint.name for joint in rig_of(self).skeleton)

    @property
    def stance(self) -> tuple[str, ...]:
        """Which pose of the model is the neutral stance, how even both are, and what the file's rest gives, for people.

        Empty where the model's bind pose and its rest are one pose, and for a rig that was read.
        """
        from plica.api.stance import stance_lines

        return () if self.compiled is None else tuple(stance_lines(self.compiled))

    @property
    def controls(self) -> tuple[str, ...]:
        """What a pose gives beside joints: the output names of the numbers that an animator sets, and `weight of NAME`
        for each morph target that drivers read, or that the skin has and no shape takes over. Raises NoRigError.
        """
        return tuple(control.name for control in posed_rig(self).controls)

    @property
    def strengths(self) -> tuple[str, ...]:
        """The output names of all strengths, in the order of `compute_strengths`. Raises NoRigError."""
        return tuple(strength.name for strength in rig_of(self).strengths)

    @property
    def shapes(self) -> tuple[str, ...]:
        """The output names of the corrective shapes. Raises NoRigError."""
        return tuple(shape.name for shape in rig_of(self).shapes)

    @property
    def regions(self) -> tuple[str, ...]:
        """The output names of the regions of the skin. Raises NoRigError."""
        return tuple(region.name for region in rig_of(self).regions)

    @property
    def pairing(self) -> Pairing | None:
        """Which joints have a partner on the other side; None where it is not known: errors, a library, a read rig."""
        from plica.skeleton.pairing import pairing_of

        spec = None if self.compiled is None else self.compiled.spec
        return None if spec is None else pairing_of(spec.bound.skeleton, spec.bound.sides, spec.bound.plane)

    @cached_property
    def evaluator(self) -> Evaluator:
        """The rig prepared for evaluation, made once. Raises NoRigError."""
        from plica.evaluate.evaluator import Evaluator

        return Evaluator(posed_rig(self))

    def __repr__(self) -> str:
        if self.rig is None:
            what = "a library" if self.is_library and self.ok else counted_errors(self.diagnostics)
            return f"<Character of {self.file!r}: {what}>"
        counts = (
            (len(self.joints), "joints"),
            (len(self.strengths), "strengths"),
            (len(self.shapes), "shapes"),
            (len(self.rig.expectations), "expectations"),
        )
        return f"<Character {self.name!r}: {', '.join(f'{number} {noun}' for number, noun in counts)}>"

    def _repr_html_(self) -> str:
        from plica.api.notebook import diagnostics_html, table_html

        if self.rig is None:
            return diagnostics_html(self.diagnostics) or table_html(("",), [(repr(self),)])
        rows = [
            ("joints", ", ".join(self.joints)),
            ("controls", ", ".join(self.controls)),
            ("strengths", ", ".join(self.strengths)),
            ("shapes", ", ".join(self.shapes)),
            ("regions", ", ".join(self.regions)),
        ]
        return table_html((self.name, ""), rows) + diagnostics_html(self.diagnostics)


def compile_file(path: FilePath, *, allow: Iterable[FilePath] = ()) -> Character:
    """Compile a spec; mistakes in it, and a file that cannot be read, are diagnostics of the result.

    allow: folders besides the spec's own in which files that it names may lie.
    """
    from plica import pipeline  # with the parser: not for those who recall what an earlier run found

    place, allowed = Path(path), folders(allow)
    return character_of(pipeline.compile_file(place, allowed), place.as_posix(), place.parent, allowed)


def compile_text(
    text: str, *, name: str = "spec.plica", folder: FilePath | None = None, allow: Iterable[FilePath] = ()
) -> Character:
    """Compile a spec that is a string; `name` is what diagnostics call it.

    folder: where the files lie that it names. Without a folder no file is read or checked for: the skeleton must then
    stand in the text.
    """
    from plica import pipeline

    allowed = folders(allow)
    workspace = None if folder is None else Workspace(Path(folder), allowed)
    compiled = pipeline.compile_text(text, name, workspace)
    return character_of(compiled, name, Path() if folder is None else Path(folder), allowed)


def read_rig(path: FilePath, *, folder: FilePath | None = None, allow: Iterable[FilePath] = ()) -> Character:
    """Read a rig that was built (`NAME.rig.json`), its shape, numbers and references checked.

    folder: that of the spec which it was built from, in which the files lie that the rig names; default: the rig's own.
    What stands in the way is a diagnostic of the result.
    """
    place, allowed = Path(path), folders(allow)
    shown = place.as_posix()
    diagnostics = Diagnostics()
    rig = _read(place, shown, diagnostics)
    return Character(rig, diagnostics.all, shown, place.parent if folder is None else Path(folder), allowed)


def _read(place: Path, shown: str, diagnostics: Diagnostics) -> Rig | None:
    from plica.rig.rig_json import RigFormatError, read_rig
    from plica.workspace import read_text

    text = read_text(place, shown)
    if isinstance(text, Refused):
        diagnostics.add_filled(text.name, None, text.values)
        return None
    try:
        return read_rig(text)
    except RigFormatError as error:
        diagnostics.add("unreadable-rig", None, file=shown, problem=str(error))
        return None


def character_of(compiled: Compiled, shown: str, folder: Path, allowed: tuple[Path, ...]) -> Character:
    """The character of what compiling gave; its own declaration counts as the place of the character."""
    origins = dict(compiled.origins)
    if compiled.spec is not None and compiled.rig is not None:
        origins[("character", compiled.rig.character.name)] = compiled.spec.character.span
    return Character(compiled.rig, compiled.diagnostics, shown, folder, allowed, origins, compiled)


def folders(given: Iterable[FilePath]) -> tuple[Path, ...]:
    """Folders as paths. One path alone, a likely slip, is taken for itself and not for its letters."""
    return (Path(given),) if isinstance(given, str | PathLike) else tuple(Path(one) for one in given)


def rig_of(character: Character) -> Rig:
    """The rig. Raises NoRigError where there is none."""
    if character.rig is None:
        if character.is_library and character.ok:
            why = "is a library of other specs and describes no character; compile a spec that uses it"
        else:
            first = next((one.message for one in character.diagnostics if one.severity is Severity.ERROR), "")
            why = f"has {counted_errors(character.diagnostics)}, the first: {first}; see its diagnostics"
        raise NoRigError(f"{character.file} {why}")
    return character.rig


def posed_rig(character: Character) -> Rig:
    """The rig for poses of the skin: with a control for each of the skin's morph targets that nothing else moves.

    Raises NoRigError.
    """
    return with_shown_weights(character, rig_of(character))


def file_names(files: FilePath | Iterable[FilePath]) -> list[str]:
    """The names of files; one alone may stand for itself."""
    return [fspath(file) for file in ((files,) if isinstance(files, str | PathLike) else files)]


def with_shown_weights(character: Character, rig: Rig) -> Rig:
    """The character's rig with those controls."""
    weights = () if character.compiled is None else character.compiled.weights
    return rig._replace(controls=(*rig.controls, *weights)) if weights else rig


def usable_rig(character: Character, diagnostics: Diagnostics, warnings: bool = False) -> Rig | None:
    """The rig; None, and why as diagnostics, where there is none. `warnings`: also what compiling warned of."""
    diagnostics.extend(one for one in character.diagnostics if warnings or one.severity is Severity.ERROR)
    if character.rig is None and not diagnostics.has_errors:
        diagnostics.add("nothing-to-build", None, file=character.file)
    return None if diagnostics.has_errors else character.rig


def counted_errors(diagnostics: Sequence[Diagnostic]) -> str:
    """`2 errors`, `1 error`, `no errors`."""
    count = sum(one.severity is Severity.ERROR for one in diagnostics)
    return f"{count or 'no'} error{'' if count == 1 else 's'}"
