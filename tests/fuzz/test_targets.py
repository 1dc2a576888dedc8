"""Every target for a short while, the same inputs every time, and every input that was ever found to be taken badly.

For longer: `python -m tests.fuzz --seconds 3600`.
"""

from __future__ import annotations

import pytest

from tests.fuzz import campaign
from tests.fuzz.campaign import Plan
from tests.fuzz.target import FOUND, Target, files_in, open_findings
from tests.fuzz.targets import TARGETS

SEED = 1


def _able(target: Target) -> None:
    if lacking := campaign.missing(target):
        pytest.skip(f"{', '.join(lacking)} is not installed")


@pytest.mark.parametrize("target", TARGETS.values(), ids=list(TARGETS))
def test_what_was_found_stays_mended_and_a_short_run_finds_nothing_new(target: Target) -> None:
    """In one process, which takes a second to start: first the inputs that were found, then some by chance."""
    _able(target)
    paths = files_in(FOUND / target.name)
    outcome = campaign.run(target, Plan("both", SEED, inputs=target.short, files=tuple(paths)))
    causes = {paths[number].name: finding.cause for number, finding in outcome.of_files.items()}
    known = {file: cause for (of, file), cause in open_findings().items() if of == target.name}
    assert causes == known, "found/open.txt names what is not mended, and nothing else"
    new = [one for one in outcome.findings if one.cause not in known.values()]
    assert new == [], "\n\n".join(f"{one.cause}\n{one.data!r}\n{one.detail}" for one in new)
    assert outcome.inputs >= len(paths) + target.short


def test_what_was_found_is_of_targets_that_there_are() -> None:
    assert {path.name for path in FOUND.iterdir() if path.is_dir()} <= set(TARGETS)


def test_open_findings_are_of_files_that_are_there() -> None:
    for target, name in open_findings():
        assert (FOUND / target / name).is_file()
