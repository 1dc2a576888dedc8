"""What a repository says of itself, and what an earlier run kept of its characters."""

from __future__ import annotations

import json
from contextlib import suppress
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

from plica import limits
from plica.api.project_jobs import check_spec
from plica.diagnostics import Diagnostics, json_form
from plica.diagnostics.text import render
from plica.project.accepted import Acceptances
from plica.project.members import members
from plica.project.places import Places
from plica.project.reading import read_project
from plica.project.recall import KIND, Job, KeptOutcomes, _key
from plica.project.root import FILE
from plica.prove.cache.disk import DiskCache
from plica.source import Source
from plica.workspace import Refused, text_of
from tests.fuzz.mutate import of_json, of_words
from tests.fuzz.target import Target
from tests.fuzz.targets.scratch import scratch
from tests.fuzz.targets.texts import check_places

_FILES = ("characters/wren/wren.plica", "characters/wren/.hidden.plica", "library/limb.plica", "accepted.toml", "a b/c")


@cache
def _root() -> Path:
    """A project with links that lead outside, to itself, and nowhere."""
    root = scratch("project")
    for name in _FILES:
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).touch()
    outside = Path(mkdtemp(dir=root.parent, prefix=f"{root.name}-outside-"))
    (outside / "secret.plica").touch()
    with suppress(OSError):  # systems without links
        (root / "link").symlink_to(outside)
        (root / "library" / "self").symlink_to(root)
        (root / "nowhere.plica").symlink_to(root / "not there")
    return root


def _project(data: bytes) -> None:
    root = _root()
    (root / FILE).write_bytes(data)
    diagnostics = Diagnostics()
    project = read_project(root, FILE, diagnostics)
    if project is not None:
        real = root.resolve()
        assert all(folder.resolve().is_relative_to(real) for folder in (*project.folders, project.out))
        assert project.accepted_changes is None or project.accepted_changes.resolve().is_relative_to(real)
        with limits.using(limits.in_force()._replace(project_entries=2000)):
            found = members(project, diagnostics)
        assert found is None or all(path.resolve().is_relative_to(real) for path in (*found.specs, *found.clips))
        Acceptances(project).kept(diagnostics.all, FILE)
    else:
        assert diagnostics.has_errors
    check_places(diagnostics.all)
    render(diagnostics.all)
    text = text_of(data, FILE)
    if not isinstance(text, Refused):
        Places(Source(FILE, text))  # also of what is no TOML


def _outcome(data: bytes) -> None:
    """Whatever stands in a cache is none, or an outcome that can be shown."""
    job = Job(check_spec, "/wren.plica", "wren.plica", "{}")
    store = DiskCache(scratch("outcomes"))
    store.put(KIND, _key(job), data)
    with suppress(ValueError, KeyError, TypeError, RecursionError):
        held = json.loads(data)
        held["seen"] = []  # so that it is taken for one that holds
        store.put(KIND, _key(job), json.dumps(held).encode())
    outcome = KeptOutcomes(store).outcome(job)
    if outcome is not None:
        render(outcome.diagnostics)
        json_form.render(outcome.diagnostics)


_TOML = (
    "characters", "libraries", "folders", "clips", "out", "targets", "accept", "accepted-changes", "plica", "finding",
    "because", "within", "=", "[", "]", "[[", "]]", "{", "}", ".", ",", "#", "\n", '"', "'", '"""', "'''",
    '"**"', '"../x"', '"/etc"', '"link/*.plica"', '"library/self/**"', '"nowhere.plica"', '"*"', '"**/**/**/*"',
    '"C:/x"', '"a\\\\b"', '"\\u0000"', '"\\ud800"', "true", "nan", "1979-05-27", "9" * 400, "[" * 300, "{a=" * 300,
    '"' + "*a" * 200 + '"', '"' + "**/" * 70 + 'x"', ".".join("a" * 80), "\0", "\r",
)  # fmt: skip

TARGETS = (
    Target("project", _project, of_words(_TOML), prepare=_root, short=150),
    Target("outcome", _outcome, of_json(depths=(100, 2000)), short=120),
)
