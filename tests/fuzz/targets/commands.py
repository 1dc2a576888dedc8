"""Whole commands over a character of which one file was changed: the exit code, and what is written for people."""

from __future__ import annotations

import io
import json
import re
import sys
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from pathlib import Path
from typing import NamedTuple
from xml.etree import ElementTree

from plica.commands import main
from tests.fuzz import character
from tests.fuzz.judge import ReportedError
from tests.fuzz.mutate import after_first_line, of_bytes, of_glb, of_json, of_png, of_words, of_zip
from tests.fuzz.target import CORPUS, Target
from tests.fuzz.targets import motion
from tests.fuzz.targets.arrays import OBJ_WORDS
from tests.fuzz.targets.scratch import scratch
from tests.fuzz.targets.texts import WORDS

FINDINGS = ("text", "json", "sarif", "github")
_REPORTED = re.compile(r"^  (\w+) in ([\w.]+), line \d+, (\S+)$", re.MULTILINE)
# Controls but the line feed; marks that turn the direction of writing (Unicode Standard Annex 9); line separators.
_UNSAFE = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069]")


class Case(NamedTuple):
    """A command's words, the file of the character that is changed, and the forms of output."""

    words: tuple[str, ...]
    file: str
    forms: tuple[str, ...] = ("text",)


_BUILD = ("build", "wren.plica", "--out", "out", "--target", "json", "--target", "python")
_PROVE = ("prove", "wren.plica", "--workers", "1", "--no-cache")
_MEASURE = ("measure", "wren.plica", "--clip")
CASES = {
    "check": Case(("check", "wren.plica", "--axes"), "wren.plica", FINDINGS),
    "check-library": Case(("check", "wren.plica"), "limb.plica", FINDINGS),
    "check-model": Case(("check", "wren.plica"), "wren.glb", FINDINGS),
    "format": Case(("format", "wren.plica", "--check"), "wren.plica", FINDINGS),
    "format-diff": Case(("format", "wren.plica", "--diff"), "wren.plica"),
    "start": Case(("start", "wren.glb"), "wren.glb"),
    "measure": Case((*_MEASURE, "rounds.bvh"), "wren.plica", ("text", "json")),
    "measure-bvh": Case((*_MEASURE, "rounds.bvh"), "rounds.bvh", ("text", "json")),
    "measure-gltf": Case((*_MEASURE, "wren.glb"), "wren.glb", ("text", "json")),
    "diff": Case(("diff", "old.plica", "wren.plica"), "wren.plica", (*FINDINGS, "markdown")),
    "diff-built": Case(("diff", "old.rig.json", "wren.rig.json"), "wren.rig.json", (*FINDINGS, "markdown")),
    "diff-accept": Case(("diff", "old.plica", "wren.plica", "--accept", "accepted.toml"), "accepted.toml"),
    "build": Case(_BUILD, "wren.plica", FINDINGS),
    "build-model": Case(_BUILD, "wren.glb", FINDINGS),
    "build-offsets": Case(_BUILD, "hold.npz", FINDINGS),
    "build-sculpt": Case(_BUILD, "lift.obj", FINDINGS),
    "build-mask": Case((*_BUILD, "--target", "masks", "--option", "masks.size=16"), "patch.png", FINDINGS),
    "build-map": Case((*_BUILD, "--target", "masks", "--option", "masks.size=16"), "relaxed.png", FINDINGS),
    "prove": Case(_PROVE, "wren.plica", (*FINDINGS, "junit")),
    "prove-clip": Case((*_PROVE, "--clip", "rounds.bvh"), "rounds.bvh", (*FINDINGS, "junit")),
    "prove-baseline": Case((*_PROVE, "--baseline", "baseline.json"), "baseline.json", (*FINDINGS, "junit")),
}


def files() -> dict[str, bytes]:
    """The character's files, and those that earlier runs would have left."""
    result = dict(character.files())
    result["old.plica"] = result["wren.plica"].replace(b"100 deg", b"90 deg").replace(b"ease-in", b"smooth")
    for name in ("old.rig.json", "wren.rig.json"):
        result[name] = (CORPUS / "json" / name).read_bytes()
    result["accepted.toml"] = (CORPUS / "toml" / "accepted.toml").read_bytes()
    result["baseline.json"] = (CORPUS / "json" / "baseline.json").read_bytes()
    return result


def _command(data: bytes) -> None:
    """The first line names the case; the rest is the changed file."""
    head, _, content = data.partition(b"\n")
    case = CASES.get(head.decode("ascii", "replace"))
    if case is None:
        return
    folder = scratch("command")
    if not (folder / "wren.plica").exists():
        for name, good in files().items():
            (folder / name).write_bytes(good)
    form = case.forms[zlib.crc32(content) % len(case.forms)]
    words = [_placed(word, folder) for word in case.words]
    changed = folder / case.file
    changed.write_bytes(content)
    try:
        code, out, err = _run([*words, *(("--format", form) if len(case.forms) > 1 else ())])
    finally:
        changed.write_bytes(files()[case.file])
    if code == main.INTERNAL_ERROR:
        kind, module, function = (_REPORTED.findall(err) or [("unknown", "an unknown place", "")])[0]
        raise ReportedError(kind, f"{module}.{function}", err)
    assert code in (0, 1, 2), f"exit code {code}"
    _check_outputs(out, err, form)


def _placed(word: str, folder: Path) -> str:
    return str(folder / word) if word in files() or word == "out" else word


def _run(words: list[str]) -> tuple[int, str, str]:
    """Exit code and both outputs of a command in this process."""
    streams = [io.TextIOWrapper(io.BytesIO(), "utf-8", newline="\n", write_through=True) for _ in range(2)]
    with redirect_stdout(streams[0]), redirect_stderr(streams[1]), _own_input():
        code = main.run(words)
    out, err = (stream.buffer.getvalue().decode("utf-8") for stream in streams)  # type: ignore[attr-defined]
    return code, out, err


@contextmanager
def _own_input() -> Iterator[None]:
    before, sys.stdin = sys.stdin, io.TextIOWrapper(io.BytesIO())
    try:
        yield
    finally:
        sys.stdin = before


def _check_outputs(out: str, err: str, form: str) -> None:
    """What is for programs can be read by them; nothing in any of it steers a terminal or begins a command."""
    for what, text in (("output", out), ("errors", err)):
        assert "MemoryError" not in text, "that memory ran out was taken for a mistake of the input"
        unsafe = _UNSAFE.search(text)
        if unsafe:
            raise ReportedError(f"unsafe {what} as {form}", "plica", repr(text[max(unsafe.start() - 80, 0) :][:200]))
        if form != "github" and re.search("^::", text, re.MULTILINE):
            raise ReportedError(f"command in {what} as {form}", "plica", text)
    if out and form in ("json", "sarif"):
        json.loads(out)
    elif out and form == "junit":
        ElementTree.fromstring(out)


def _seeds() -> Iterable[bytes]:
    good = files()
    return [name.encode() + b"\n" + good[case.file] for name, case in CASES.items()]


_DOCUMENT = of_json(depths=(100, 2000))
_BY_ENDING = {
    ".plica": of_words(WORDS),
    ".glb": of_glb(of_json()),
    ".bvh": of_words(motion.WORDS),
    ".json": _DOCUMENT,
    ".toml": of_words(('"reason"', "=", "[", "]", "{", "}", "a" * 16, "\n", "9" * 5000, "[" * 2000, "nan", "'", "#")),
    ".npz": of_zip(lambda name: of_bytes((b"'|O'", b"'<f8'", b"'<U9'", b"(3,)", b"()", b"(0,)"))),
    ".obj": of_words(OBJ_WORDS),
    ".png": of_png((b"IHDR", b"PLTE", b"tRNS", b"IDAT")),
}
_MUTATORS = {name.encode(): _BY_ENDING[Path(case.file).suffix] for name, case in CASES.items()}

TARGETS = (
    Target(
        "command",
        _command,
        after_first_line(_MUTATORS, of_bytes()),
        more_seeds=_seeds,
        guided=False,
        short=35,
        longest=65_536,
        seconds=8.0,
        memory=512 << 20,
    ),
)
