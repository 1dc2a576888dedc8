"""SARIF and reports of tests against published schemas: tests/data/schemas, licences in tests/data/LICENCES.md."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from io import StringIO
from pathlib import Path
from urllib.parse import urlsplit
from xml.etree import ElementTree

import pytest
import xmlschema
from jsonschema import Draft4Validator

from plica.commands.main import run
from plica.diagnostics import Diagnostics, junit, links
from plica.diagnostics.catalogue import rules
from plica.diagnostics.junit import Case, Suite
from tests.support.data import ROOT, SMALL_DATA
from tests.support.projects import USES, put_down

SARIF = json.loads((SMALL_DATA / "schemas" / "sarif-2.1.0-rtm.5.json").read_text("utf-8"))
TESTS = xmlschema.XMLSchema10(SMALL_DATA / "schemas" / "junit-10.xsd")
BROKEN = "driver x both { reads bend of lowrarm span 0 deg .. 9 deg }\nregion spare both { skin of upperarm }\n"
FAILS = "expect { partition }\n"

Out = Callable[..., str]


@pytest.fixture
def out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Out:
    """What a command writes in a project of which one spec is good, one has mistakes and one expectation is unknown."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.chdir(put_down(tmp_path / "project", {"wren": USES, "heron": BROKEN, "otter": USES + FAILS}))

    def call(*words: str) -> str:
        run(list(words))
        return capsys.readouterr().out

    return call


SPECS = ("characters/wren/wren.plica", "characters/heron/heron.plica")
SARIF_COMMANDS = [
    ("check", *SPECS),
    ("check",),
    ("build", SPECS[1], "--out", "made"),
    ("build",),
    ("prove", "characters/otter/otter.plica", "--workers", "1"),
    ("prove", "--workers", "1"),
    ("format", "--check", *SPECS),
    ("diff", SPECS[0], "characters/otter/otter.plica"),
]


@pytest.mark.parametrize("words", SARIF_COMMANDS, ids=" ".join)
def test_sarif_of_every_command_keeps_the_schema(words: tuple[str, ...], out: Out) -> None:
    text = out(*words, "--format", "sarif")
    document = json.loads(text[text.index("{") : text.rindex("}") + 1])
    Draft4Validator(SARIF).validate(document)
    (run_of_it,) = document["runs"]
    assert run_of_it["automationDetails"]["id"] == f"plica/{words[0]}/"


def test_the_schema_refuses_what_is_no_sarif() -> None:
    assert not Draft4Validator(SARIF).is_valid({"version": "2.1.0", "runs": [{"results": []}]})


@pytest.mark.parametrize("words", [("check", *SPECS), ("check",), ("prove", "--workers", "1")], ids=" ".join)
def test_reports_of_tests_keep_the_schema(words: tuple[str, ...], out: Out) -> None:
    text = out(*words, "--format", "junit")
    TESTS.validate(StringIO(text))
    assert float(ElementTree.fromstring(text).get("time", "")) > 0.0


def test_every_kind_of_test_keeps_the_schema() -> None:
    cases = [Case("a", "b", 1234.5678), Case("a", "c", None, "failure", "why", "more", "x.plica", 3)]
    cases += [Case("a", "d", 0.0, "error", "why"), Case("a", "e", 0.0, "skipped", "not measured")]
    text = junit.document([Suite("one", cases, 2000.0, "x.plica"), Suite("two", [])])
    TESTS.validate(StringIO(text))
    root = ElementTree.fromstring(text)
    assert (root.get("tests"), root.get("failures"), root.get("errors"), root[0].get("skipped")) == ("4", "1", "1", "1")
    assert root[0][1][0].text == "x.plica:3; more"
    assert not TESTS.is_valid(StringIO(text.replace("testcase", "test")))


def anchors() -> set[str]:
    """The anchors of the page's headings, as code hosts make them: lower case, blanks as `-` (common practice)."""
    page = (ROOT / "grammar" / "diagnostics.md").read_text("utf-8")
    return {found[1].lower().replace(" ", "-") for found in re.finditer(r"^#+ (.*)$", page, re.MULTILINE)}


@pytest.mark.parametrize(
    ("stated", "base"),
    [
        ("", "plica:grammar/"),
        ("https://git.example/plica/grammar", "https://git.example/plica/grammar/"),
        ("https://git.example/view?file=", "https://git.example/view?file="),
        ("no address", "plica:grammar/"),
        ('https://x/"\n', "plica:grammar/"),
        ("//host/path/", "plica:grammar/"),
        ("http://[", "plica:grammar/"),
    ],
)
def test_links_are_absolute_and_lead_to_a_heading_of_the_page(
    stated: str, base: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(links.VARIABLE, stated)
    known = anchors()
    for entry in rules().values():
        link = links.rule_page(entry)
        assert link.startswith(f"{base}diagnostics.md#") and urlsplit(link).scheme
        assert link.partition("#")[2] in known
    assert links.page("reference.md") == f"{base}reference.md"


def test_findings_link_to_their_rule() -> None:
    from plica.diagnostics import sarif

    diagnostics = Diagnostics()
    diagnostics.add("stray-brace", None)
    document = json.loads(sarif.render(diagnostics.all, "check"))
    Draft4Validator(SARIF).validate(document)
    (rule,) = document["runs"][0]["tool"]["driver"]["rules"]
    assert rule["helpUri"].endswith("#pl105-stray-brace")
