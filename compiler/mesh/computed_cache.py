"""What was computed on a mesh, kept by what it was computed from: the next build computes only what has changed."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from hashlib import file_digest, sha256
from pathlib import Path
from typing import TypeVar, cast

from plica import regular_files
from plica.diagnostics import Diagnostics
from plica.kinds.readings import controls_of
from plica.readers.companions import companions
from plica.rig.expected_volumes import expected_text
from plica.rig.region_sources import files_in, pose_of, regions_of, shapes_of
from plica.rig.rig import Rig
from plica.rig.strengths import Combine, Control, Driver, Field, Sample, Strength
from plica.rig.surface_order import shape_groups
from plica.rig.surfaces import Region, Shape, StrengthPose
from plica.values import NOTHING_SAID
from plica.workspace import Refused

Result = TypeVar("Result")
Stamp = tuple[int, int] | None
"""When a file was last written (nanoseconds) and how many bytes it has; None where there is none."""
Locate = Callable[[str], Path | Refused]
"""The file that a spec names, or why it cannot be used."""


class ComputedCache:
    """Results by key. `begin` starts a run: what the run before it did not need is forgotten.

    Results with findings are not kept, because findings point into a text that may have changed.
    """

    def __init__(self, keeps: bool = True) -> None:
        """keeps: False for a run after which no other comes, which then holds nothing in memory for it."""
        self._keeps = keeps
        self._kept: dict[Hashable, object] = {}
        self._used: dict[Hashable, object] = {}
        self._digests: dict[Path, tuple[Stamp, str]] = {}
        self._companions: dict[Path, dict[Path, Stamp]] = {}

    def begin(self) -> None:
        """Start a run."""
        self._kept, self._used = self._used, {}

    def recall(self, key: Hashable, diagnostics: Diagnostics, compute: Callable[[], Result]) -> Result:
        """The result kept for a key, else what `compute` gives; it adds its findings to `found`."""
        for kept in (self._used, self._kept):
            if key in kept:
                self._used[key] = kept[key]
                return cast(Result, kept[key])
        before = diagnostics.count_of_all
        result = compute()
        if self._keeps and diagnostics.count_of_all == before:
            self._used[key] = result
        return result

    def digest(self, path: Path) -> str:
        """A digest of a model's or an image's bytes and of the files that it is made of; empty where it is unreadable.

        A file whose time and size are those of the last time is not read again.
        """
        own = self._digest(path)
        return "-".join([own, *(self._digest(other) for other in self.companions(path))]) if own else ""

    def companions(self, path: Path) -> tuple[Path, ...]:
        """The other files that a model or a clip is made of, also those that it misses; looked up once."""
        known = self._companions.get(path)
        if known is None or any(stamp(file) != before for file, before in known.items()):
            files = (path, *companions(path))
            known = self._companions[path] = {file: stamp(file) for file in files}
        return tuple(known)[1:]

    def _digest(self, path: Path) -> str:
        now = stamp(path)
        known = self._digests.get(path)
        if known is None or known[0] != now:
            known = self._digests[path] = (now, _digest_of_file(path))
        return known[1]


def _digest_of_file(path: Path) -> str:
    """A digest of a file's bytes; empty where it cannot be read."""
    try:
        with regular_files.opened(path, "model_bytes") as stream:
            return file_digest(stream, "sha256").hexdigest()
    except (regular_files.Unreadable, OSError):
        return ""


def stamp(path: Path) -> Stamp:
    """The stamp of a file as it is now."""
    try:
        status = path.stat()
    except (OSError, ValueError):  # ValueError: a name that holds a null character
        return None
    return status.st_mtime_ns, status.st_size


def digest_of(*items: object) -> str:
    """A digest of named tuples, numbers and texts; floating-point numbers count to the last bit."""
    return sha256(repr(items).encode("utf-8", "surrogatepass")).hexdigest()


def body_of(rig: Rig, model: str) -> str:
    """A digest of the mesh, the skeleton and the mirror plane, on which everything depends; `model`: of the file."""
    character = rig.character
    tolerances = (character.tolerance, character.band)
    return digest_of(character.geometry, model, rig.skeleton, rig.symmetry, tolerances, character.skinning)


# ---- what a shape depends on ---------------------------------------------------------------------------


def without_words(item: Result) -> Result:
    """An entry without what is said about it for people."""
    return cast(Result, item._replace(about=NOTHING_SAID))  # type: ignore[attr-defined]


class Dependencies:
    """What the shapes of one rig are computed from, beside the mesh and their regions."""

    def __init__(self, rig: Rig) -> None:
        self._shapes = {shape.name: shape for shape in rig.shapes}
        self._strengths: Mapping[str, Strength] = {strength.name: strength for strength in rig.strengths}
        self._fields: Mapping[str, Field] = {field.name: field for field in rig.fields}
        self._controls: Mapping[str, Control] = {control.name: control for control in rig.controls}

    def of(self, shapes: tuple[Shape, ...]) -> tuple[Hashable, ...]:
        """The shapes themselves and those before them, and every strength, field and control that poses speak of."""
        everything = self.with_earlier(shapes)
        sculpts = [sculpt for shape in everything for sculpt in shape.sculpts]
        # A shape that was on while another was sculpted was on at the strength that it follows.
        earlier = {name for sculpt in sculpts for name in sculpt.after}
        followed = {shape.name: shape.follows for shape in everything if shape.name in earlier}
        names = [item.strength for sculpt in sculpts for item in sculpt.pose if isinstance(item, StrengthPose)]
        names += [name for name in followed.values() if name is not None]
        stripped = (without_words(shape)._replace(follows=followed.get(shape.name)) for shape in everything)
        return (*stripped, *self._all_made_of(names))

    def of_region(self, region: Region) -> tuple[Hashable, ...]:
        """What the pose speaks of that a region is found in, and what the shapes that may be on there follow."""
        pose = pose_of(region.source)
        follows = [self._shapes[name].follows for name in shapes_of(region.source) if pose and name in self._shapes]
        names = [item.strength for item in pose if isinstance(item, StrengthPose)]
        return (*follows, *self._all_made_of([*names, *(name for name in follows if name is not None)]))

    def found_with(self, region: Region) -> Iterator[tuple[Shape, ...]]:
        """The shapes that a region is found by or with, with those that share their sculpts."""
        groups = shape_groups(self._shapes.values())
        wanted = set(shapes_of(region.source))
        yield from (group for group in groups.values() if any(shape.name in wanted for shape in group))

    def _all_made_of(self, names: Iterable[str]) -> Iterable[Hashable]:
        return dict.fromkeys(item for name in names for item in self._made_of(name))

    def with_earlier(self, shapes: tuple[Shape, ...]) -> list[Shape]:
        """The shapes, and those that were on while they were sculpted, however far back."""
        result = dict.fromkeys(shapes)
        pending = list(shapes)
        while pending:
            for sculpt in pending.pop().sculpts:
                earlier = [self._shapes[name] for name in sculpt.after if self._shapes[name] not in result]
                result.update(dict.fromkeys(earlier))
                pending += earlier
        return list(result)

    def _made_of(self, name: str) -> Iterator[Hashable]:
        from plica.evaluate.evaluator import strengths_of

        strength = self._strengths[name]
        yield without_words(strength)
        if isinstance(strength, Sample):
            yield without_words(self._fields[strength.field])
        elif isinstance(strength, Driver):
            for control in controls_of(strength.reading):
                yield without_words(self._controls[control])
        elif isinstance(strength, Combine):
            for part in strengths_of(strength.combination):
                yield from self._made_of(part)


class Remembering:
    """One run's way to the memory: knows what each region and shape of a rig is computed from."""

    def __init__(self, rig: Rig, memory: ComputedCache, body: str, locate: Locate, diagnostics: Diagnostics) -> None:
        """`body`: a digest of the mesh, the skeleton and the mirror plane, which everything depends on."""
        self._memory, self._body, self._locate, self._diagnostics = memory, body, locate, diagnostics
        self._rig = rig
        self._regions = {region.name: region for region in rig.regions}
        self._dependencies = Dependencies(rig)

    def symmetry(self, compute: Callable[[], Result]) -> Result:
        """The symmetry map."""
        return self._memory.recall(("symmetry", self._body), self._diagnostics, compute)

    def region(self, region: Region, compute: Callable[[], Result]) -> Result:
        """A region's weights."""
        return self._memory.recall(("region", self._body, self.region_key(region)), self._diagnostics, compute)

    def shapes(self, shapes: tuple[Shape, ...], normals: bool, compute: Callable[[], Result]) -> Result:
        """The shapes of one sculpt."""
        key = self.shapes_key(shapes, normals)
        return self._memory.recall(("shapes", self._body, key), self._diagnostics, compute)

    def shapes_key(self, shapes: tuple[Shape, ...], normals: bool) -> str:
        """What the shapes of one sculpt are computed from, beside the body."""
        everything = self._dependencies.with_earlier(shapes)
        within = dict.fromkeys(shape.within for shape in everything)
        regions = [self.region_key(self._regions[name]) for name in within if name in self._regions]
        files = [self._file(sculpt.file) for shape in everything for sculpt in shape.sculpts]
        names = [shape.name for shape in shapes]
        expected = [expected_text(self._rig, shape) for shape in shapes]  # a draft hangs on it
        return digest_of(names, normals, self._dependencies.of(shapes), regions, files, expected)

    def region_key(self, region: Region) -> str:
        """What a region is computed from, beside the body."""
        source = region.source
        made_of = [self.region_key(self._regions[name]) for name in regions_of(source)]
        made_of += [self._file(file) for file in files_in(source)]
        made_of += [self.shapes_key(group, normals=False) for group in self._dependencies.found_with(region)]
        return digest_of(without_words(region), made_of, self._dependencies.of_region(region))

    def _file(self, file: str) -> str:
        path = self._locate(file)
        return "" if isinstance(path, Refused) else self._memory.digest(path)
