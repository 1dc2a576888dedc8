"""Hostile names through the commands: whatever files, clips, joints and notes are called, each form stays as it is."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from contextlib import chdir, contextmanager, redirect_stderr, redirect_stdout
from io import StringIO
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from jsonschema import Draft7Validator

from plica.commands.main import run
from plica.editor.hovering import entries
from plica.editor.open_documents import OpenDocuments
from tests.commands.test_measure import CLIP
from tests.diff.test_outputs import log_schema
from tests.support.hostile import assert_only, assert_plain, file_names, hostile, in_a_file

FEW = settings(max_examples=15, deadline=None)
COMMAND = re.compile(r"::(error|warning|notice) (?:\w+=[^,:]*)(?:,\w+=[^,:]*)*::")


class Said(NamedTuple):
    """What a command wrote, and its exit code."""

    code: int
    out: str
    err: str


def said(*arguments: str) -> Said:
    out, err = StringIO(), StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        try:
            code = run(list(arguments))
        except SystemExit as end:
            code = int(str(end.code))
    return Said(code, out.getvalue(), err.getvalue())


@contextmanager
def folder() -> Iterator[Path]:
    """The current folder, with a clip in it."""
    with TemporaryDirectory() as name, chdir(name):
        write(Path("kick.bvh"), CLIP)
        yield Path()


def quoted(text: str) -> str:
    """A text as the language writes it; braces would be placeholders."""
    plain = re.sub("[{}]", "", in_a_file(text))
    return '"' + plain.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") + '"'


def spec(note: str, clip: str, joint: str, width: int = 30) -> str:
    """A character that is moved by a clip, with hostile texts wherever the language takes any."""
    return f"""plica 1
character stroller {quoted(note)} {{
    skeleton {{
        joint Hips at 0 m, 1 m, 0 m
        joint LeftLeg under Hips at 0 m, -50 cm, 0 m
        joint {quoted("j" + joint)} under Hips at 0 m, -60 cm, 0 m
    }}
}}
driver kick {{
    reads rotation about x of LeftLeg
    span 0 deg .. {width} deg
    note {quoted(note)}
}}
driver other {{
    reads rotation about x of {quoted("j" + joint)}
    span 0 deg .. 20 deg
}}
expect {{ smooth kick within 0.01  over clip {quoted(clip)} }}
expect {{ reach other }}
"""


def named_in_a_spec(file: str) -> str:
    """A file's name that a spec may use: one that every system takes, and without braces."""
    return "kk" + re.sub(r'[\\{}<>:"|?*\x00-\x1f\x7f-\x9f]', "", in_a_file(file))


def write(path: Path, text: str) -> None:
    path.write_bytes(text.encode("utf-8"))


def assert_commands(text: str) -> None:
    """Every line is one of our commands, and nothing else stands in it."""
    assert_plain("".join(line[2:] + "\n" for line in text.splitlines()))
    for line in text.split("\n")[:-1]:
        assert COMMAND.match(line), line


def assert_sarif(text: str) -> None:
    log = json.loads(text)
    assert text.isascii()
    assert_plain(text)
    assert list(Draft7Validator(log_schema()).iter_errors(log)) == []
    for result in log["runs"][0]["results"]:
        assert_plain(result["message"]["text"])


@given(hostile, file_names(".plica"), hostile)
@FEW
def test_check(note: str, file: str, mistake: str) -> None:
    with folder() as here:
        file = f"s{file}" if file.startswith("-") else file
        right, wrong = spec(note, "kick.bvh", note), f"plica 1\ncharacter {in_a_file(mistake)}\n"
        for place, text, code in ((file, right, 0), (f"w{file}", wrong, 1)):
            write(here / place, text)
            result = said("check", place)
            assert result.code == code
            assert_plain(result.out + result.err)
            assert_commands(said("check", place, "--format", "github").out)
            assert_sarif(said("check", place, "--format", "sarif").out)
            assert said("check", place, "--format", "json").out.isascii()
            assert_plain(said("format", "--diff", place).out.replace("\t", ""))


@given(file_names(".bvh"), file_names(".plica"), hostile)
@FEW
def test_measure(clip: str, file: str, joint: str) -> None:
    with folder() as here:
        write(here / f"k{clip}", CLIP)
        write(here / f"s{file}", spec("a note", "kick.bvh", joint))
        for form in ("text", "json"):
            result = said("measure", f"s{file}", "--clip", f"./k{clip}", "--format", form)
            assert result.code == 0
            assert_plain(result.out + result.err)
            assert form == "text" or json.loads(result.out)["clips"]


@given(hostile, file_names(".bvh"), hostile)
@FEW
def test_prove(note: str, clip: str, joint: str) -> None:
    named, given = named_in_a_spec(clip), f"./k{clip}"
    with folder() as here:
        for place in (named, given):
            write(here / place, CLIP)
        write(here / "s.plica", spec(note, named, joint))
        arguments = ("prove", "s.plica", "--clip", given, "--no-cache", "--workers", "1", "--format")
        result = {form: said(*arguments, form) for form in FORMS}
        assert {one.code for one in result.values()} == {1}
        for one in result.values():
            assert_plain(one.err)
        assert_plain(result["text"].out)
        assert_commands(result["github"].out)
        assert_sarif(result["sarif"].out)
        assert_plain(result["json"].out)
        assert len(json.loads(result["json"].out)["results"]) == 2
        assert_plain(result["junit"].out)
        assert [len(suite) for suite in ElementTree.fromstring(result["junit"].out)] == [2]


FORMS = ("text", "github", "sarif", "json", "junit")


@given(hostile, hostile, file_names(".bvh"))
@FEW
def test_diff(old: str, new: str, clip: str) -> None:
    clip = named_in_a_spec(clip)
    with folder() as here:
        for name, note, width in (("a", old, 30), ("b", new, 40)):
            (here / name).mkdir()
            used = clip if name == "a" else "kick.bvh"
            write(here / name / used, CLIP)
            write(here / name / "s.plica", spec(note, used, old, width))
        result = {
            form: said("diff", "a/s.plica", "b/s.plica", "--format", form)
            for form in ("text", "github", "sarif", "json", "markdown")
        }
        assert {one.code for one in result.values()} == {1}, result["text"].err
        assert_plain(result["text"].out)
        assert_commands(result["github"].out)
        assert_sarif(result["sarif"].out)
        assert json.loads(result["json"].out)["changes"]
        assert_plain(result["markdown"].out)
        folding = {"details", "summary", "pre"}
        assert_only(result["markdown"].out, {"h2", "h3", "p", "ul", "li", "strong", "code", *folding})


@given(hostile, hostile)
@FEW
def test_hovering(note: str, joint: str) -> None:
    project = OpenDocuments()
    project.set_text("file:///s.plica", spec(note, "none.bvh", joint), None)
    analysis = project.analysis("file:///s.plica")
    assert analysis is not None
    for name in ("kick", "other"):
        for shown in entries(analysis, ("strength", name)):
            assert_plain(shown)
            assert_only(shown, {"p", "ul", "li", "strong", "code"})


@pytest.mark.parametrize(
    "command", ["check", "build", "prove", "measure", "start", "format", "explain", "diff", "watch"]
)
def test_what_is_wrong_on_the_command_line(command: str) -> None:
    for arguments in (
        ["--x\n::error::owned\x1b[2J"],
        ["\n::error::owned\x1b[2J\u202e"],
        ["a", "\n##[error]b"],
        ["a", "--out", "\n::c"],
    ):
        with folder():
            result = said(command, *arguments)
        assert result.code in (1, 2)
        assert_plain(result.out + result.err)
