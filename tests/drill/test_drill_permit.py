"""Safe work, judged from what really stands in the plant."""

from __future__ import annotations

import pytest
from drill_rides import SAFE, play, practice

from pneumo.drill.danger import Hazard
from pneumo.drill.debrief import debrief
from pneumo.drill.energy import moving_force, pressure_at, ways_in
from pneumo.drill.entry import Proved
from pneumo.drill.permit import dangers, facts, permit_state
from pneumo.drill.practice import Practice
from pneumo.drill.telling import danger_told, told
from pneumo.errors import InputError


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
    force = moving_force(at.play, brake)
    part = at.ride.circuit.components[brake]
    # vented: the linings stand on the fin, where the springs press with their force
    assert force == pytest.approx(part.spring_force, rel=0.05)
    assert hazards(at, brake, "jaws") == ["force"]
    play(at, f"block {brake}")
    assert hazards(at, brake, "jaws") == []


def test_whoever_measures_linings_reaches_between_the_jaws() -> None:
    """A bar and a load cell are held from outside."""
    for test, found in (("callipers", ["force"]), ("pry", []), ("pull", [])):
        at = practice(name="02_spring_close_single")
        assert [danger.hazard for danger in at.do(f"{test} brake_1").dangers] == found
        assert at.arc.over == bool(found)
    at = play(practice(name="02_spring_close_single"), "block brake_1")
    assert at.do("callipers brake_1").dangers == ()


def test_spring_open_jaws_without_air_do_not_crush() -> None:
    at = practice()
    assert moving_force(at.play, "brake_1") == pytest.approx(0.0, abs=1e-3)
    # one command would bring the air that closes them
    assert hazards(at, "brake_1", "jaws") == ["not isolated"]
    assert hazards(play(at, "isolate main"), "brake_1", "jaws") == ["not locked"]
    assert hazards(play(at, "lock main", "prove brake_1"), "brake_1", "jaws") == []
    at = practice(before=("close trim",))
    # 5 bar on 250 cm2: a bladder gives 12.5 kN at no stroke, somewhat less at work; less 2 kN and
    # more of the springs that draw it back
    assert 6e3 < moving_force(at.play, "brake_1") <= 10.5e3
    assert hazards(at, "brake_1", "jaws") == ["force"]


def test_wires_are_dead_once_their_feed_is_off_and_locked() -> None:
    at = practice()
    assert hazards(at, "valve", "wires") == ["live wires"]
    play(at, "switch off feed")
    assert hazards(at, "valve", "wires") == ["not locked"]
    play(at, "lock feed")
    assert hazards(at, "valve", "wires") == []


def test_locks_hold_and_hold_only_what_is_off() -> None:
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
    play(at, "permit")
    assert at.do("voltage valve.14").dangers == ()


def test_behind_a_locked_feed_a_voltage_may_be_looked_for() -> None:
    at = play(practice(), "switch off feed")
    assert [d.hazard for d in at.do("voltage valve.14").dangers] == ["no permit"], "no lock yet"
    play(at, "lock feed")
    assert at.do("voltage valve.14").dangers == ()


def test_a_plug_is_pulled_dead_or_with_a_permit() -> None:
    at = practice()
    assert [d.hazard for d in at.do("resistance valve.14").dangers] == ["live wires"]
    play(at, "switch off feed")
    assert [d.hazard for d in at.do("resistance valve.14").dangers] == ["not locked"]
    play(at, "lock feed")
    assert at.do("resistance valve.14").dangers == ()
    assert play(practice(), "permit").do("resistance valve.14").dangers == ()


def test_a_plug_under_a_voltage_that_hurts_ends_the_drill() -> None:
    def at() -> Practice:
        return practice(feed="{kind: electrical_feed, voltage: 230 V}", before=("close trim",))

    entry = at().do("resistance valve.14")
    assert (entry.state, entry.dangers[0].hazard) == ("stopped", "voltage")
    assert "230 V" in danger_told(entry.dangers[0])
    # what measuring may be done under, pulling wires may not
    one = play(at(), "permit", "finding valve output-stuck-on")
    assert one.do("resistance valve.14").dangers == ()
    assert one.do("reconnect valve.14").state == "stopped"


@pytest.mark.parametrize(
    ("line", "finding", "hazard"),
    [
        ("reconnect valve.14", "valve output-stuck-on", "live wires"),
        ("replace valve.14", "valve coil-open", "live wires"),
        ("reconnect feed", "feed lost", "live wires"),
        ("replace feed", "feed lost", "live wires"),
        ("reconnect charged", "charged stuck-off", "live wires"),
        ("reconnect closed_1", "closed_1 stuck-off", "live wires"),
        ("replace closed_1", "closed_1 stuck-on", "force"),
        ("free brake_1", "brake_1 jaw-seized", "force"),
        ("adjust charged", "charged drift", None),
    ],
)
def test_work_meets_what_really_stands_there(line: str, finding: str, hazard: Hazard) -> None:
    at = play(practice(before=("close trim",)), f"finding {finding}")
    found = at.do(line).dangers
    assert (found[0].hazard if found else None) == hazard
    if hazard == "live wires":
        assert found[0].value == 24.0 and "24 V" in danger_told(found[0])


def test_wires_of_contacts_need_a_permit_for_nothing_switches_them_off() -> None:
    at = play(practice(), *SAFE, "finding charged stuck-off")
    told = danger_told(at.do("reconnect charged").dangers[0])
    assert told == (
        "charged had 24 V on its wires. Nothing at the ride switches it off: get a permit first."
    )
    assert play(at, "permit").do("reconnect charged").dangers == ()


def test_swapping_plugs_is_work_at_both_coils() -> None:
    at = practice(name="03_redundant_series_valves")
    found = at.do("swap valve_a.14 valve_b.14").dangers
    assert [(d.hazard, d.component) for d in found] == [
        ("live wires", "valve_a"), ("live wires", "valve_b"),
    ]  # fmt: skip
    play(at, "switch off feed_a", "lock feed_a")
    found = at.do("swap valve_a.14 valve_b.14").dangers
    assert [d.component for d in found] == ["valve_b"]


def test_a_gate_under_air_moves_on_whoever_frees_it() -> None:
    at = play(practice(name="10_station_gates"), "finding gate_2 seized")
    entry = at.do("free gate_2")
    # 5 bar on a bore of the drawing, on the side that holds it closed
    force = moving_force(at.play, "gate_2")
    assert (entry.dangers[0].hazard, entry.dangers[0].component) == ("moves", "gate_2")
    assert entry.dangers[0].value == pytest.approx(force, rel=0.01) and force > 140.0
    at = play(practice(name="10_station_gates"), "finding gate_2 seized", "isolate main",
              "lock main", "prove gate_2")  # fmt: skip
    assert at.do("free gate_2").dangers == ()


# what a gauge proves, and what is let out without one


def test_zero_is_proved_at_gauges_and_each_further_one_takes_its_time() -> None:
    at = practice()
    one, two = at.do("prove hose_1"), at.do("prove valve")
    assert isinstance(one.result, Proved) and isinstance(two.result, Proved)
    assert [shown.port for shown in one.result.shown] == ["manifold.1"]
    assert [shown.port for shown in two.result.shown] == ["main.2", "manifold.1"]
    read = at.ride.circuit.downtime.read
    assert (two.ended - two.began) - (one.ended - one.began) == pytest.approx(read)
    assert (one.result.zero, two.result.zero) == (True, False)


def test_what_no_gauge_tells_of_costs_nothing_and_says_where() -> None:
    at = practice(name="whimbrel")
    before = at.play.now
    with pytest.raises(InputError, match="comes to no test point"):
        at.do("prove gate_1")
    with pytest.raises(InputError, match="holds no air"):
        at.do("prove feed_a")
    assert at.play.now == before


def test_a_part_open_to_the_air_is_listened_to() -> None:
    at = practice(before=("close trim",))
    entry = at.do("prove silencer")
    assert isinstance(entry.result, Proved) and entry.result == Proved("silencer", (), True)
    assert "no air comes out of it; zero is proved" in told(entry.result)
    leaking = practice("fault valve internal-leak", before=("close trim",))
    assert not leaking.do("prove silencer").result.zero  # type: ignore[union-attr]


def test_a_gauge_before_a_blocked_hose_deceives_and_a_loosened_fitting_does_not() -> None:
    at = practice(before=("close trim", "in 2 s: fault hose_1 blocked"))
    play(at, "open trim", *SAFE, "prove brake_1", "finding hose_1 blocked")
    assert "brake_1" in at.site.proved and pressure_at(at.play, "brake_1") > 4e5
    found = dangers(at.play, at.site, "brake_1", frozenset(("air",)))
    assert [danger.hazard for danger in found] == ["held back"]
    assert "The gauge had shown zero, but brake_1 still stood under" in danger_told(found[0])
    assert at.do("drain brake_1.1 open").dangers == ()
    play(at, "wait 2 min")
    assert pressure_at(at.play, "brake_1") < 0.05e5
    assert hazards(at, "brake_1", "air") == []
    play(at, "hand back")
    assert ("drained", "brake_1.1") in {(left.how, left.name) for left in debrief(at).left}


def test_a_fitting_is_loosened_only_where_no_more_air_can_come() -> None:
    at = practice(before=("close trim",))
    entry = at.do("drain hose_1.2 open")
    assert (entry.state, entry.dangers[0].hazard) == ("stopped", "pressure")
    # a test point has a coupling: a hose on it lets air out safely
    at = practice(before=("close trim",))
    assert at.do("drain manifold.3 open").dangers == ()
    assert at.do("listen manifold").result.evidence.outflows  # type: ignore[union-attr]


@pytest.mark.parametrize("name", ["07_quick_exhaust", "09_two_supplies_shuttle"])
def test_what_a_valve_keeps_in_can_be_let_out(name: str) -> None:
    """A quick exhaust keeps as much as lifts it, which a gauge still shows as zero; lines between
    supplies and a shuttle keep all their air until it is let out at a test point."""
    at = practice(name=name)
    if name.startswith("07"):
        play(at, "open quick", "isolate main", "lock main", "close quick", "prove quick_hose_1")
        assert 0.05e5 < pressure_at(at.play, "quick_hose_1") < 0.13e5
        assert hazards(at, "quick_hose_1", "air") == []
        return
    off = [line for n in "12" for line in (f"switch off supply_{n}", f"lock supply_{n}")]
    play(at, *off)
    assert hazards(at, "shuttle", "air") == ["pressure"]
    play(at, "drain line_1.1 open", "drain line_2.1 open", "wait 5 min", "prove shuttle")
    assert hazards(at, "shuttle", "air") == []


def test_a_tee_is_fitted_where_nothing_is_left_and_needs_no_proof() -> None:
    at = play(practice(), "isolate main")
    assert [d.hazard for d in at.do("fit gauge hose_1.2").dangers] == ["not locked"]
    assert play(at, "lock main").do("fit gauge hose_2.2").dangers == ()
    entry = practice(before=("close trim",)).do("fit gauge hose_1.2")
    assert entry.dangers[0].hazard == "pressure"


@pytest.mark.parametrize(
    ("name", "said", "part", "newtons"),
    [
        # 8 kN at the fin, and 60 N/mm or so more where the jaws stand open; the air that holds them
        # open counts for nothing: it may be lost
        ("02_spring_close_single", "open block", "brake_1", (8.0e3, 9.0e3)),
        # 6 bar on 250 cm2 are 15 kN at no stroke; less at work, and less what the springs draw back
        ("04_stored_air_behind_check", "close storage", "brake_1", (10e3, 13.5e3)),
        # 5 bar on the ring of a piston of 50 mm around a rod of 20 mm
        ("10_station_gates", "close station_gates", "gate_1", (824.0, 825.5)),
    ],
)
def test_pressure_and_force_that_are_told_are_those_of_the_plant(
    name: str, said: str, part: str, newtons: tuple[float, float]
) -> None:
    at = practice(name=name, before=(said,))
    pressure, force = dangers(at.play, at.site, part, frozenset(("air", "jaws")))
    node = max(at.play.compiled.parts[part].ports.values(), key=at.play.plant.pressure)
    above = at.play.plant.pressure(node) - at.ride.circuit.ambient.pressure
    assert pressure.value == above > 4.9e5
    assert newtons[0] < force.value < newtons[1]
    assert f"under {above / 1e5:.2f} bar" in danger_told(pressure)
    assert f"with {force.value / 1e3:.1f} kN" in danger_told(force)
