"""What `git diff` shows for a spec: what the change does, where both states compile, and then the lines that differ.

git gives an external diff both texts of one file and the names of their objects, but not which two states are compared.
Libraries and models are read from the states in which those texts are found (`git_states.py`), and the output names
these. A file that a state has not is taken from the working tree, and named too. Nothing is measured on the mesh:
`plica diff git:REVISION SPEC` does that.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from difflib import unified_diff
from pathlib import Path
from tempfile import TemporaryDirectory

from plica import foreign
from plica.diagnostics import Diagnostics
from plica.diff.broken_state import BrokenState, mistake_text
from plica.diff.character_states import ONE, Options, version_of_text
from plica.diff.comparison import Version, compare
from plica.diff.git_commands import NoRevision
from plica.diff.git_states import GitFile, State, states
from plica.diff.revision import Revision, RevisionWorkspace
from plica.diff.text_report import render
from plica.file_names import problem_of
from plica.workspace import Refused, Workspace

LIBRARY = "a library; `plica diff git:HEAD .` shows what a change of it does to each character\n"


class _StateWorkspace(RevisionWorkspace):
    """A spec's folder in a state of the repository; `borrowed` are the files taken from the working tree instead."""

    def __init__(self, revision: Revision, folder: str, allowed: Sequence[Path]) -> None:
        super().__init__(revision, folder, allowed)
        self._tree = Workspace(revision.top / folder, allowed)
        self._place = revision.mirror
        self._top = revision.top
        self.borrowed: dict[str, None] = {}

    def locate(self, text: str, beside: Path | None = None) -> Path | Refused:
        """The file of the state, else that of the working tree."""
        result = super().locate(text, beside)
        if not isinstance(result, Refused):
            return result
        folder = beside
        if beside is not None and beside.is_relative_to(self._place):
            folder = self._top / beside.relative_to(self._place)
        other = self._tree.locate(text, folder)
        if isinstance(other, Refused):
            return result
        self.borrowed[text] = None
        return other

    def holds(self, resolved: Path) -> bool:
        """Whether a place may be read: in the state, or in the working tree."""
        return super().holds(resolved) or self._tree.holds(resolved)


def shown(old: GitFile, new: GitFile, allowed: Sequence[Path] = (), colour: bool = False) -> str:
    """The text for git to show."""
    head = foreign.lines([f"plica diff {new.path}"])
    read = [_text(file) for file in (old, new)]
    texts = [text for text in read if isinstance(text, str)]
    if len(texts) < len(read):
        return head + foreign.lines(f"not compared: {_message(text)}" for text in read if isinstance(text, Refused))
    return head + _told(old, new, texts, allowed, colour) + "\n" + _lines(old, new, texts)


def _told(old: GitFile, new: GitFile, texts: list[str], allowed: Sequence[Path], colour: bool) -> str:
    """What the change does, or why that cannot be told."""
    problems = [problem for file in (old, new) if file.is_there and (problem := problem_of(file.path)) is not None]
    if problems:
        return foreign.lines([f"not compared: {problems[0]}"])
    try:
        return _effects(old, new, texts, allowed, colour)
    except NoRevision as problem:
        return foreign.lines([f"not compared: {problem}"])


def _effects(old: GitFile, new: GitFile, texts: list[str], allowed: Sequence[Path], colour: bool) -> str:
    """What the change does, or the first error of what does not compile. Raises NoRevision."""
    repository = Path(new.path).parent
    versions: list[Version | None] = []
    notes: list[str] = []
    with ExitStack() as mirrors:
        both = states(old, new, repository)
        for file, text, state in zip((old, new), texts, both, strict=True):
            workspace: Workspace = Workspace(Path(file.path).parent, allowed)
            if state.revision is not None:
                mirror = Path(mirrors.enter_context(TemporaryDirectory(prefix="plica-")))
                revision = Revision(repository, state.revision, mirror)
                workspace = _StateWorkspace(revision, Path(file.path).parent.as_posix(), allowed)
            options = Options(allowed, measure=False)
            versions.append(version_of_text(text, file.path, workspace, options) if text else None)
            notes += _borrowed(workspace, state)
    broken = next((version for version in versions if isinstance(version, BrokenState)), None)
    if broken is not None:
        return foreign.lines([*notes, f"not compared: {mistake_text(broken)}"])
    if any(bool(text) and version is None for text, version in zip(texts, versions, strict=True)):
        return LIBRARY
    old_version, new_version = ({} if one is None else {ONE: one} for one in versions)
    what = f"files that it uses: old from {both[0].label}, new from {both[1].label}"
    return foreign.lines([what, *notes]) + render(compare(old_version, new_version), colour=colour)


def _borrowed(workspace: Workspace, state: State) -> list[str]:
    if not isinstance(workspace, _StateWorkspace):
        return []
    return [f"not in {state.label}, so from the working tree: {name}" for name in workspace.borrowed]


def _text(file: GitFile) -> str | Refused:
    """A state of the file; nothing where there is none, which git says by naming the null device."""
    if not file.is_there:
        return ""
    return Workspace(file.content.parent).read_text(file.content, Path(file.path).name)


def _message(refused: Refused) -> str:
    diagnostics = Diagnostics()
    diagnostics.add_filled(refused.name, None, refused.values)
    return diagnostics.all[0].message


def _lines(old: GitFile, new: GitFile, texts: list[str]) -> str:
    """The lines that differ, as git shows them; a file that is not there is the null device."""
    sides = zip("ab", (old, new), strict=True)
    before, after = (f"{side}/{file.path}" if file.is_there else "/dev/null" for side, file in sides)
    lines = unified_diff(texts[0].splitlines(), texts[1].splitlines(), before, after, lineterm="")
    return "".join(f"{foreign.source_line(line)}\n" for line in lines)
