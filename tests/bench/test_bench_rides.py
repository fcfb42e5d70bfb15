"""The bench rides work: otherwise the bench would measure something else."""

from __future__ import annotations

import cProfile

import pytest
from rides import STAGGER, Work, all_at_once, document, long_hold, staggered

from pneumo.circuit.validate import load_text
from pneumo.network.compile import compile_circuit
from pneumo.scenario.play import Play
from pneumo.scenario.telling import told

COMMANDS = ((1.0, "clamped"), (6.0, "clear"), (11.0, "clamped"), (16.0, "clear"))


def played(work: Work) -> Play:
    play = Play(compile_circuit(work.circuit, work.apart))
    play.schedule(work.events)
    play.advance(work.until)
    return play


@pytest.mark.parametrize("zones", [1, 3])
@pytest.mark.parametrize("later", [0.0, STAGGER])
def test_every_zone_closes_and_opens_within_its_limits(zones: int, later: float) -> None:
    play = played(staggered(zones) if later else all_at_once(zones))
    assert not [event for event in play.plant.log.events if event.kind in ("alarm", "refused")]
    for i, brakes in enumerate(play.compiled.brakes.values()):
        for at, wanted in COMMANDS:
            asked = at + later * i
            watch = getattr(brakes[0], wanted)
            reached = [
                t for t, w, made in play.plant.log.crossings if w == watch and made and t > asked
            ]
            assert reached and reached[0] < asked + 2.0


def test_a_small_leak_is_made_up_for_an_hour() -> None:
    play = played(long_hold(2))
    texts = [told(event.what) for event in play.plant.log.events]
    assert not [event for event in play.plant.log.events if event.kind in ("alarm", "refused")]
    assert texts.count("loaded") >= 1


def test_a_ride_of_200_zones_and_2000_brakes_is_read_and_laid_out() -> None:
    circuit = load_text(document(200, 10, switches=True), "a large ride")
    assert (len(circuit.zones), len(circuit.by_kind["bladder_brake"])) == (200, 2000)
    compiled = compile_circuit(circuit, ())
    assert len(compiled.brakes) == 200


def test_the_work_to_read_a_ride_and_to_lay_it_out_grows_with_its_size() -> None:
    """Counted in calls, which are the same on any machine."""
    calls = []
    for zones in (12, 48):
        text = document(zones, 10, switches=True)
        profile = cProfile.Profile()
        profile.runcall(lambda text=text: compile_circuit(load_text(text, "a ride"), ()))
        calls.append(sum(entry.callcount for entry in profile.getstats()))
    # four times the ride; what was looked up for every zone made it ten times the work
    assert calls[1] < 5.5 * calls[0]
