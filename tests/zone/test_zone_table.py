"""Tests for pneumo/zone/machine.py, guard.py and diagram.py: the table as a whole."""

from __future__ import annotations

import pytest
from transitions import MachineError
from zone_toys import ZONES, Checker, play

from pneumo.zone.diagram import mermaid
from pneumo.zone.logic import ZoneLogic
from pneumo.zone.machine import (
    STANDING,
    STATES,
    TABLE,
    ZONE_MACHINE,
    Cause,
    Row,
    State,
    ZoneMachine,
)
from pneumo.zone.sensed import Spring

EDGES = [(row, source) for row in TABLE for source in row.sources]
"""Every row once for each state it starts in."""


def edge_name(edge: tuple[Row, str]) -> str:
    row, source = edge
    return f"{source}-{row.trigger}-{row.destination}-{row.spring}-{row.guard.__name__}"


def without(edge: tuple[Row, str]) -> ZoneMachine:
    """A machine whose table lacks one row in one state."""
    gone, source = edge
    table = []
    for row in TABLE:
        sources = tuple(s for s in row.sources if row is not gone or s != source)
        if sources:
            table.append(row._replace(sources=sources))
    return ZoneMachine(table)


def test_the_sound_table_keeps_every_rule_and_every_row_is_used() -> None:
    used = set()
    for zone in ZONES:
        for seed in range(60):
            logic, checker = ZoneLogic(zone), Checker(zone)
            for time, sensed, command, scan in play(logic, seed, 12):
                state: State = checker.state
                assert checker.wrongs(time, sensed, command, scan) == []
                for row in scan.rows:
                    used.add((row, state))
                    state = row.destination
    unused = [edge_name(edge) for edge in EDGES if edge not in used]
    assert unused == []


@pytest.mark.parametrize("edge", EDGES, ids=edge_name)
def test_a_table_without_one_row_is_caught(edge: tuple[Row, str]) -> None:
    assert violation(without(edge), edge[0].spring)


def violation(machine: ZoneMachine, spring: str) -> str:
    """The first broken rule in random lives of zones with this table; "" when none is broken."""
    for seed in range(60):
        for zone in ZONES:
            if spring not in ("any", zone.spring):
                continue
            logic, checker = ZoneLogic(zone, machine), Checker(zone)
            try:
                for time, sensed, command, scan in play(logic, seed, 12):
                    if wrongs := checker.wrongs(time, sensed, command, scan):
                        return wrongs[0]
            except LookupError as error:
                return str(error)
    return ""


def test_rows_taken_at_a_scan_form_no_loop() -> None:
    springs: tuple[Spring, ...] = ("open", "close")
    for spring in springs:
        rows = ZONE_MACHINE.sensed_rows(spring)
        ends = {state: {row.destination for row in rows[state]} for state in STATES}
        for _ in STATES:
            ends = {state: {e for m in nexts for e in ends[m]} for state, nexts in ends.items()}
        assert not any(ends.values())


def test_every_fault_row_has_a_cause_and_only_those() -> None:
    assert all((row.destination == "faulted") == (row.cause is not None) for row in TABLE)
    assert {row.cause for row in TABLE} - {None} == set(Cause)
    assert [row.cause for row in STANDING] == list(Cause)


def test_the_machine_refuses_an_edge_from_another_state() -> None:
    logic = ZoneLogic(ZONES[0])
    to_closed = next(row for row in TABLE if row.destination == "closed")
    with pytest.raises(MachineError):
        ZONE_MACHINE.take(to_closed, logic)
    assert logic.state == "open"


def test_the_machine_adds_nothing_to_a_zone() -> None:
    logic = ZoneLogic(ZONES[0])
    assert not hasattr(logic, "trigger") and not hasattr(logic, "is_open")


@pytest.mark.parametrize("spring", ["open", "close"])
def test_the_diagram_shows_every_edge_of_the_table(spring: Spring) -> None:
    lines = mermaid(spring).splitlines()
    assert lines[0] == "stateDiagram-v2"
    for row, source in EDGES:
        if row.spring not in (spring, "any") or (spring == "open" and source == "opening"):
            continue
        (line,) = (x for x in lines if x.strip().startswith(f"{source} --> {row.destination} :"))
        assert row.guard.__name__ == "always" or row.guard.__name__.replace("_", " ") in line
        assert row.cause is None or row.cause in line
    assert any("opening" in line for line in lines) == (spring == "close")
