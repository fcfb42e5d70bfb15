"""What a bench of faults plays is a ride in order, an even draw, and instruments a little off."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from pathlib import Path

import pytest
from operating import GAIN, Noise, drawn_faults, part_of_ride

from pneumo.circuit.action import Command
from pneumo.circuit.circuit import Circuit, Event
from pneumo.circuit.validate import load
from pneumo.components.severity import place_of
from pneumo.inspection.evidence import Heard, Jaws, Outflow, Pulled, Reading
from pneumo.inspection.gauge import GAUGE_STEP
from pneumo.inspection.hand import CELL_STEP
from pneumo.making.operating import operating_sequence
from pneumo.network.compile import compile_circuit
from pneumo.scenario.event import ContactRead, RideStopped, RunEvent
from pneumo.scenario.inject import mode_of
from pneumo.scenario.play import Play

CIRCUITS = Path(__file__).parents[2] / "circuits"
RIDES = ("02_spring_close_single", "07_quick_exhaust", "10_station_gates", "sand_martin")


def circuit_of(name: str) -> Circuit:
    return load(CIRCUITS / f"{name}.yaml")


@pytest.mark.parametrize("name", RIDES)
def test_in_normal_operation_nothing_alarms_and_every_zone_and_gate_works(
    name: str, compiled: None
) -> None:
    circuit = circuit_of(name)
    rest = Play(compile_circuit(circuit, ()))
    for seed in range(3):
        sequence = operating_sequence(circuit, seed)
        times = [time for time, _ in sequence]
        assert times == sorted(times) and 60.0 <= times[-1] <= 120.0
        used = Counter(a.target for _, a in sequence if isinstance(a, Command))
        assert used.keys() == {*circuit.zones, *circuit.gates} and min(used.values()) >= 4
        for zone, each in circuit.zones.items():
            own = [time for time, action in sequence if action.target == zone]  # type: ignore[union-attr]
            least = max(each.limits.close, each.limits.open, each.limits.vent)
            assert min(b - a for a, b in pairwise(own)) >= least - 0.01
        play = rest.snapshot()
        play.schedule(Event(time, action) for time, action in sequence)
        play.advance(times[-1] + 5.0)
        told = [e for e in play.plant.log.events if e.kind in ("alarm", "refused", "ride")]
        assert told == []
        states = {zone: each.state for zone, each in play.actors.controller.logic.zones.items()}
        assert states == {name: zone.starts for name, zone in circuit.zones.items()}


def test_a_zone_alone_with_what_it_shares_moves_as_in_the_whole_ride(compiled: None) -> None:
    circuit = circuit_of("sand_martin")
    part = part_of_ride(circuit, ["block", "station_gates"])
    assert len(part.components) < 0.5 * len(circuit.components)
    assert (list(part.zones), list(part.gates)) == (["block"], ["station_gates"])
    edges = []
    for each in (circuit, part):
        laid_out = compile_circuit(each, ())
        play = Play(laid_out)
        play.schedule([Event(1.0, Command("block", "open")), Event(4.0, Command("block", "close"))])
        play.advance(7.0)
        names = {contact.watch: contact.component for contact in laid_out.contacts}
        found = [(w, t) for t, w, _ in play.plant.log.crossings if t > 0.0 and w in names]
        edges.append(sorted((names[w], t) for w, t in found))
    assert len(edges[0]) == 6 and [n for n, _ in edges[0]] == [n for n, _ in edges[1]]
    assert [t for _, t in edges[0]] == pytest.approx([t for _, t in edges[1]], abs=1e-3)


@pytest.mark.parametrize("zone", ["block", "holding"])
def test_lines_to_the_pilots_of_other_zones_end_in_plugs(zone: str) -> None:
    circuit = circuit_of("08_pilot_supply")
    part = part_of_ride(circuit, [zone])
    assert list(part.zones) == [zone] and "pilot_line" in part.components
    assert len(compile_circuit(part).spools) < len(compile_circuit(circuit).spools)
    with pytest.raises(ValueError, match="no zone or gates nowhere"):
        part_of_ride(circuit, [zone, "nowhere"])


def test_sequences_and_faults_are_made_again_from_their_seed() -> None:
    circuit = circuit_of("07_quick_exhaust")
    sequences = [operating_sequence(circuit, seed) for seed in (1, 1, 2)]
    assert sequences[0] == sequences[1] != sequences[2]
    faults = [drawn_faults(circuit, 5, seed) for seed in (1, 1, 2)]
    assert faults[0] == faults[1] != faults[2]
    assert drawn_faults(circuit, 9, 1)[:5] == faults[0]


def test_every_mode_is_drawn_and_severity_and_onset_lie_anywhere() -> None:
    circuit = circuit_of("02_spring_close_single")
    compiled = compile_circuit(circuit)
    drawn = drawn_faults(circuit, 3000, 4)
    modes = {(n, m.name) for n, c in circuit.components.items() for m in c.fault_modes()}
    counts = Counter((each.fault.component, each.fault.mode) for each in drawn)
    assert counts.keys() == modes
    assert max(counts.values()) < 2.5 * 3000 / len(modes)
    places, onsets = [], []
    for each in drawn:
        fault = each.fault
        scale = mode_of(compiled, fault).severity
        if scale is None:
            assert fault.severity is None
        else:
            assert fault.severity is not None and scale.low <= fault.severity <= scale.high
            places.append(place_of(scale, fault.severity)[1])
        assert 0.0 <= fault.at <= each.sequence[-1][0]
        onsets.append(fault.at / each.sequence[-1][0])
    for shares in (places, onsets):
        low, high = sorted(shares)[len(shares) // 4], sorted(shares)[3 * len(shares) // 4]
        assert 0.15 < low < 0.35 and 0.65 < high < 0.85


def test_on_the_grid_faults_have_the_grades_of_a_campaign_from_the_beginning() -> None:
    circuit = circuit_of("02_spring_close_single")
    compiled = compile_circuit(circuit)
    for each in drawn_faults(circuit, 200, 4, on_grid=True):
        scale = mode_of(compiled, each.fault).severity
        assert each.fault.at == 0.0
        assert each.fault.severity in (scale.campaign if scale else (None,))


def test_a_gauge_is_off_by_its_gain_and_now_and_then_by_a_step() -> None:
    noise = Noise(3)
    assert abs(noise.gain - 1.0) <= GAIN
    shown = [noise.evidence(Reading("a.1", 6e5, False, False)) for _ in range(1000)]
    off = Counter(round((r.shown - 6e5 * noise.gain) / GAUGE_STEP, 1) for r in shown)  # type: ignore[union-attr]
    assert len(off) == 3 and 800 < max(off.values()) < 970
    nothing = Reading("a.1", 0.0, False, True)
    assert {noise.evidence(nothing) for _ in range(100)} == {nothing}


def test_a_hiss_is_misheard_seldom_and_a_load_cell_is_off_by_a_step() -> None:
    noise = Noise(3)
    heard = Heard("a", (Outflow("hole", "", "clear"),), (), None, False, False)
    counts = Counter(noise.evidence(heard).outflows[0].loudness for _ in range(2000))  # type: ignore[union-attr]
    assert counts.keys() == {"faint", "clear", "loud"} and 20 < 2000 - counts["clear"] < 70
    pulled = [noise.evidence(Pulled("a", 500.0, 0.0, False)) for _ in range(500)]
    assert {p.moves for p in pulled} == {500.0 - CELL_STEP, 500.0, 500.0 + CELL_STEP}  # type: ignore[union-attr]
    assert {p.returns for p in pulled} == {0.0, CELL_STEP}  # type: ignore[union-attr]
    seized = Pulled("a", None, None, False)
    jaws = Jaws("a", "open", 0.004, 2, True, False)
    assert (noise.evidence(seized), noise.evidence(jaws)) == (seized, jaws)


def test_a_contact_is_read_a_scan_sooner_or_later_now_and_then() -> None:
    scan = 0.02
    events = [RunEvent(k * 0.1, "switch", ContactRead(k % 2 == 0)) for k in range(1, 2001)]
    stop = RunEvent(5.0, "", RideStopped("command"))
    noisy = Noise(3).events([*events, stop], scan)
    assert noisy == Noise(3).events([*events, stop], scan)
    assert [e.time for e in noisy] == sorted(e.time for e in noisy)
    assert noisy.count(stop) == 1
    read = [e for e in noisy if e.subject == "switch"]
    assert [e.what for e in read] == [e.what for e in events]
    off = Counter(round((b.time - a.time) / scan) for a, b in zip(events, read, strict=True))
    assert off.keys() == {-1, 0, 1} and all(20 < off[k] < 90 for k in (-1, 1))
