"""The bench rides work: otherwise the bench would measure something else."""

from __future__ import annotations

import pytest
from rides import STAGGER, Work, all_at_once, long_hold, staggered

from pneumo.network.compile import compile_circuit
from pneumo.scenario.play import Play

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
    assert not [event for event in play.events if event.kind in ("alarm", "refused")]
    for i, brakes in enumerate(play.compiled.brakes.values()):
        for at, wanted in COMMANDS:
            asked = at + later * i
            watch = getattr(brakes[0], wanted)
            reached = [t for t, w, made in play.crossings if w == watch and made and t > asked]
            assert reached and reached[0] < asked + 2.0


def test_a_small_leak_is_made_up_for_an_hour() -> None:
    play = played(long_hold(2))
    texts = [event.text for event in play.events]
    assert not [event for event in play.events if event.kind in ("alarm", "refused")]
    assert texts.count("loaded") >= 1
