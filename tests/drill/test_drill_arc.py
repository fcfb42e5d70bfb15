"""The arc of a drill, row by row."""

from __future__ import annotations

import pytest
from transitions import MachineError

from pneumo.drill.arc import OVER, TABLE, WORKING, Arc, State, Step
from pneumo.errors import InputError

STEPS: tuple[Step, ...] = tuple(dict.fromkeys(row.step for row in TABLE))


def at(state: State) -> Arc:
    """An arc that stands somewhere."""
    ways: dict[State, tuple[Step, ...]] = {
        "briefing": (),
        "at work": ("begin",),
        "finding stated": ("begin", "finding"),
        "repaired": ("begin", "finding", "repair"),
        "tested": ("begin", "finding", "function test"),
        "handed back": ("begin", "finding", "hand back"),
        "stopped": ("begin", "accident"),
        "given up": ("begin", "give up"),
    }
    arc = Arc()
    for step in ways[state]:
        arc.take(step)
    assert arc.state == state
    return arc


@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize("state", ("briefing", *WORKING, *OVER))
def test_a_step_leads_where_the_table_says_and_nowhere_else(state: State, step: Step) -> None:
    arc = at(state)
    row = next((row for row in TABLE if row.step == step and state in row.sources), None)
    if row is None:
        with pytest.raises(MachineError):
            arc.take(step)
        assert arc.state == state
        if step != "accident":
            with pytest.raises(InputError):
                arc.check(step)
    else:
        arc.check(step)
        arc.take(step)
        assert arc.state == row.destination


def test_nothing_is_done_before_it_begins_or_after_it_is_over() -> None:
    for state in ("briefing", *OVER):
        with pytest.raises(InputError):
            at(state).check(None)
    for state in WORKING:
        at(state).check(None)


def test_a_repair_needs_a_finding() -> None:
    with pytest.raises(InputError, match="State your finding first"):
        at("at work").check("repair")
