"""The mutation run makes faults, and notices whether they are noticed."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from tests.mutation.mutants import mutants_of, mutated
from tests.support.data import ROOT

MODULE = Path("compiler/curves.py")


def test_a_module_has_mutants_and_each_is_a_text_of_its_own() -> None:
    mutants = mutants_of(ROOT / MODULE)
    texts = {mutated(ROOT / MODULE, mutant.number) for mutant in mutants}
    assert len(mutants) > 20 and len(texts) > 0.9 * len(mutants)
    for text in texts:
        compile(text, "mutant", "exec")


def test_no_fault_is_in_an_annotation_or_a_docstring(tmp_path: Path) -> None:
    module = tmp_path / "module.py"
    module.write_text(
        '"""Less than 1."""\n\ndef one(a: "int < 2" = 3) -> "int > 4":\n    """5 < 6"""\n    return a\n', "utf-8"
    )
    assert [mutant.change for mutant in mutants_of(module)] == ["3 to 4"]


def trial(number: int, test: str) -> int:
    command = [sys.executable, "-m", "tests.mutation.trial", MODULE.as_posix(), str(number), test]
    return subprocess.run(command, cwd=ROOT, capture_output=True, check=False).returncode


def test_a_fault_that_matters_is_noticed_and_nothing_on_disk_changes() -> None:
    before = (ROOT / MODULE).read_bytes()
    mutants = [mutant for mutant in mutants_of(ROOT / MODULE) if mutant.change in ("Div to Mult",)]
    assert any(trial(mutant.number, "tests/outside/test_monotone_cubic.py") == 1 for mutant in mutants[:4])
    assert (ROOT / MODULE).read_bytes() == before
