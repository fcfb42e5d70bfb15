"""A few of the mutants of fuzz.py; PNEUMO_FUZZ says how many, a campaign of them runs by hand."""

from __future__ import annotations

import os

import pytest
from fuzz import mutant, tried

MUTANTS = int(os.environ.get("PNEUMO_FUZZ", "60"))


@pytest.mark.parametrize("number", range(MUTANTS))
def test_a_mutant_is_refused_with_findings_or_runs(number: int) -> None:
    assert tried(mutant(number)) in ("refused", "ran", "stopped")


def test_a_mutant_is_made_again_from_its_number() -> None:
    assert mutant(7) == mutant(7) != mutant(8)
