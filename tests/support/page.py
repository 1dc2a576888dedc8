"""Pages whose examples are run: files that they write, commands, Python, and what a reader does in between.

A page is run in its order. A fenced block in `sh` is run line by line: `plica` in this process, `python` in one of its
own, `!` before a command that is to fail. A block in `python` is run, and prints what the plain block after it says. A
block of any other kind right after a line that names a file in backquotes is written to that file. What a person does
between stands in a comment: `<!-- edit MODEL -->`, `<!-- sculpt MESH -->`, `<!-- replace FILE "OLD" "NEW" -->`,
`<!-- commit -->`.
"""

from __future__ import annotations

import contextlib
import io
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from plica.commands.main import run
from plica.demo import demo_files
from plica.diagnostics import Diagnostics
from plica.emit.writer import write
from plica.mesh.obj_mesh import read_obj
from tests.support.sculpted import bumped, obj
from tests.variants.model_file import read_model, write_model

_STEP = re.compile(
    r"^```(?P<kind>\w+)\n(?P<text>.*?)^```\n(?:\n```\n(?P<printed>.*?)```\n)?"
    r"|<!-- (?P<act>edit|sculpt|replace|commit)(?P<words>.*?) -->",
    re.DOTALL | re.MULTILINE,
)
_NAMED = re.compile(r"`([\w./-]+\.\w+)`")


def as_an_author(monkeypatch: pytest.MonkeyPatch, folder: Path) -> None:
    """A cache of its own, below a folder, and a name to commit under."""
    for variable, value in (("XDG_CACHE_HOME", folder / "cache"), ("GIT_CONFIG_GLOBAL", folder / "none")):
        monkeypatch.setenv(variable, str(value))
    for role in ("AUTHOR", "COMMITTER"):
        monkeypatch.setenv(f"GIT_{role}_NAME", "Wren")
        monkeypatch.setenv(f"GIT_{role}_EMAIL", "wren@example.org")


class Page:
    """A page, run in a folder that is the working directory."""

    def __init__(self, path: Path, change_folder: Callable[[str], None]) -> None:
        self.text, self.change_folder = path.read_text("utf-8"), change_folder
        self.names: dict[str, object] = {}

    def run(self, own: Callable[[str], str] = lambda text: text) -> int:
        """Run every step and give their number. `own`: makes a block of commands into that of this reader."""
        steps = list(_STEP.finditer(self.text))
        for step in steps:
            if step["act"]:
                _ACTS[step["act"]](*shlex.split(step["words"]))
            elif step["kind"] == "sh":
                for line in own(step["text"]).strip().split("\n"):
                    self.command(line)
            elif step["kind"] == "python":
                self.python(step["text"], step["printed"])
            else:
                self.file(step.start(), step["text"])
        return len(steps)

    def command(self, line: str) -> None:
        """Run one command."""
        words = shlex.split(line, comments=True)
        fails = words[0] == "!"
        name, *rest = words[1:] if fails else words
        if name == "cd":
            self.change_folder(rest[0])
        elif name == "cp":
            shutil.copyfile(*rest)
        elif name == "plica" and rest[0] == "demo":
            write(demo_files(), Path(rest[1]), Diagnostics())
        elif name == "plica":
            output = io.StringIO()
            with contextlib.redirect_stdout(output), contextlib.redirect_stderr(output):
                code = run(rest)
            assert code == (1 if fails else 0), (line, code, output.getvalue()[-3000:])
        else:
            assert name in ("git", "python"), line
            program = sys.executable if name == "python" else name
            done = subprocess.run([program, *rest], capture_output=True, text=True, check=False)
            assert (done.returncode != 0) == fails, (line, done.stdout, done.stderr)

    def python(self, text: str, printed: str | None) -> None:
        """Run Python, and hold what it prints against the page."""
        output, path = io.StringIO(), list(sys.path)
        try:
            with contextlib.redirect_stdout(output):
                exec(text, self.names)
        finally:
            sys.path[:] = path
        assert output.getvalue().rstrip() == (printed or "").rstrip()

    def file(self, start: int, text: str) -> None:
        """Write a block to the file that the text before it named last."""
        line = self.text[:start].rstrip().rsplit("\n\n", 1)[-1]
        named = _NAMED.findall(line)
        assert named, f"no file is named before the block: {text[:80]}"
        path = Path(named[-1])
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")


def _edit(file: str) -> None:
    """Move some vertices of a model."""
    model = read_model(Path(file))
    [skin] = [one for mesh in model.meshes for one in mesh.primitives]
    skin.positions[np.argsort(skin.positions[:, 1])[-30:]] += [0.0, 0.01, 0.0]
    write_model(model, Path(file))


def _sculpt(file: str) -> None:
    """Push out a place on the outer left of the body, which the bent arm reaches."""
    mesh = read_obj(Path(file))
    place = mesh.positions[np.argsort(mesh.positions[:, 0])[-min(400, len(mesh.positions) // 10)]]
    middle = int(np.argmin(np.abs(mesh.positions - place).sum(axis=1)))
    Path(file).write_bytes(obj(bumped(mesh.positions, middle, 2.0, 0.4), mesh.triangles))


def _replace(file: str, old: str, new: str) -> None:
    """Put one text for another."""
    text = Path(file).read_text("utf-8")
    assert old in text, (file, old)
    Path(file).write_text(text.replace(old, new), "utf-8")


def _commit() -> None:
    """Commit everything, into a repository made for it."""
    for words in (("init", "--quiet", "--initial-branch", "main"), ("add", "."), ("commit", "--quiet", "-m", "before")):
        subprocess.run(["git", *words], check=True)


_ACTS: dict[str, Callable[..., None]] = {"edit": _edit, "sculpt": _sculpt, "replace": _replace, "commit": _commit}
