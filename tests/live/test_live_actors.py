"""Actors on a ride that people act on: a train and a mechanic, through all that can be done."""

from __future__ import annotations

import numpy as np
import pytest
from actor_toys import Mechanic, Train
from documents import shipped_text

from pneumo.circuit.action import Fin, HandOverride
from pneumo.circuit.validate import load_text
from pneumo.live.session import Session
from pneumo.scenario.event import Commanded

BLOCK = "02_spring_close_single"


def ride(*, empty: bool = False) -> Session:
    text = shipped_text(BLOCK)
    mechanic = Mechanic("block", "valve", ("manifold", "1"), 3.0e5, 3.003)
    actors = () if empty else (Train("block", 5.0, 1.25, 0.7), mechanic)
    return Session(load_text(text, BLOCK), text, actors)


def done(session: Session, kind: type) -> list[float]:
    return [
        event.time
        for event in session.play.plant.log.events
        if isinstance(event.what, Commanded) and isinstance(event.what.action, kind)
    ]


def same(a: Session, b: Session) -> bool:
    return (
        a.play.now == b.play.now
        and np.array_equal(a.play.plant.state(), b.play.plant.state())
        and a.play.plant.log.events == b.play.plant.log.events
        and a.play.actors.further == b.play.actors.further
    )


@pytest.fixture(scope="module")
def whole() -> Session:
    """Never gone back."""
    session = ride()
    session.advance(4.0)
    session.do("trainer", "open block")
    session.advance(9.0)
    return session


def test_they_act_on_the_ride(whole: Session) -> None:
    assert done(whole, Fin) == pytest.approx([0.7, 1.95, 5.7, 6.95])
    assert len(done(whole, HandOverride)) == 2
    assert [act.sentence for act in whole.acts.journal] == ["open block"], "they are not people's"


def test_going_back_and_a_new_branch_take_them_along(whole: Session) -> None:
    session = ride()
    session.advance(6.0)
    session.go_to(1.0)
    assert done(session, Fin) == pytest.approx([0.7])
    session.go_to_newest()
    assert len(done(session, Fin)) == 3
    session.go_to(3.5)
    session.advance(4.0)
    session.do("trainer", "open block")
    session.advance(9.0)
    assert same(session, whole)


def test_undoing_an_act_leaves_what_they_did(whole: Session) -> None:
    session = ride()
    session.advance(2.0)
    session.do("trainer", "close block")
    session.advance(4.0)
    session.do("trainer", "open block")
    session.advance(9.0)
    session.undo()
    session.undo()
    alone = ride()
    alone.advance(9.0)
    assert same(session, alone)
    assert len(done(session, Fin)) == 4


def test_a_journal_played_anew_with_the_same_actors_is_the_same_ride(whole: Session) -> None:
    later = ride()
    later.advance(2.2)
    later.restart(whole.acts.journal, 9.0)
    assert same(later, whole)
    without = ride(empty=True)
    without.restart(whole.acts.journal, 9.0)
    assert done(without, Fin) == []


def test_a_check_beside_the_ride_takes_them_along_and_leaves_the_ride(whole: Session) -> None:
    session = ride()
    session.advance(4.0)
    session.do("trainer", "open block")
    session.advance(5.0)
    session.begin_check("block", None)
    session.advance(6.0)
    assert [t for t in done_in_check(session) if t > 5.0] == pytest.approx([5.7])
    session.leave_check()
    session.advance(9.0)
    assert same(session, whole)


def done_in_check(session: Session) -> list[float]:
    return [
        event.time
        for event in session.shown.plant.log.events
        if isinstance(event.what, Commanded) and isinstance(event.what.action, Fin)
    ]
