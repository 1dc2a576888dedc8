"""Two states of one small character, built, and what readers of the outputs make of a folder."""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from types import ModuleType
from typing import NamedTuple

from plica.diagnostics import Diagnostics
from plica.diff.built_offsets import with_stored_offsets
from plica.emit.artifacts import Request, build_targets
from plica.emit.output_set import OutputSet, read_manifest
from plica.emit.prepare import prepare
from plica.emit.publish import tell_outdated
from plica.mesh.npz import ArchiveError
from plica.pipeline import compile_file
from plica.rig.rig_json import RigFormatError, read_rig
from plica.workspace import Workspace
from tests.support.cloth import SPEC, cloth

NEW_SPEC = SPEC.replace("90 deg", "80 deg") + (
    "region near { skin of base }\nfold ripples { in weave   area near   follows lift }\n"
)
TEMPLATE = "{{ rig.build }} {{ rig.strengths[0].span[1] | degrees }}\n"
TARGETS = ("json", "python", "masks", "template")
OPTIONS = {"masks": {"size": ["64"], "channels": ["1"]}, "template": {"template": ["spans.txt.jinja"]}}


class States(NamedTuple):
    """Builds of two states of one character: every file differs, and the new state has one more."""

    old: OutputSet
    new: OutputSet


def spec_of(folder: Path, text: str) -> Path:
    """A spec with the files and the template that it is built with."""
    spec = cloth(folder, text)
    (folder / "spans.txt.jinja").write_text(TEMPLATE, "utf-8")
    return spec


def built(
    folder: Path, text: str, targets: Iterable[str] = TARGETS, diagnostics: Diagnostics | None = None
) -> OutputSet:
    """What a spec is built to."""
    spec = spec_of(folder, text)
    options = {**OPTIONS, "template": {"template": [str(folder / "spans.txt.jinja")], "output": ["more/spans.txt"]}}
    told = Diagnostics() if diagnostics is None else diagnostics
    made = prepare(compile_file(spec), folder, (), told)
    assert made is not None, [item.message for item in told.all]
    return build_targets(made, [Request(name, options.get(name, {})) for name in targets], told)


def states(folder: Path) -> States:
    """The two states, built."""
    made = States(built(folder / "old", SPEC), built(folder / "new", NEW_SPEC))
    assert set(made.old.files) < set(made.new.files) and len(made.new.files) == 9
    assert all(content != made.new.files[path] for path, content in made.old.files.items())
    return made


def everything_in(folder: Path) -> dict[str, bytes]:
    """The files below a folder by relative path."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()
    }


def leftovers(folder: Path) -> list[str]:
    """What killed builds left beside their files."""
    return [path for path in everything_in(folder) if Path(path).name.startswith(".plica")]


def accepted(folder: Path, sets: Iterable[OutputSet]) -> dict[str, tuple[str, ...]]:
    """For each reader that accepts what it finds in a folder, the files that it says go together.

    A folder that holds the same files with the same contents as one that was read before is not read again.
    """
    sets = tuple(sets)
    contents = tuple((path, sha256(content).digest()) for path, content in everything_in(folder).items())
    builds = tuple((one.build, *one.files) for one in sets)
    if (contents, builds) not in _accepted:
        _accepted[contents, builds] = _read(folder, sets)
    return _accepted[contents, builds]


_accepted: dict[tuple[Hashable, Hashable], dict[str, tuple[str, ...]]] = {}


def _read(folder: Path, sets: Iterable[OutputSet]) -> dict[str, tuple[str, ...]]:
    result: dict[str, tuple[str, ...]] = {}
    build = build_of_module(folder / "cloth_rig.py")
    if build is not None:
        result["self-test"] = _vouched_for(folder, build)
    with suppress(OSError, RigFormatError, ArchiveError):
        rig = read_rig((folder / "cloth.rig.json").read_text("utf-8"))
        if with_stored_offsets(rig, Workspace(folder)).rig.offsets != rig.offsets:
            result["diff"] = ("cloth.rig.json", "cloth.offsets.npz")
    for one in sets:
        problems = Diagnostics()
        tell_outdated(one, folder, "cloth.plica", problems)
        if not problems.all:
            result["current"] = (*one.files,)
    return result


def build_of_module(path: Path) -> str | None:
    """The build of a module whose self-test passes, as `python cloth_rig.py --self-test` would; None where not."""
    module = ModuleType("built")
    module.__file__ = str(path)
    try:
        exec(compile(path.read_bytes(), str(path), "exec"), module.__dict__)
        problem: str | None = module.self_test()
    except OSError:
        return None
    return module.BUILD if problem is None else None


def _vouched_for(folder: Path, build: str) -> tuple[str, ...]:
    """The files that a module whose self-test passed goes together with, by the manifest where there is one."""
    manifest = folder / "cloth.manifest.json"
    if not manifest.exists():
        return "cloth_rig.py", "cloth.vectors.json"
    entries = read_manifest(manifest.read_bytes()).entries.values()
    return tuple(one.file for one in entries if one.build == build and (folder / one.file).exists())


def mixed(folder: Path, files: Iterable[str], sets: Iterable[OutputSet]) -> bool:
    """Whether files that a reader accepted together are those of no single set."""
    here = {path: (folder / path).read_bytes() for path in files}
    return not any(all(one.files.get(path) == content for path, content in here.items()) for one in sets)


def mixed_sets_accepted(folder: Path, sets: Iterable[OutputSet]) -> list[str]:
    """The readers that say yes to files that do not belong together; empty where all is well."""
    sets = tuple(sets)
    return [reader for reader, files in accepted(folder, sets).items() if mixed(folder, files, sets)]
