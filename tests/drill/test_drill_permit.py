"""Safe work, judged from what really stands in the plant."""

from __future__ import annotations

import pytest
from drill_rides import SAFE, play, practice

from pneumo.drill.danger import Hazard
from pneumo.drill.energy import closing_force, pressure_at, ways_in
from pneumo.drill.permit import dangers, facts, permit_state
from pneumo.drill.practice import Practice


def hazards(at: Practice, component: str, *to: str) -> list[Hazard]:
    found = dangers(at.play, at.site, component, frozenset(to))  # type: ignore[arg-type]
    return [danger.hazard for danger in found]


def test_a_part_under_pressure_hurts_whoever_opens_it() -> None:
    at = practice(before=("close trim",))
    assert pressure_at(at.play, "hose_1") == pytest.approx(5e5, rel=0.02)
    assert hazards(at, "hose_1", "air") == ["pressure"]


def test_an_empty_part_is_unsafe_until_it_is_isolated_locked_and_proved() -> None:
    at = practice()
    state = lambda: permit_state(facts(at.play, at.site, "hose_1"))  # noqa: E731
    assert (state(), hazards(at, "hose_1", "air")) == ("in service", ["not isolated"])
    play(at, "isolate main")
    assert (state(), hazards(at, "hose_1", "air")) == ("isolated", ["not locked"])
    play(at, "lock main")
    assert (state(), hazards(at, "hose_1", "air")) == ("locked", ["not proved"])
    play(at, "prove hose_1")
    assert (state(), hazards(at, "hose_1", "air")) == ("proved dead", [])
    play(at, "unlock main")
    assert (state(), hazards(at, "hose_1", "air")) == ("isolated", ["not locked"])


def test_a_valve_upstream_does_not_isolate() -> None:
    """The zone is vented by its valve; one command would fill it again."""
    at = practice()
    assert ways_in(at.play, "hose_1", ()).supplies == ("supply",)
    assert not ways_in(at.play, "hose_1", ("main",)).any
    assert not ways_in(at.play, "hose_1", ("supply",)).any


def test_air_stored_behind_a_check_valve_is_not_isolated_by_the_shut_off() -> None:
    at = practice(name="04_stored_air_behind_check")
    play(at, "open storage", "isolate main", "lock main", "wait 30 s")
    found = dangers(at.play, at.site, "hose_1", frozenset(("air",)))
    assert [danger.hazard for danger in found] == ["not isolated"]
    assert found[0].names == ("accumulator",)
    assert found[0].value == pytest.approx(pressure_at(at.play, "accumulator"))
    play(at, "drain accumulator open", "wait 10 min")
    assert "not isolated" not in hazards(at, "hose_1", "air")


def test_spring_close_jaws_crush_until_they_are_blocked() -> None:
    at = practice(name="02_spring_close_single")
    brake = next(iter(at.ride.circuit.having("brake")))
    force = closing_force(at.play, brake)
    part = at.ride.circuit.components[brake]
    # vented: the linings stand on the fin, where the springs press with their force
    assert force == pytest.approx(part.spring_force, rel=0.05)
    assert hazards(at, brake, "jaws") == ["force"]
    play(at, f"block {brake}")
    assert hazards(at, brake, "jaws") == []


def test_spring_open_jaws_without_air_do_not_crush() -> None:
    at = practice()
    assert closing_force(at.play, "brake_1") == pytest.approx(0.0, abs=1e-3)
    at = practice(before=("close trim",))
    # 5 bar on 250 cm2, springs aside: a bladder gives 12.5 kN at no stroke, somewhat less at work
    assert 8e3 < closing_force(at.play, "brake_1") <= 12.5e3
    assert hazards(at, "brake_1", "jaws") == ["force"]


def test_wires_are_dead_once_their_feed_is_off_and_locked() -> None:
    at = practice()
    assert hazards(at, "valve", "wires") == ["not isolated"]
    play(at, "switch off feed")
    assert hazards(at, "valve", "wires") == ["not locked"]
    play(at, "lock feed")
    assert hazards(at, "valve", "wires") == []


def test_locks_hold_and_hold_only_what_is_off() -> None:
    from pneumo.errors import InputError

    at = practice()
    with pytest.raises(InputError, match="not turned off"):
        at.do("lock main")
    play(at, *SAFE)
    with pytest.raises(InputError, match="locked and tagged"):
        at.do("restore main")
    with pytest.raises(InputError, match="no lock"):
        at.do("unlock supply")


def test_a_test_on_live_wires_needs_a_permit() -> None:
    at = practice()
    assert [d.hazard for d in at.do("voltage valve.14").dangers] == ["no permit"]
    assert [d.hazard for d in at.do("card valve.14").dangers] == ["no permit"]
    assert at.do("resistance valve.14").dangers == ()
    play(at, "permit")
    assert at.do("voltage valve.14").dangers == ()
