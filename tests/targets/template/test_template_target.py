"""The target `template`: the documented example, its filters, its walls, and its mistakes as diagnostics."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from plica import limits
from plica.diagnostics import Diagnostics
from plica.emit.artifacts import Request, build_targets
from plica.emit.build import Build
from tests.support.repositories import no_file
from tests.targets.golden_files import check_golden
from tests.targets.rigs import whole_rig

HERE = Path(__file__).resolve().parent
PAGE = HERE.parents[2] / "targets" / "template"
MANY = "range(99999)"
EXAMPLE = PAGE / "example" / "strengths.csv.jinja"


def filled(*templates: Path, output: tuple[str, ...] = ()) -> tuple[dict[str, bytes], Diagnostics]:
    diagnostics = Diagnostics()
    options = {"template": [str(template) for template in templates], "output": list(output)}
    request = Request("template", {name: values for name, values in options.items() if values})
    return dict(build_targets(Build(whole_rig()), (request,), diagnostics).files), diagnostics


def text_of(folder: Path, template: str) -> tuple[str | None, Diagnostics]:
    path = folder / "main.txt.jinja"
    path.write_text(template, encoding="utf-8")
    files, result = filled(path)
    return (files["main.txt"].decode("utf-8") if files else None), result


def test_golden_file_of_the_example() -> None:
    files, result = filled(EXAMPLE)
    assert result.all == ()
    check_golden(files, HERE / "golden")


def test_the_page_shows_the_example() -> None:
    assert f"```jinja\n{EXAMPLE.read_text('utf-8')}```\n" in (PAGE / "README.md").read_text("utf-8")


@pytest.mark.parametrize(
    ("template", "expected"),
    [
        ("{{ rig.character.name }}\n", "wren\n"),
        ("{{ 1.5707963267948966 | degrees }}", "90.0"),
        ("{{ 1 | degrees(2) }}", "57.3"),
        ("{{ 0.0125 | millimetres }}", "12.5"),
        ("{{ -0.0 | millimetres }}", "0.0"),
        ('{{ "\u201c\'\n" | python_literal }}', '"\\u201c\'\\n"'),
        ('{{ "\\"\u201c" | json }}', '"\\"\u201c"'),
        (
            "{{ rig.strengths[0].reading | json }}",
            '{"joint": "left_lowerarm", "axis": [1.0, 0.0, 0.0], "relative_to": null, "kind": "rotation"}',
        ),
        ("{{ rig.strengths[0].span | python_literal }}", "[0.0, 2.2]"),
        ("{{ rig.strengths | length | json }}", "52"),
        ("{% for joint in rig.skeleton %}\n{{ loop.index | python_literal }}\n{% endfor %}\n", "1\n2\n3\n4\n5\n6\n"),
        ("<{{ '&' }}>", "<&>"),
    ],
)
def test_templates_are_filled(template: str, expected: str, tmp_path: Path) -> None:
    text, result = text_of(tmp_path, template)
    assert result.all == ()
    assert text == expected


def test_included_templates_and_output_names(tmp_path: Path) -> None:
    (tmp_path / "parts").mkdir()
    (tmp_path / "parts" / "name.jinja").write_text("{{ rig.character.title }}", encoding="utf-8")
    (tmp_path / "a.jinja").write_text('{% include "parts/name.jinja" %}', encoding="utf-8")
    files, result = filled(tmp_path / "a.jinja", EXAMPLE, output=("lists/{character}.txt", "b.csv"))
    assert result.all == ()
    assert sorted(files) == ["b.csv", "lists/wren.txt"]
    assert files["lists/wren.txt"] == b"Wren, the otter who runs the river post"


MISTAKES = [
    ("not closed", "first\n  {% for a in b %}\n", "template-mistake", 2, "Unexpected end of template"),
    ("unknown filter", "{{ rig | colour }}", "template-mistake", 1, "No filter named 'colour'"),
    ("random", "a\n{{ rig.strengths | random }}", "template-mistake", 2, "No filter named 'random'"),
    ("unknown name", "a\nb\n  {{ rigg.name }}", "template-failed", 3, "'rigg' is undefined"),
    ("unknown attribute", "{{ rig.skeleton[0].a }}", "template-failed", 1, "a `RigJoint` of the rig has no attribute"),
    ("loose end", "{{ rig.skeleton[99] }}", "template-failed", 1, "has no element 99"),
    ("arithmetic", "a\n{{ 1 / 0 }}", "template-failed", 2, "division by zero"),
    ("types", "{{ 'a' | degrees }}", "template-failed", 1, "must be real number"),
    ("private", "{{ rig.__class__ }}", "template-failed", 1, "unsafe"),
    ("classes", "{{ ''.__class__.__mro__[1].__subclasses__() }}", "template-failed", 1, "unsafe"),
    ("format", "{{ '{0.__class__}'.format(rig) }}", "template-failed", 1, "unsafe"),
    ("builtin", "{{ open('/etc/passwd').read() }}", "template-failed", 1, "'open' is undefined"),
    ("changing", "{{ [1].append(2) }}", "template-failed", 1, "unsafe"),
    ("object", "{{ cycler(1) | json }}", "template-failed", 1, "Cycler"),
    ("recursion", "{% macro a() %}{{ a() }}{% endmacro %}\n{{ a() }}", "template-failed", 1, "recursion"),
    ("missing part", "a\n{% include 'no.jinja' %}", "template-unreadable", 2, "`no.jinja` cannot be read"),
    ("part above", "{% include '../secret.jinja' %}", "template-unreadable", 1, "outside the folder"),
    ("absolute part", "{% include '/etc/passwd' %}", "template-unreadable", 1, "outside the folder"),
    ("linked part", "{% include 'link.jinja' %}", "template-unreadable", 1, "outside the folder"),
    ("a pipe", "{% include 'pipe.jinja' %}", "template-unreadable", 1, "not a file"),
    ("a device's name", "{% include 'con.jinja' %}", "template-unreadable", 1, "device"),
    ("line ends", "a\rb\r\n\r {{ rigg.name }}", "template-failed", 4, "'rigg' is undefined"),
    ("the end", "{% if 1 %}\n", "template-mistake", 1, "Unexpected end"),
    ("an empty line at the end", "\r{% if\n", "template-mistake", 2, "nexpected"),
    ("broken part", "x\n{% include 'broken.jinja' %}", "template-mistake", 2, "Unexpected end"),
]


@pytest.mark.parametrize("row", MISTAKES, ids=[row[0] for row in MISTAKES])
def test_mistakes_are_diagnostics_with_a_line(row: tuple[str, str, str, int, str], tmp_path: Path) -> None:
    _, template, name, line, part = row
    folder = tmp_path / "templates"
    folder.mkdir()
    (tmp_path / "secret.jinja").write_text("secret", encoding="utf-8")
    (folder / "link.jinja").symlink_to(tmp_path / "secret.jinja")
    (folder / "con.jinja").touch()
    no_file("pipe", folder / "pipe.jinja")
    (folder / "broken.jinja").write_text("\n{% if 1 %}", encoding="utf-8")
    text, result = text_of(folder, template)
    assert text is None
    assert [each.name for each in result.all] == [name]
    only = result.all[0]
    assert part in only.message
    assert only.span is not None
    assert only.span.end <= len(only.span.source.text)
    assert only.span.source.line_and_column(only.span.start)[0] == line
    assert only.span.source.path.endswith("broken.jinja" if row[0] == "broken part" else "main.txt.jinja")


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux holds a process to so much time and memory")
@pytest.mark.parametrize(
    ("template", "limit"),
    [
        (f"{{% for a in {MANY} %}}{{% for b in {MANY} %}}{{% endfor %}}{{% endfor %}}", "template-seconds=1"),
        ("{{ ('a' * 999999999) ~ ('b' * 999999999) }}", "template-memory-bytes=256MiB"),
    ],
)
def test_a_template_that_asks_for_too_much_is_stopped(template: str, limit: str, tmp_path: Path) -> None:
    with limits.using(limits.raised([limit])):
        text, result = text_of(tmp_path, template)
    assert text is None
    assert [one.name for one in result.all] == ["template-too-long"]
    assert f"--limit {limit.partition('=')[0]}=VALUE" in (result.all[0].hint or "")


def test_nothing_of_the_working_folder_is_imported(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "jinja2.py").write_text("raise SystemExit(7)", "utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.syspath_prepend(tmp_path)  # as `python -m plica` has it
    text, result = text_of(tmp_path, "{{ rig.character.name }}")
    assert (text, result.all) == ("wren", ())


def test_files_that_are_not_there_or_not_text(tmp_path: Path) -> None:
    (tmp_path / "image.jinja").write_bytes(b"\xff\xfe\x00")
    for path in (tmp_path / "none.jinja", tmp_path / "image.jinja", tmp_path):
        files, result = filled(path)
        assert files == {}
        assert [each.name for each in result.all] == ["template-unreadable"]


def test_options_that_do_not_fit() -> None:
    assert [each.name for each in filled()[1].all] == ["template-not-given"]
    assert [each.name for each in filled(EXAMPLE, output=("a", "b"))[1].all] == ["template-outputs-differ"]
    assert [each.name for each in filled(EXAMPLE, EXAMPLE)[1].all] == ["paths-collide"]
