"""What a change does: two states of characters compared."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from plica import limits
from plica.api.character import FilePath, counted_errors, folders
from plica.api.kept_in import store_in
from plica.diagnostics import Diagnostic, Diagnostics, Severity
from plica.diagnostics.place import counted
from plica.diff.acceptances import read_acceptances, report_unused
from plica.diff.character_states import Options, read_both
from plica.diff.comparison import Versions, compare
from plica.diff.judged_change import JudgedChange
from plica.diff.kept_judgements import Keeping
from plica.diff.project_states import ProjectStates, folders_of, project_states
from plica.diff.report import DrawnChange, Report, with_accepted
from plica.project.recall import code_digest, installed_version
from plica.workspace import Refused, read_text

Form = Literal["text", "markdown", "json", "sarif", "github"]


@dataclass(frozen=True, eq=False, repr=False)
class Comparison:
    """What differs, judged. report: None where a side could not be read, as the diagnostics say.

    A character that does not compile is part of it (`report.broken`), and keeps nothing from being said of others.
    """

    report: Report | None
    diagnostics: tuple[Diagnostic, ...]

    @property
    def ok(self) -> bool:
        """Whether both sides could be read and were compared; it does not mean that they are alike."""
        return self.report is not None

    @property
    def changes(self) -> tuple[JudgedChange, ...]:
        """Every change that was not accepted, the worst first."""
        return () if self.report is None else self.report.changes

    @property
    def alike(self) -> bool:
        """Whether all could be compared and nothing differs, or only what was accepted."""
        return self.report is not None and not self.report.changes and self.report.is_whole

    @property
    def compiles(self) -> bool:
        """Whether every character of the new side compiles, and something could be compared."""
        return self.report is not None and not any(one.state == "new" for one in self.report.broken)

    @property
    def step(self) -> str:
        """The version step that the changes ask for: `major`, `minor`, `patch`, `none`; `unknown` without a report,
        where something does not compile, and where no change was found but not all could be compared.
        """
        return "unknown" if self.report is None else self.report.step

    def rendered(self, form: Form = "text", colour: bool = False, whole: bool = False) -> str:
        """The report for people (`text`, `markdown`), "" without one; or for tools (`json`, `sarif`, `github`), which
        hold the diagnostics as well and are whole in any case.

        Text has at most two screens and counts the rest; `whole`: all of it.
        """
        if form in ("json", "sarif", "github"):
            return self._for_tools(form)
        if self.report is None:
            return ""
        if form == "markdown":
            from plica.diff import markdown_report

            return markdown_report.render(self.report)
        from plica.diff import text_report

        return text_report.render(self.report, colour=colour, whole=whole)

    def _for_tools(self, form: Form) -> str:
        from plica.diff import diagnostics_report, json_report

        report = self.report or Report((), (), unmeasured=("nothing: a side could not be read",))
        if form == "json":
            return json_report.render(report, self.diagnostics)
        if form == "sarif":
            return diagnostics_report.render_sarif(report, self.diagnostics)
        return diagnostics_report.render_github(report, self.diagnostics)

    def __repr__(self) -> str:
        if self.report is None:
            return f"<Comparison: {counted_errors(self.diagnostics)}>"
        return f"<Comparison: {counted(len(self.changes), 'change')}, version step {self.step}>"

    def _repr_html_(self) -> str:
        from plica.api.notebook import diagnostics_html, table_html

        rows = [
            (change.harm.name.lower(), change.title, change.what, "; ".join(one.text for one in change.verdicts))
            for change in self.changes
        ]
        heads = ("", "declaration", "", "what it does") if rows else (repr(self)[1:-1],)
        return table_html(heads, rows) + diagnostics_html(self.diagnostics)


def compare_characters(
    old: FilePath,
    new: FilePath,
    *,
    allow: Iterable[FilePath] = (),
    measure: bool = True,
    accept: FilePath | None = None,
    cache: FilePath | bool = False,
    pictures: FilePath | None = None,
    progress: Callable[[str], None] = lambda step: None,
) -> Comparison:
    """Compare two specs, folders of specs, built rigs, or git revisions of them (`git:HEAD`, `git:main:wren.plica`).

    allow: folders besides the specs' own that files may lie in. measure: also measure changes on the mesh. accept: a
    TOML file of changes that were agreed to, `fingerprint = "reason"`. cache: where judgements are kept between runs,
    by what they depend on; True for the user's cache folder. pictures: a folder into which pictures of the skin before
    and after are written, one for each character; the report names them as seen from the working folder. What cannot be
    read or written is a diagnostic of the result; nothing is raised. `progress` is called with what is done next.
    """
    diagnostics = Diagnostics()
    reasons = {} if accept is None else _reasons(os.fspath(accept), diagnostics)
    with ExitStack() as mirrors:
        options = Options(folders(allow), measure)
        given = os.fspath(old), os.fspath(new)
        projects = project_states(*given, mirrors)
        own = tuple(folders_of(*projects)), tuple(folders_of(*projects[::-1]))
        sides = read_both(*given, options, diagnostics, mirrors, own)
        if any(one.severity is Severity.ERROR for one in diagnostics.all):
            return Comparison(None, diagnostics.all)
        report = with_accepted(compared(sides, cache, projects), reasons)
        if pictures is not None:
            report = report._replace(pictures=_drawn(sides, Path(pictures), diagnostics, progress))
    if accept is not None:
        report_unused(report, reasons, os.fspath(accept), diagnostics)
    return Comparison(report, diagnostics.all)


def compared(
    sides: tuple[Versions, Versions], cache: FilePath | bool, projects: ProjectStates = (None, None)
) -> Report:
    """The report on two sides; judgements are kept in the cache, and taken from it."""
    store = store_in(cache)
    if store is None:
        return compare(*sides, None, projects)
    report = compare(*sides, Keeping(store, _what_computes()), projects)
    store.trim()
    return report


def _drawn(
    sides: tuple[Versions, Versions], folder: Path, diagnostics: Diagnostics, progress: Callable[[str], None]
) -> tuple[DrawnChange, ...]:
    """The pictures that are written to the folder, named as seen from the working folder; none after diagnostics."""
    from plica.diff.difference_pictures import drawn_changes
    from plica.emit.writer import write

    made = list(drawn_changes(*sides, progress))
    files = {one.file: content for one, content in made if one.file}
    if files and write(files, folder, diagnostics) is None:
        return ()
    return tuple(one._replace(file=_from_here(folder / one.file) if one.file else "") for one, _ in made)


def _from_here(path: Path) -> str:
    """A path from the working folder, with slashes; the whole path where there is none from there."""
    try:
        return Path(os.path.relpath(path)).as_posix()
    except ValueError:  # on another drive
        return path.absolute().as_posix()


def _what_computes() -> str:
    """What judgements depend on beside the states: the code, what it runs on, and the limits in force."""
    return repr((code_digest(), *map(installed_version, ("numpy", "scipy")), limits.in_force()))


def _reasons(file: str, diagnostics: Diagnostics) -> dict[str, str]:
    text = read_text(Path(file), file)
    if isinstance(text, Refused):
        diagnostics.add_filled(text.name, None, text.values)
        return {}
    return read_acceptances(text, file, diagnostics)
