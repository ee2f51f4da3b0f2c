"""The planted faults themselves: that each can still be planted; running them is by hand."""

from tests.mutants.faults import MUTANTS
from tests.places import ROOT


def test_every_fault_finds_its_line_and_its_tests():
    assert len(MUTANTS) >= 40
    assert len({mutant.name for mutant in MUTANTS}) == len(MUTANTS)
    for mutant in MUTANTS:
        text = (ROOT / "bench" / mutant.file).read_text(encoding="utf-8")
        assert text.count(mutant.right) == 1, mutant.name
        assert mutant.right != mutant.wrong and mutant.tests
        for file in mutant.tests:
            assert (ROOT / "tests" / file).is_file(), file
