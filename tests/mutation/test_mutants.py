"""The mutation run makes faults, and notices whether they are noticed."""

from __future__ import annotations

from pathlib import Path

from tests.mutation.choice import OF_EVERY_MODULE, Executed, batches
from tests.mutation.mutants import Mutant, mutants_of, mutated
from tests.mutation.trial import Fault, Trials
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


def test_no_fault_is_in_what_only_a_type_checker_sees(tmp_path: Path) -> None:
    module = tmp_path / "module.py"
    module.write_text("from typing import TYPE_CHECKING\n\nif TYPE_CHECKING:\n    a = 1\n", "utf-8")
    assert mutants_of(module) == []


def test_a_fault_that_matters_is_noticed_and_nothing_on_disk_changes() -> None:
    before = (ROOT / MODULE).read_bytes()
    mutants = [mutant for mutant in mutants_of(ROOT / MODULE) if mutant.change == "Div to Mult"]
    tests = ["tests/outside/test_monotone_cubic.py"]
    trials = Trials()
    try:
        assert trials.run(Fault(MODULE.as_posix(), None), tests, 60.0).status == 0
        faulty = (trials.run(Fault(MODULE.as_posix(), mutant.number), tests, 60.0) for mutant in mutants[:4])
        assert any(one.status == 1 and "FAILED tests/outside/test_monotone_cubic.py" in one.output for one in faulty)
    finally:
        trials.close()
    assert (ROOT / MODULE).read_bytes() == before


def test_a_mutant_is_named_by_what_it_is_and_not_by_where_it_stands(tmp_path: Path) -> None:
    module = tmp_path / "module.py"
    text = "def least(a):\n    return a < 1\n\n\ndef most(a):\n    return a < 1 < 1\n"
    module.write_text(text, "utf-8")
    keys = [mutant.key.removeprefix(f"{module.as_posix()}: ") for mutant in mutants_of(module)]
    assert sorted(keys) == [
        "least: return a < 1: 1 to 2",
        "least: return a < 1: Lt to LtE",
        "most: return a < 1 < 1: 1 to 2",
        "most: return a < 1 < 1: 1 to 2 (2)",
        "most: return a < 1 < 1: Lt to LtE",
        "most: return a < 1 < 1: Lt to LtE (2)",
    ]
    module.write_text("# A comment.\n\n\n" + text, "utf-8")
    assert [mutant.key.removeprefix(f"{module.as_posix()}: ") for mutant in mutants_of(module)] == keys


def test_the_tests_of_a_line_come_before_those_of_its_module_and_quick_ones_first() -> None:
    mutant = Mutant(Path("compiler/a.py"), 0, 3, "a < b", "Lt to LtE", "key")
    lines = {
        "compiler/a.py": {3: ["slow", "many[1]", "many[2]", "quick"], 4: ["elsewhere"]},
        "compiler/b.py": {3: ["other"]},
    }
    seconds = {"slow": 5.0, "many[1]": 1.0, "many[2]": 1.0, "quick": 1.5, "elsewhere": 0.1, "other": 0.1}
    everywhere = list(OF_EVERY_MODULE)
    (batch,) = batches(mutant, Executed(lines, seconds), 60.0)
    assert batch.tests == ["many[1]", "quick", "many[2]", "slow", "elsewhere", *everywhere]
    (batch,) = batches(mutant, Executed(lines, seconds), 4.0)
    assert batch.tests == ["many[1]", "quick", "many[2]", "elsewhere", *everywhere]
    (batch,) = batches(mutant._replace(module=Path("compiler/c.py")), Executed(lines, seconds), 60.0)
    assert batch.tests == everywhere


def test_a_test_that_reads_a_constant_faces_the_mutants_of_it() -> None:
    test = "tests/outside/test_monotone_cubic.py::test_a"
    mutant = Mutant(Path("compiler/curves.py"), 0, 3, "A = 1", "1 to 2", "key")
    (batch,) = batches(mutant, Executed({}, {test: 1.0, "tests/commands/test_demo.py::test_b": 1.0}), 60.0)
    assert batch.tests == [test, *OF_EVERY_MODULE]
