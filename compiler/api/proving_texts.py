"""Some expectations of a text proven as it stands in an editor, by a process of its own that can be ended."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal, NamedTuple

from plica.api.character import Character, character_of
from plica.diagnostics import Severity
from plica.mesh.computed_cache import Stamp, stamp
from plica.pipeline import compile_text
from plica.readers.companions import companions
from plica.rig.files import files_of
from plica.rig.rig import Rig
from plica.worker_processes import WorkerError, Workers
from plica.workspace import Refused, Workspace

if TYPE_CHECKING:
    from plica.api.proving import ProofReport
    from plica.prove.results import Result
    from plica.source import Span

FactStatus = Literal["holds", "fails", "unknown"]
_ORDER: Final[dict[FactStatus, int]] = {"holds": 0, "unknown": 1, "fails": 2}


class TextPlace(NamedTuple):
    """A stretch of a text, by the path of its file and offsets."""

    path: str
    start: int
    end: int


class ProofJob(NamedTuple):
    """What is to be proven: the expectations that are written at some places of a spec or of its libraries.

    path: the spec's file; text: what it says; texts: what others say that are open, by path; allow, clips: as for
    `prove_expectations`.
    """

    path: str
    text: str
    texts: Mapping[str, str]
    places: tuple[TextPlace, ...]
    allow: tuple[str, ...] = ()
    clips: tuple[str, ...] = ()


class ProvenFact(NamedTuple):
    """What became of the expectations at one place, which may be several: of both sides, of all of a family.

    status: `fails` where one fails, else `unknown` where one could not be measured, else `holds`; figure: of the worst
    of them, with its limit, or why it is not known; table: all of them, for people.
    """

    place: TextPlace
    status: FactStatus
    figure: str
    table: str


class ProofAnswer(NamedTuple):
    """The facts that were asked for; and the files that their figures are made of, as they were before."""

    facts: tuple[ProvenFact, ...]
    files: tuple[tuple[str, Stamp], ...]
    problem: str = ""

    @property
    def is_current(self) -> bool:
        """Whether the files are still what they were."""
        return all(stamp(Path(path)) == before for path, before in self.files)


class _Overlaid(Workspace):
    """A spec's folder, in which texts stand in for what is saved; by resolved path."""

    def __init__(self, root: Path, allowed: Iterable[Path], texts: Mapping[str, str]) -> None:
        super().__init__(root, tuple(allowed))
        self._texts = texts

    def read_text(self, path: Path, name: str, limit: str = "spec_bytes") -> str | Refused:
        text = self._texts.get(path.as_posix())
        return text if text is not None else super().read_text(path, name, limit)


class TextProver:
    """A process that proves texts, started when it is first needed; it remembers what it computed on the mesh."""

    def __init__(self) -> None:
        self._workers: Workers[ProofJob, ProofAnswer] | None = None

    def prove(self, job: ProofJob) -> ProofAnswer | None:
        """Wait for the answer; None where the process was ended meanwhile. One at a time."""
        if self._workers is None:
            self._workers = Workers(_proving, 1)
        workers = self._workers
        try:
            return _answer(workers, job)
        except WorkerError as error:
            return ProofAnswer((), (), str(error).strip().rpartition("\n")[2])

    def end(self) -> None:
        """End the process, whatever it does; figures that it measured are kept. From any thread."""
        workers, self._workers = self._workers, None
        if workers is not None:
            workers.kill()


def _answer(workers: Workers[ProofJob, ProofAnswer], job: ProofJob) -> ProofAnswer | None:
    while not workers.idle:
        workers.answer()
        if not workers.alive:
            return None
    workers.give(job)
    while True:
        answer, returned = workers.answer()
        if answer is not None or returned:
            return answer


# ---- in the process


def _proving() -> Callable[[ProofJob], ProofAnswer]:
    """What proves texts, with one memory for all of them."""
    from plica.api.kept_in import store_in
    from plica.api.reproving import Reprover

    reprover = Reprover(store_in(True), workers=1)

    def prove(job: ProofJob) -> ProofAnswer:
        character = _character(job)
        rig = character.rig
        if rig is None:
            errors = [one.message for one in character.diagnostics if one.severity is Severity.ERROR]
            return ProofAnswer((), (), errors[0] if errors else "it describes no character")
        indices = _indices(character, job.places)
        kept = tuple(rig.expectations[index] for index in indices)
        origins = {key: span for key, span in character.origins.items() if key[0] != "expect"}
        origins |= {("expect", str(at)): character.origins["expect", str(old)] for at, old in enumerate(indices)}
        chosen = character.__replace__(rig=rig._replace(expectations=kept), origins=origins)
        files = _files(rig, character, job.clips)
        reprover.clips = job.clips
        report = reprover.prove(chosen).report
        problem = next((one.message for one in report.diagnostics if one.severity is Severity.ERROR), "")
        return ProofAnswer(() if problem else _facts(report, chosen), files, problem)

    return prove


def _character(job: ProofJob) -> Character:
    path, allowed = Path(job.path), tuple(Path(one) for one in job.allow)
    compiled = compile_text(job.text, job.path, _Overlaid(path.parent, allowed, job.texts))
    return character_of(compiled, job.path, path.parent, allowed)


def _indices(character: Character, places: Iterable[TextPlace]) -> list[int]:
    """The numbers of the expectations that are written at some places."""
    wanted = set(places)
    spans = ((key[1], span) for key, span in character.origins.items() if key[0] == "expect")
    return sorted(int(at) for at, span in spans if TextPlace(span.source.path, span.start, span.end) in wanted)


def _files(rig: Rig, character: Character, clips: Iterable[str]) -> tuple[tuple[str, Stamp], ...]:
    """Every file that figures may be made of, with its stamp: before it is read, so that a change meanwhile shows."""
    workspace = Workspace(character.folder, character.allow)
    named = [located for file in dict.fromkeys(file for file, *_ in files_of(rig))
             if not isinstance(located := workspace.locate(file), Refused)]  # fmt: skip
    whole = [*named, *map(Path, clips)]
    everything = dict.fromkeys([*whole, *(other for path in whole for other in companions(path))])
    return tuple((path.as_posix(), stamp(path)) for path in everything)


def _facts(report: ProofReport, character: Character) -> tuple[ProvenFact, ...]:
    from plica.prove.report import summary

    by_place: dict[TextPlace, list[Result]] = {}
    for result in report.results:
        by_place.setdefault(_place(character.origins["expect", str(result.index)]), []).append(result)
    warnings = {_place(one.span): one.message for one in report.diagnostics if one.span is not None}
    facts = []
    for place, results in by_place.items():
        worst = max(results, key=_badness)
        table, warning = summary.text(results, {}), warnings.get(place)
        figure = _figure(worst, len(results)) + (", but not everything was gone over" if warning else "")
        facts.append(ProvenFact(place, _status(worst), figure, f"{table}\n\n{warning}" if warning else table))
    return tuple(facts)


def _place(span: Span) -> TextPlace:
    return TextPlace(span.source.path, span.start, span.end)


def _status(result: Result) -> FactStatus:
    return "unknown" if result.status == "not measured" else result.status


def _badness(result: Result) -> tuple[int, float]:
    from plica.prove.execution.work import worse_of

    worst = 0.0 if result.worst is None else worse_of(result.expectation).badness(result.worst)
    return _ORDER[_status(result)], worst


def _figure(result: Result, count: int) -> str:
    """`0.82 % gained, limit 3 %`; of several the worst one, and on which side."""
    from plica.prove.report import summary

    if result.status == "not measured":
        return result.about
    side = f" on the {result.expectation.side}" if result.expectation.side != "none" else ""
    worst = f"worst of {count}{side}: " if count > 1 else ""
    return f"{worst}{summary.figure(result, result.worst)}, limit {summary.amount(result, result.limit)}"
