"""What is asked after a command is answered as the ride is when somebody has walked there."""

from __future__ import annotations

import pytest
from diagnosis_rides import work

from pneumo.circuit.action import Inject
from pneumo.circuit.sentence import parse_fault
from pneumo.diagnosis.abreast import Ride, Run
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.questions import Move, OnPanel, Question, Row, moving_questions
from pneumo.diagnosis.suspects import Spot
from pneumo.inspection.survey import Surveyor
from pneumo.scenario.play import Play

TRIPS = "manifold leak 20 mm"


def asked(fault: str) -> list[Question]:
    """Questions that begin with opening the zone, of a ride with a fault and one without."""
    _, of = work()
    compiled, circuit = of.rehearsal.compiled, of.circuit
    rows = []
    for each in (fault, ""):
        play = Play(compiled)
        if each:
            play.act(Inject(parse_fault(each, circuit.components)))
        play.advance(10.0)
        rows.append(Row(Spot("manifold" if each else "", ""), 0.5, Ride(Run(play, 0))))
    move = Move("block", ("block",), closing=False, tripped=False)
    return moving_questions(
        circuit,
        Surveyor(compiled),
        Panel(compiled),
        rows,
        move,
        circuit.longest_movement,
        live=False,
    )


@pytest.mark.parametrize(("fault", "stays_open"), [("manifold leak 1 mm", True), (TRIPS, False)])
def test_what_a_trip_takes_away_is_not_asked(fault: str, stays_open: bool, compiled: None) -> None:
    lines = [question.lines for question in asked(fault)]
    # a hole through which the zone trips is quiet by the time that water is on it
    assert (("open block", "soap manifold") in lines) == stays_open
    assert (("open block",) in lines) != stays_open


def test_what_may_come_of_a_command_is_what_the_panel_shows_then(compiled: None) -> None:
    (question,) = (each for each in asked(TRIPS) if each.lines == ("open block",))
    with_it, without = question.answers
    assert isinstance(with_it, OnPanel) and isinstance(without, OnPanel)
    # what tells most is told first, and it is the same place of both
    for each in (with_it, without):
        assert (each.instrument, each.aspect) == ("block", "first alarm")
    assert with_it.value and without.value == 0.0
