"""A ride under way: going back, branching and undoing agree with rides that never did so."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from pneumo.circuit.circuit import Event
from pneumo.circuit.validate import load_text
from pneumo.errors import InputError
from pneumo.live.journal import Act, read_act
from pneumo.live.past import GRID
from pneumo.live.session import MOMENT, Session
from pneumo.network.compile import compile_circuit
from pneumo.network.network import copy_for_change
from pneumo.scenario.plant import SimulationError
from pneumo.scenario.play import Play

CIRCUITS = Path(__file__).parents[2] / "circuits"


@cache
def document(name: str) -> str:
    return (CIRCUITS / f"{name}.yaml").read_text(encoding="utf-8")


def session(name: str = "01_spring_open_single") -> Session:
    return Session(load_text(document(name), name), document(name))


def same(a: Session, b: Session) -> None:
    assert a.play.now == b.play.now
    np.testing.assert_array_equal(a.play.plant.state(), b.play.plant.state())
    assert a.play.plant.log.events == b.play.plant.log.events
    assert a.play.plant.log.crossings == b.play.plant.log.crossings


def zone(ride: Session) -> str:
    return next(iter(ride.circuit.zones))


def valve(ride: Session) -> str:
    return ride.plant.outputs[0].component


def test_a_ride_with_acts_is_the_run_of_its_journal() -> None:
    ride = session()
    ride.advance(1.0)
    ride.do("trainee", f"close {zone(ride)}")
    ride.advance(4.03)
    ride.do("trainer", f"in 2 s: fault {valve(ride)} stuck", hidden=True)
    ride.advance(7.0)
    ride.do("trainee", "ride stop")
    ride.advance(12.0)

    play = Play(compile_circuit(ride.circuit))
    play.schedule(
        Event(act.time, read_act(ride.circuit, act.sentence, act.time)[1])
        for act in ride.acts.journal
    )
    play.advance(12.0)
    np.testing.assert_array_equal(play.plant.state(), ride.play.plant.state())
    assert play.plant.log.events == ride.play.plant.log.events
    assert [a.time for a in ride.acts.journal] == pytest.approx([1.0, 6.03, 7.0])


def test_a_ride_that_is_not_as_its_document_says_stays_so_when_it_is_started_anew() -> None:
    circuit = load_text(document("01_spring_open_single"), "single")
    compiled = compile_circuit(circuit)
    network = copy_for_change(compiled.network)
    network.restriction["conductance"] *= 0.5
    rest = Play(replace(compiled, network=network))
    rides = [Session(circuit, ""), Session(circuit, "", rest=rest)]
    found = []
    for ride in (*rides, rides[1]):
        ride.restart([], 1.0)
        ride.do("trainee", f"close {zone(ride)}")
        ride.advance(6.0)
        found.append(ride.play.plant.log.crossings)
    own, other, again = found
    assert [w for _, w, _ in own] == [w for _, w, _ in other]
    assert all(b >= a for (a, *_), (b, *_) in zip(own, other, strict=True))
    assert other[-1][0] > own[-1][0] + 0.05
    assert again == other
    assert rest.now == 0.0


def test_an_act_takes_effect_while_the_ride_stands_still() -> None:
    ride = session()
    ride.advance(1.0)
    frame = ride.frame(1, running=False, speed=1.0, pace=0.0)
    assert not frame.forced_outputs[0]
    ride.do("trainee", f"force {ride.plant.outputs[0].name} on")
    frame = ride.frame(2, running=False, speed=1.0, pace=0.0)
    assert frame.forced_outputs[0] and frame.outputs[0]
    assert frame.time == pytest.approx(1.0, abs=2 * MOMENT)


def test_what_cannot_be_done_changes_nothing() -> None:
    ride, other = session(), session()
    for each in (ride, other):
        each.advance(2.0)
    for wrong in ("close nowhere", "fault nothing leak", "in soon: ride stop", "in 2 s ride stop"):
        with pytest.raises(InputError):
            ride.do("trainer", wrong)
    ride.advance(5.0)
    other.advance(5.0)
    same(ride, other)
    assert not ride.acts.journal


def test_going_back_and_to_the_newest_again_changes_nothing() -> None:
    ride, other = session(), session()
    for each in (ride, other):
        each.advance(1.0)
        each.do("trainee", f"close {zone(each)}")
        each.advance(20.0)
    for back in (0.0, 1.0, 3.7, 19.99):
        ride.go_to(back)
        assert ride.mode == "earlier" and ride.now == back and ride.newest == other.now
    ride.go_to(50.0)
    assert ride.mode == "live"
    ride.go_to(5.0)
    ride.go_to_newest()
    ride.advance(25.0)
    other.advance(25.0)
    same(ride, other)


def test_an_earlier_instant_is_the_one_that_was() -> None:
    ride = session()
    seen = {}
    ride.do("trainee", f"close {zone(ride)}")
    for time in np.arange(0.5, 15.0, 0.7).tolist():
        ride.advance(time)
        seen[time] = ride.play.plant.state()
    for time in sorted(seen, key=lambda t: (t * 7.3) % 1.0):
        ride.go_to(time)
        np.testing.assert_array_equal(ride.play.plant.state(), seen[time])


def test_a_branch_forgets_what_came_after() -> None:
    ride, other = session(), session()
    for each in (ride, other):
        each.advance(1.0)
        each.do("trainee", f"close {zone(each)}")
        each.advance(6.0)
    ride.do("trainer", f"fault {valve(ride)} stuck", hidden=True)
    ride.advance(12.0)
    epoch = ride.recorder.past.epoch
    ride.go_to(6.0)
    # what was done at this very instant is part of it; a moment earlier it is not
    ride.go_to(5.9)
    ride.advance(9.0)
    other.advance(9.0)
    same(ride, other)
    assert not ride.acts.hidden
    past = ride.recorder.past
    assert past.epoch > epoch and past.times[-1] <= 9.0
    assert np.all(np.diff(past.times) > 0.0)


def test_undone_is_never_done_and_redone_is_done() -> None:
    ride, without, done = session(), session(), session()
    for each in (ride, without, done):
        each.advance(1.0)
        each.do("trainee", f"close {zone(each)}")
        each.advance(3.0)
        if each is not without:
            each.do("trainer", f"fault {valve(each)} stuck")
            each.advance(4.0)
        each.advance(5.0)
        each.do("trainee", "ride stop")
        each.advance(9.0)
    assert ride.undo().sentence == f"fault {valve(ride)} stuck"
    same(ride, without)
    ride.redo()
    same(ride, done)
    with pytest.raises(InputError, match="nothing to redo"):
        ride.redo()
    ride.undo()
    with pytest.raises(InputError, match="nothing to undo"):
        ride.undo()


WORK = (
    "replace valve_a", "reconnect valve_a.14", "refit hose_1", "block brake_1", "block block",
    "swap valve_a.14 valve_b.14", "unblock brake_1",
)  # fmt: skip
"""At circuit 03."""


def at_work(*sentences: str) -> Session:
    """A ride with faults, at 6 s, at which all this was done at 3 s."""
    ride = session("03_redundant_series_valves")
    for fault in ("valve_a stuck-actuated", "valve_a output-stuck-on", "hose_1 leak 2 mm"):
        ride.do("trainer", f"fault {fault}", hidden=True)
    ride.do("trainee", "block brake_2")
    ride.advance(1.0)
    ride.do("trainee", f"close {zone(ride)}")
    ride.advance(3.0)
    for sentence in sentences:
        ride.do("trainer", sentence)
    ride.advance(6.0)
    return ride


@pytest.mark.parametrize("sentence", WORK)
def test_work_at_the_machine_can_be_undone_redone_and_gone_back_before(sentence: str) -> None:
    ride, done, without = at_work(sentence), at_work(sentence), at_work()
    assert faults(done) != faults(without) or "swap" in sentence or "block" in sentence
    assert ride.undo().sentence == sentence
    same(ride, without)
    ride.redo()
    same(ride, done)
    ride.go_to(2.0)
    assert len(faults(ride)) == 3
    ride.go_to_newest()
    same(ride, done)
    ride.go_to(2.9)
    ride.advance(6.0)
    same(ride, without)


def test_a_journal_of_work_comes_back_from_its_sentences() -> None:
    ride = at_work(*WORK)
    other = session("03_redundant_series_valves")
    other.restart(ride.acts.journal, ride.now)
    assert other.acts.journal == ride.acts.journal
    np.testing.assert_array_equal(other.play.plant.state(), ride.play.plant.state())
    frames = [each.frame(1, running=False, speed=1.0, pace=0.0) for each in (ride, other)]
    for frame in frames:
        assert frame.blocked == ("brake_2",) and len(frame.swapped) == 2
        assert frame.faults == ()


def test_a_later_act_ends_what_could_be_done_again() -> None:
    ride = session()
    ride.do("trainer", f"fault {valve(ride)} stuck")
    ride.undo()
    ride.do("trainer", "power off")
    with pytest.raises(InputError, match="nothing to redo"):
        ride.redo()


def test_an_hour_keeps_few_states_and_can_be_gone_back_in() -> None:
    ride = session()
    ride.do("trainee", f"close {zone(ride)}")
    ride.advance(10.0)
    at_ten = ride.play.plant.state()
    for minute in range(1, 61):
        ride.advance(60.0 * minute)
    assert len(ride._states.kept) < 200
    ride.go_to(10.0)
    np.testing.assert_array_equal(ride.play.plant.state(), at_ten)


def test_rows_lie_on_the_grid_of_time() -> None:
    ride = session()
    ride.advance(0.33)
    ride.advance(0.35)
    ride.advance(2.0)
    past = ride.recorder.past
    np.testing.assert_allclose(past.times, GRID * np.arange(len(past.times)), atol=2 * MOMENT)
    assert past.values.shape == (21, len(ride.plant.channels))


def test_a_check_leaves_the_ride_alone() -> None:
    ride, other = session(), session()
    for each in (ride, other):
        each.advance(1.0)
        each.do("trainee", f"close {zone(each)}")
        each.advance(5.0)
    rows = len(ride.recorder.past.times)
    ride.begin_check(zone(ride), None)
    assert ride.mode == "check"
    with pytest.raises(InputError, match="check"):
        ride.do("trainee", "ride stop")
    ride.advance(9.0)
    assert ride.recorder.past.times[-1] == pytest.approx(9.0, abs=0.11)
    ride.go_to_newest()
    assert ride.mode == "live" and len(ride.recorder.past.times) == rows
    ride.advance(8.0)
    other.advance(8.0)
    same(ride, other)


def test_every_loss_is_judged_beside_the_ride() -> None:
    ride = session()
    ride.do("trainee", f"close {zone(ride)}")
    ride.advance(5.0)
    ride.begin_check(zone(ride), None)
    *_, last = ride.outcomes(zone(ride))
    assert last["zone"] == zone(ride)
    assert {o["verdict"] for o in last["outcomes"]} == {"safe"}  # type: ignore[attr-defined]


def test_a_case_is_opened_at_its_onset() -> None:
    ride = session()
    ride.advance(30.0)
    acts = [
        Act(1.0, "trainer", f"close {zone(ride)}", False, 0.0),
        Act(8.0, "trainer", f"fault {valve(ride)} stuck-actuated", False, 0.0),
    ]
    ride.restart(acts, 7.5, "a stuck valve")
    frame = ride.frame(1, running=False, speed=1.0, pace=0.0)
    assert frame.time == 7.5 and "a stuck valve" in frame.note
    assert [(f.mode, f.present) for f in frame.faults] == [("stuck-actuated", False)]
    ride.advance(9.0)
    frame = ride.frame(2, running=False, speed=1.0, pace=0.0)
    assert [(f.mode, f.present) for f in frame.faults] == [("stuck-actuated", True)]


def test_hiding_can_be_changed_later() -> None:
    ride = session()
    ride.do("trainer", f"fault {valve(ride)} stuck", hidden=True)
    frame = ride.frame(1, running=False, speed=1.0, pace=0.0)
    assert frame.faults[0].hidden and ride.acts.hidden_actions()
    ride.acts.hide(valve(ride), "stuck", False)
    assert not ride.frame(2, running=False, speed=1.0, pace=0.0).faults[0].hidden
    assert not ride.acts.hidden_actions()
    with pytest.raises(InputError, match="No fault"):
        ride.acts.hide(valve(ride), "slow", True)


def test_falling_back_stands_a_little_earlier() -> None:
    ride, other = session(), session()
    for each in (ride, other):
        each.do("trainee", f"close {zone(each)}")
    ride.advance(11.0)
    back = ride.fall_back()
    assert 8.0 <= back <= 11.0
    ride.advance(14.0)
    other.advance(14.0)
    same(ride, other)


def test_an_alarm_is_shelved_from_then_on_and_not_before() -> None:
    ride = session()
    ride.do("trainee", f"close {zone(ride)}")
    ride.advance(3.0)
    ride.do("trainer", f"fault {ride.plant.brakes[0]} bladder-burst")
    ride.advance(5.0)

    def shelved() -> list[float | None]:
        frame = ride.frame(1, running=False, speed=1.0, pace=0.0)
        return [alarm.shelved_until for alarm in frame.alarms]

    alarm = ride.frame(1, running=False, speed=1.0, pace=0.0).alarms[0]
    ride.alarms.shelve(ride.shown, alarm.zone, alarm.name, 60.0)
    at = ride.now
    assert at + 60.0 in shelved()
    ride.go_to(4.9)
    assert shelved() and not any(shelved())
    ride.go_to_newest()
    assert at + 60.0 in shelved()
    ride.advance(70.0)
    assert not any(shelved())
    ride.go_to(4.9)
    ride.advance(6.0)
    assert shelved() and not any(shelved())


def test_a_failing_simulation_is_not_taken_for_an_act(monkeypatch: pytest.MonkeyPatch) -> None:
    ride = session()
    ride.advance(1.0)

    def fail(self: Play, until: float) -> None:
        raise SimulationError("no step is short enough")

    monkeypatch.setattr(Play, "advance", fail)
    with pytest.raises(SimulationError):
        ride.advance(2.0)
    with pytest.raises(SimulationError):
        ride.go_to(0.5)


def test_the_last_act_counts_even_when_nothing_was_recorded_after_it() -> None:
    ride = session()
    ride.restart([Act(3.0, "trainee", f"close {zone(ride)}", False, 3.0)], 1.4)
    assert ride.now == pytest.approx(3.0, abs=2 * MOMENT)
    ride.advance(6.0)
    assert ride.frame(1, running=False, speed=1.0, pace=0.0).zones[0].state == "closed"


# a drill keeps its fault


def drilled() -> Session:
    """A drill that begins at 5 s: a valve sticks since 3 s, another fault comes at 8 s."""
    ride = session()
    acts = [
        Act(1.0, "trainee", f"close {zone(ride)}", False, 1.0),
        Act(3.0, "trainer", f"fault {valve(ride)} stuck", True, 3.0),
        Act(8.0, "trainer", f"fault {ride.plant.brakes[0]} bladder-burst", True, 4.0),
    ]
    ride.restart(acts, 5.0, begins=5.0)
    return ride


def faults(ride: Session) -> list[tuple[str, str]]:
    frame = ride.frame(1, running=False, speed=1.0, pace=0.0)
    return [(fault.component, fault.mode) for fault in frame.faults]


@pytest.mark.parametrize("back", [0.0, 2.0, 3.0, 4.0, 4.999, 5.0, 6.0])
def test_a_trainee_who_goes_back_and_acts_keeps_every_fault(back: float) -> None:
    ride = drilled()
    given, trainers = faults(ride), [act for act in ride.acts.journal if act.seat == "trainer"]
    ride.advance(7.0)
    ride.go_to(back, "trainee")
    assert ride.now == max(back, 5.0)
    assert faults(ride) == given
    ride.do("trainee", f"open {zone(ride)}")
    ride.advance(9.0)
    assert faults(ride) == given
    assert [act for act in ride.acts.journal if act.seat == "trainer"] == trainers


def test_without_a_drill_a_trainee_goes_back_as_far_as_the_trainers_last_act() -> None:
    ride = session()
    ride.do("trainee", f"close {zone(ride)}")
    ride.advance(2.0)
    ride.go_to(0.5, "trainee")
    assert ride.now == 0.5
    ride.go_to_newest()
    ride.do("trainer", f"fault {valve(ride)} stuck", hidden=True)
    ride.advance(4.0)
    ride.go_to(0.5, "trainee")
    assert ride.now == 2.0 + MOMENT and faults(ride)
    ride.go_to(0.5)
    assert ride.now == 0.5


def test_a_trainee_cannot_act_before_what_the_trainer_did() -> None:
    ride = session()
    ride.advance(2.0)
    ride.do("trainer", f"fault {valve(ride)} stuck", hidden=True)
    ride.advance(4.0)
    journal = list(ride.acts.journal)
    ride.go_to(1.0)  # the trainer looks at an earlier instant
    with pytest.raises(InputError, match="until the trainer continues"):
        ride.do("trainee", f"close {zone(ride)}")
    assert ride.mode == "earlier" and ride.acts.journal == journal
    ride.go_to(3.0)
    ride.do("trainee", f"close {zone(ride)}")
    assert ride.mode == "live" and ride.acts.journal[:1] == journal


def test_a_drill_that_falls_back_again_and_again_keeps_every_fault() -> None:
    ride, other = drilled(), drilled()
    given = faults(ride)
    ride.advance(7.5)
    ride.do("trainee", f"open {zone(ride)}")
    for _ in range(6):
        assert ride.fall_back() >= 5.0
        assert faults(ride) == given
    ride.advance(9.0)
    other.advance(9.0)
    same(ride, other)
