"""An actor more: a train and a mechanic, each one class, handed to a run."""

from __future__ import annotations

import numpy as np
import pytest
from actor_toys import Cabinet, Fitter, Mechanic, Train
from play_toys import at, bench, compiled, same

from pneumo.circuit.action import Fin
from pneumo.scenario.event import Commanded
from pneumo.scenario.play import Play
from pneumo.scenario.signal import jaws

UNTIL = 13.5


def ride(**options: bool) -> Play:
    mechanic = Mechanic("block", "valve", ("manifold", "1"), 4.0e5, 1.003)
    return Play(bench(**options), actors=[Train("block", 3.0, 1.25, 0.7), mechanic])


def fins(play: Play) -> list[tuple[float, bool]]:
    return [
        (event.time, event.what.action.present)
        for event in play.plant.log.events
        if isinstance(event.what, Commanded) and isinstance(event.what.action, Fin)
    ]


def mechanic(play: Play) -> Mechanic:
    found = play.actors.further[1]
    assert isinstance(found, Mechanic)
    return found


def test_it_acts_at_its_own_times_and_the_plant_follows() -> None:
    play = ride()
    play.advance(UNTIL)
    expected = [(0.7 + 3.0 * i + stay, here) for i in range(5)
                for stay, here in ((0.0, True), (1.25, False))]  # fmt: skip
    assert np.allclose([t for t, _ in fins(play)], [t for t, _ in expected if t <= UNTIL])
    assert [here for _, here in fins(play)] == [here for t, here in expected if t <= UNTIL]
    assert play.actors.faults.absent_fins == ()
    seen = mechanic(play).seen
    assert seen[0] < 1.1e5 and seen[-2] < 4.0e5 <= seen[-1], "he looked until it was enough"
    assert play.plant.pressure(play.compiled.parts["manifold"].ports["1"]) < 1.1e5, "and let it go"


def test_a_run_in_pieces_and_from_copies_is_the_whole_run() -> None:
    whole = ride()
    whole.advance(UNTIL)
    play = ride()
    copies = []
    for time in (0.5, 0.7, 1.0031, 1.06, 1.95, 5.0, 9.3):
        play.advance(time)
        copies.append(play.snapshot())
    play.advance(UNTIL)
    assert same(play, whole) and mechanic(play) == mechanic(whole)
    for copy in copies:
        assert mechanic(copy) is not mechanic(play)
        copy.advance(UNTIL)
        assert same(copy, whole) and mechanic(copy) == mechanic(whole)


def test_nobody_more_is_the_run_of_before() -> None:
    with_none = Play(bench(), actors=())
    with_none.advance(3.0)
    late = Play(bench(), actors=[Train("block", 3.0, 1.0, 100.0)])
    late.advance(3.0)
    assert same(with_none, late) and not fins(late)


def test_runs_have_copies_of_their_own() -> None:
    train = Train("block", 3.0, 1.25, 0.2)
    first, second = (Play(bench(), actors=[train]) for _ in range(2))
    first.advance(0.5)
    assert train == Train("block", 3.0, 1.25, 0.2)
    second.advance(0.5)
    assert same(first, second) and fins(second)


# numbers of the plant that an actor puts


def conductance(play: Play) -> float:
    row = play.compiled.parts["hose_1"].restrictions["segment 1"]
    return float(play.plant.network.restriction[row]["conductance"])


def opening(play: Play) -> float:
    row = play.compiled.parts["hose_1"].restrictions["segment 1"]
    return float(play.plant.network.restriction[row]["open_max"])


def test_what_an_actor_put_stays_when_faults_come_and_go() -> None:
    plan = bench()
    play = Play(plan, actors=[Fitter("hose_1", "segment 1", 4.0, 0.5, 3.0)])
    whole = conductance(play)
    play.schedule(at(plan, 1.0, "fault hose_1 blocked 0.5", "fault hose_2 leak 2 mm"))
    play.schedule(at(plan, 2.0, "clear hose_1 blocked"))
    found = {}
    for time in (0.4, 0.9, 1.5, 2.5, 3.5):
        play.advance(time)
        found[time] = conductance(play) / whole, opening(play)
    assert found == {0.4: (1.0, 1.0), 0.9: (0.25, 1.0), 1.5: (0.25, 0.5), 2.5: (0.25, 1.0),
                     3.5: (1.0, 1.0)}  # fmt: skip


def test_the_plant_follows_what_was_put_and_so_do_copies() -> None:
    def filled(*actors: Fitter) -> tuple[Play, Play]:
        plan = bench()
        play = Play(plan, actors=actors)
        play.schedule(at(plan, 0.2, "open block"))
        play.advance(0.15)
        copy = play.snapshot()
        for run in (play, copy):
            run.advance(0.35)
        return play, copy

    (plain, _), (narrow, copy) = filled(), filled(Fitter("hose_1", "segment 1", 50.0, 0.1))
    node = plain.compiled.parts["brake_1"].ports["1"]
    before, after = plain.plant.pressure(node), narrow.plant.pressure(node)
    assert after < 0.8 * before
    assert same(narrow, copy)


def test_a_number_that_is_not_an_actors_is_refused() -> None:
    play = Play(bench())
    play.plant.controls.alter(("spool", 0, "position"), 1.0)
    with pytest.raises(ValueError, match="spool is none of the tables that may be altered"):
        play.advance(0.1)


@pytest.mark.parametrize("fault", ["", "fault open_1 stuck-off"])
def test_another_controller_commands_the_coils_by_what_it_reads(fault: str) -> None:
    """The logic of the program goes on beside it and believes its switches."""
    plan = compiled("02_spring_close_single.yaml")
    play = Play(plan, actors=[Cabinet("open_1", ("valve", "14"), 0.5, 0.02, 1.0)])
    if fault:
        play.schedule(at(plan, 0.1, fault))

    def is_open() -> bool:
        brake = plan.brakes["block"][0].mover
        return float(jaws(play.plant.network, play.plant.state(), brake)[0]) > 3e-3

    assert not is_open()
    play.advance(1.4)
    assert is_open()
    play.advance(4.0)
    assert is_open() == bool(fault), "it lets go only when the switch that it reads is ON"
