"""A technician's tests: what a gauge, ears, eyes and a multimeter give, and no more."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from pneumo.circuit.circuit import Circuit, Event
from pneumo.circuit.sentence import parse_action
from pneumo.circuit.validate import load, load_text
from pneumo.errors import InputError
from pneumo.live.cautions import hand_cautions
from pneumo.live.hands import examine
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.scenario.play import Play
from pneumo.scenario.pressure import node_pressure

CIRCUITS = Path(__file__).parents[2] / "circuits"

BENCH = """
ride: {name: bench}
components:
  feed_a: {kind: electrical_feed, voltage: 24 V}
  feed_b: {kind: electrical_feed, voltage: 48 V}
  compressor: {kind: compressor, free_air_delivery: 900 L/min, load_at: 6 bar, unload_at: 7 bar,
               feed: feed_a}
  back: {kind: check_valve, C: 20 L/(s·bar), b: 0.4}
  receiver: {kind: receiver, volume: 100 L, ports: 4}
  relief: {kind: relief_valve, set_pressure: 9 bar, C: 8 L/(s·bar), b: 0.4}
  store: {kind: accumulator, volume: 20 L}
  run: {kind: pipe, length: 20 m, bore: 20 mm}
  main: {kind: shut_off, C: 20 L/(s·bar), b: 0.3}
  start: {kind: soft_start, C: 20 L/(s·bar), b: 0.3, slow_C: 5 L/(s·bar), dump_C: 10 L/(s·bar),
          feed: feed_b}
  valve: {kind: valve_3_2, C: 10 L/(s·bar), b: 0.3, feed: feed_b}
  pair: {kind: valve_5_2, memory: bistable, C: 3 L/(s·bar), b: 0.3, feed: feed_b}
  plain: {kind: valve_2_2, C: 1 L/(s·bar), b: 0.3}
  silencer: {kind: silencer, C: 10 L/(s·bar), b: 0.4}
  tee: {kind: manifold, ports: 5}
  made: {kind: pressure_switch, set: 4 bar}
  hose_{1..2}: {kind: hose, bore: 9 mm, length: 1 m}
  brake_1: {kind: bladder_brake, spring: open, area: 250 cm2, spring_force: 2 kN,
            spring_rate: 60 N/mm}
  brake_2: {kind: bladder_brake, spring: open, bladders: 1, area: 250 cm2, spring_force: 2 kN,
            spring_rate: 60 N/mm}
  closed_{1..2}: {kind: jaw_switch, of: "brake_{1..2}", reads: closed}
  gate: {kind: cylinder, bore: 40 mm, rod_diameter: 16 mm, stroke: 200 mm, moving_mass: 20 kg}
connections:
  - compressor.2 -> back.1
  - back.2 -> receiver.1
  - receiver.2 -> relief.1
  - receiver.3 -> run.1
  - receiver.4 -> store.1
  - run.2 -> main.1
  - main.2 -> start.1
  - start.2 -> tee.1
  - tee.2 -> valve.1
  - tee.3 -> pair.1
  - tee.4 -> plain.1
  - tee.5 -> plug
  - plain.2 -> plug
  - pair.4 -> gate.cap
  - pair.2 -> gate.rod
  - valve.3 -> silencer.1
  - valve.2 -> charge.1
  - charge.2 -> made.1
  - charge.{3..4} -> hose_{1..2}.1
  - hose_{1..2}.2 -> brake_{1..2}.1
zones:
  trim:
    brakes: ["brake_{1..2}"]
    outputs: {valve.14: charge}
    pressure_switches: [made]
    safe_state: open
    requirement: {within: 2 s, clearance: 1.5 mm}
gates:
  station: {cylinders: [gate], outputs: {pair.14: open, pair.12: close}}
""".replace("  made:", "  charge: {kind: manifold, ports: 4}\n  made:", 1)


@cache
def bench() -> Compiled:
    return compile_circuit(load_text(BENCH, "bench"))


@cache
def _settled() -> Play:
    play = Play(bench())
    play.advance(5.0)
    return play


@cache
def _charged() -> Play:
    play = _settled().snapshot()
    do(play, "close trim")
    play.advance(9.0)
    return play


def resting() -> Play:
    return _settled().snapshot()


def charged() -> Play:
    return _charged().snapshot()


def do(play: Play, *sentences: str) -> Play:
    c = play.compiled.circuit
    play.schedule(
        Event(play.now, parse_action(text, c.components, c.zones, c.gates, play.now))
        for text in sentences
    )
    return play


def after(play: Play, seconds: float, *sentences: str) -> Play:
    do(play, *sentences).advance(play.now + seconds)
    return play


def says(play: Play, test: str, target: str) -> str:
    return examine(play.compiled, play, test, target).text


# a gauge


def bar(text: str) -> float:
    found = re.search(r"([0-9]+\.[0-9]{2}) bar", text)
    assert found is not None
    return float(found[1])


@pytest.mark.parametrize("target", ["receiver.1", "store.1", "tee.2", "brake_1.1", "hose_2.2"])
def test_a_gauge_reads_the_pressure_there_to_its_step(target: str) -> None:
    for play in (resting(), charged()):
        component, port = target.split(".")
        node = bench().parts[component].ports[port]
        true = (
            float(node_pressure(play.plant.network, play.plant.state()[None], node)[0]) - 101300.0
        )
        text = says(play, "read", target)
        assert text.startswith(f"A test gauge at {target} reads ")
        assert abs(bar(text) - true / 1e5) <= 0.025 + 1e-9
        assert round(bar(text) * 100) % 5 == 0


def test_a_gauge_sees_air_come_and_go() -> None:
    assert bar(says(resting(), "read", "brake_1.1")) == 0.0
    assert bar(says(charged(), "read", "brake_1.1")) > 5.0
    assert "open to the air" in says(charged(), "read", "start.3")


def test_a_component_with_one_port_needs_no_port() -> None:
    assert says(charged(), "read", "brake_1") == says(charged(), "read", "brake_1.1")


@pytest.mark.parametrize(
    ("test", "target", "message"),
    [
        ("read", "tea.2", "There is no port 'tea.2'. Did you mean 'tee.2'?"),
        ("read", "tee.9", "There is no port 'tee.9'. Its ports are tee.1, tee.2, tee.3"),
        ("read", "tee", "There is no port 'tee'. Its ports are tee.1"),
        ("read", "closed_1", "closed_1 is a jaw position switch and has no port for a gauge."),
        ("read", "", "There is no port ''. Give one, for example"),
        ("listen", "hose_3", "There is no component 'hose_3'. Did you mean 'hose_"),
        ("listen", "feed_a", "feed_a is an electrical feed and holds no air"),
        ("look", "brake_9", "There is no component 'brake_9'. Did you mean 'brake_"),
        ("look", "hose_1", "hose_1 is a hose: there is nothing to see on it."),
        ("measure", "pear.14", "There is no coil 'pear.14'. Did you mean 'pair.14'?"),
        ("measure", "pair", "pair has more than one coil. Choose one: pair.14 or pair.12."),
        ("measure", "valve.12", "There is no coil 'valve.12'. Did you mean valve.14?"),
        ("measure", "hose_1", "hose_1 is a hose and has no coil"),
        ("measure", "nowhere", "There is no coil 'nowhere'."),
    ],
)
def test_what_is_not_there_is_one_sentence(test: str, target: str, message: str) -> None:
    with pytest.raises(InputError) as caught:
        examine(bench(), _settled(), test, target)
    assert message in str(caught.value) and "\n" not in str(caught.value)


# ears


def test_a_tight_plant_at_rest_is_quiet() -> None:
    for name in ("receiver", "tee", "valve", "silencer", "hose_1", "brake_1", "relief"):
        assert says(charged(), "listen", name) == f"At {name}: no sound."


@pytest.mark.parametrize(
    ("size", "word"), [("0.2 mm", "faint"), ("1 mm", "clear"), ("4 mm", "loud")]
)
def test_a_hole_hisses_by_its_size(size: str, word: str) -> None:
    play = after(charged(), 0.1, f"fault hose_1 leak {size}")
    assert says(play, "listen", "hose_1").startswith(
        f"At hose_1: a {word} hiss at port 2, where no air should escape"
    )
    assert "no sound" in says(play, "listen", "hose_2")


def test_a_hole_too_small_is_not_heard() -> None:
    play = after(charged(), 0.1, "fault hose_1 leak 0.01 mm")
    assert says(play, "listen", "hose_1") == "At hose_1: no sound."


def test_a_hole_is_heard_only_while_there_is_air_behind_it() -> None:
    play = after(resting(), 0.1, "fault brake_1 bladder-pinhole 2 mm")
    assert "no sound" in says(play, "listen", "brake_1")
    after(play, 1.0, "close trim")
    assert "hiss at port 1, where no air should escape" in says(play, "listen", "brake_1")


def test_what_blows_next_to_it_is_heard_if_not_faint() -> None:
    loud = after(charged(), 0.1, "fault hose_1 leak 4 mm")
    assert says(loud, "listen", "brake_1") == "At brake_1: air escaping at hose_1 next to it."
    faint = after(charged(), 0.1, "fault hose_1 leak 0.2 mm")
    assert says(faint, "listen", "brake_1") == "At brake_1: no sound."


def test_venting_is_heard_at_the_exhaust_and_nowhere_else() -> None:
    play = after(charged(), 0.15, "open trim")
    assert says(play, "listen", "silencer").startswith("At silencer: a loud hiss at its outlet")
    assert "hiss" not in says(play, "listen", "valve")
    assert "air escaping at silencer next to it" in says(play, "listen", "valve")
    after(play, 5.0)
    assert says(play, "listen", "silencer") == "At silencer: no sound."


def test_an_exhaust_port_is_told_from_a_hole() -> None:
    play = after(charged(), 0.12, "switch off start")
    assert "a loud hiss at its exhaust port 3" in says(play, "listen", "start")
    assert "where no air should escape" not in says(play, "listen", "start")
    after(play, 0.02, "fault start leak 4 mm")
    text = says(play, "listen", "start")
    assert "its exhaust port 3" in text and "port 2, where no air should escape" in text


def test_holes_are_heard_where_they_are_however_many() -> None:
    play = after(
        charged(), 0.1,
        "fault hose_1 leak 1 mm", "drain store open", "fault brake_2 bladder-burst",
        "drain receiver open", "fault receiver leak 1 mm",
    )  # fmt: skip
    assert "clear hiss at port 2, where" in says(play, "listen", "hose_1")
    assert "hiss at port 1, where no air" in says(play, "listen", "brake_2")
    text = says(play, "listen", "receiver")
    assert "at its drain" in text and "clear hiss at port 1, where" in text
    assert re.search("loud hiss at its drain(, air|\\.)", says(play, "listen", "store"))
    after(play, 0.1, "clear hose_1 leak", "drain store closed")
    assert "hiss at port" not in says(play, "listen", "hose_1")
    assert "hiss" not in says(play, "listen", "store")
    assert "hiss at port 1, where no air" in says(play, "listen", "brake_2")


def test_a_fault_that_comes_and_goes_is_heard_while_it_is_there() -> None:
    play = after(charged(), 0.5, "fault hose_1 leak 2 mm every 10 s for 1 s")
    assert "hiss" in says(play, "listen", "hose_1")
    after(play, 1.0)
    assert says(play, "listen", "hose_1") == "At hose_1: no sound."


def test_a_compressor_is_heard_as_far_as_the_next_pipe() -> None:
    play = after(charged(), 0.1, "drain receiver open")
    play.advance(play.now + 60.0)
    assert play.actors.supplies.delivers(play.plant, "compressor")
    assert says(play, "listen", "compressor").endswith("It is pumping.")
    for name in ("back", "store", "relief", "run"):
        assert says(play, "listen", name).endswith("A compressor is pumping nearby."), name
    for name in ("main", "tee", "brake_1"):
        assert "compressor" not in says(play, "listen", name), name
    after(play, 0.1, "switch off compressor")
    assert says(play, "listen", "compressor").endswith("It is not pumping.")
    assert "compressor" not in says(play, "listen", "relief")


# eyes


def test_jaws_are_seen_open_closed_and_on_the_way() -> None:
    assert says(resting(), "look", "brake_1") == (
        "The jaws of brake_1 are open: each lining is about 3 mm off the fin."
    )
    assert says(resting(), "look", "brake_2") == (
        "The jaws of brake_2 are open: the lining is about 6 mm off the fin."
    )
    assert says(charged(), "look", "brake_1") == (
        "The jaws of brake_1 are closed: the linings touch the fin."
    )
    play = do(resting(), "close trim")
    seen = set()
    while play.now < 6.0:
        play.advance(play.now + 0.01)
        seen.add(says(play, "look", "brake_2"))
    assert any("neither open nor closed" in text for text in seen)


def test_worn_linings_show_a_wider_gap_and_seized_jaws_stay() -> None:
    play = after(resting(), 0.1, "fault brake_1 lining-worn 2 mm")
    assert "is about 5 mm off the fin" in says(play, "look", "brake_1")
    play = after(resting(), 3.0, "fault brake_1 jaw-seized", "close trim")
    assert "are open" in says(play, "look", "brake_1")
    assert "are closed" in says(play, "look", "brake_2")


def test_without_a_fin_the_gap_is_between_the_linings() -> None:
    play = after(resting(), 0.1, "fin trim absent")
    assert says(play, "look", "brake_1") == (
        "There is no fin in the jaws of brake_1. The linings are about 16 mm apart."
    )
    assert says(play, "look", "brake_2").endswith("The linings are about 16 mm apart.")
    after(play, 4.0, "close trim")
    assert says(play, "look", "brake_1").endswith("The linings touch each other.")


def test_a_rod_is_seen_in_out_and_between() -> None:
    play = after(resting(), 3.0, "close station")
    assert says(play, "look", "gate") == "The rod of gate is all the way in."
    seen = set()
    do(play, "open station")
    for _ in range(400):
        play.advance(play.now + 0.01)
        seen.add(says(play, "look", "gate"))
    assert "The rod of gate is all the way out." in seen
    assert any(re.search("is about [0-9]+ mm out, part of its way", text) for text in seen)


def test_nothing_is_seen_of_forces_and_pressures() -> None:
    # the spring of a closed brake pushes less: nothing that an eye sees
    weak = after(charged(), 1.0, "fault brake_1 spring-weak 50 %")
    assert says(weak, "look", "brake_1") == says(charged(), "look", "brake_1")
    assert not re.search("bar|kN|N\\b", says(weak, "look", "brake_1"))


def test_handles_drains_lamps_and_overrides_are_seen() -> None:
    play = charged()
    assert says(play, "look", "main") == "The handle of main is in service."
    assert says(play, "look", "store") == "The drain of store is closed."
    lamp = "The lamp in the plug of valve.14 is lit; its manual override is not held."
    assert says(play, "look", "valve") == lamp
    after(play, 1.0, "isolate main", "drain store open", "override valve.14", "switch off feed_b")
    assert says(play, "look", "main") == "The handle of main is out of service."
    assert says(play, "look", "store") == "The drain of store is open."
    lamp = "The lamp in the plug of valve.14 is dark; its manual override is held down."
    assert says(play, "look", "valve") == lamp
    assert says(play, "look", "pair").count("The lamp in the plug") == 2
    assert "pair.14 is dark" in says(play, "look", "pair")


# a multimeter


def winding(text: str) -> str:
    return text.partition("With the plug off, winding: ")[2]


def test_a_coil_has_the_voltage_of_its_feed_while_it_is_on() -> None:
    assert says(charged(), "measure", "valve.14").startswith("48 V at the plug of valve.14.")
    assert says(charged(), "measure", "valve") == says(charged(), "measure", "valve.14")
    text = says(resting(), "measure", "valve.14")
    assert text.startswith("0 V at the plug of valve.14.")
    assert winding(text) == "about 461 ohm, normal for such a coil."
    # without a feed the usual voltage is taken
    assert winding(says(resting(), "measure", "plain")) == "about 115 ohm, normal for such a coil."


@pytest.mark.parametrize("act", ["switch off feed_b", "power off", "fault feed_b lost"])
def test_without_its_feed_there_is_no_voltage(act: str) -> None:
    play = after(charged(), 0.1, act)
    text = says(play, "measure", "valve.14")
    assert text.startswith("0 V") and "normal" in winding(text)
    assert "valve.14 is dark" in says(play, "look", "valve")


def test_a_broken_coil_is_told_from_a_dead_output() -> None:
    # at once: the logic takes its command back when it sees the pressure go
    broken = after(charged(), 0.05, "fault valve coil-open")
    assert says(broken, "measure", "valve.14").startswith("48 V")
    assert "valve.14 is lit" in says(broken, "look", "valve")
    broken = after(resting(), 1.0, "fault valve coil-open")
    assert "open circuit" in winding(says(broken, "measure", "valve.14"))
    dead = after(charged(), 1.0, "fault valve output-stuck-off")
    text = says(dead, "measure", "valve.14")
    assert text.startswith("0 V") and "normal" in winding(text)
    assert "valve.14 is dark" in says(dead, "look", "valve")
    on = after(resting(), 1.0, "fault valve output-stuck-on")
    assert says(on, "measure", "valve.14").startswith("48 V")


def test_a_coil_is_found_good_again_when_it_was_put_right() -> None:
    play = after(resting(), 0.5, "fault valve coil-open")
    after(play, 0.5, "clear valve coil-open")
    assert says(play, "measure", "valve.14") == says(resting(), "measure", "valve.14")


def test_each_of_two_coils_is_measured_by_itself() -> None:
    play = after(resting(), 0.5, "fault pair coil-12-open", "fault pair output-14-stuck-on")
    assert says(play, "measure", "pair.14").startswith("48 V")
    after(play, 0.5, "open station", "clear pair output-14-stuck-on", "power off")
    assert "open circuit" in winding(says(play, "measure", "pair.12"))
    assert "normal" in winding(says(play, "measure", "pair.14"))


def test_a_soft_start_has_voltage_as_long_as_it_is_switched_on() -> None:
    play = resting()
    assert says(play, "measure", "start.14").startswith("48 V")
    after(play, 0.1, "switch off start")
    assert says(play, "measure", "start.14").startswith("0 V")


def test_a_forced_output_has_voltage() -> None:
    play = after(resting(), 0.5, "force valve.14 on")
    assert says(play, "measure", "valve.14").startswith("48 V")


def test_a_swapped_plug_is_measured_where_it_is() -> None:
    play = after(resting(), 0.5, "force valve.14 on", "swap valve.14 pair.14")
    assert says(play, "measure", "pair.14").startswith("48 V")
    assert says(play, "measure", "valve.14").startswith("0 V")
    assert "The lamp in the plug of pair.14 is lit" in says(play, "look", "pair")


# no more than instruments and senses give


def everything(play: Play) -> dict[tuple[str, str], str]:
    """Every finding there is."""
    found = {}
    circuit = play.compiled.circuit
    for name, part in circuit.components.items():
        targets = [("listen", name), ("look", name)]
        targets += [("read", f"{name}.{port.name}") for port in part.ports()]
        targets += [("measure", f"{name}.{side}") for side in part.coils()]
        for test, target in targets:
            try:
                finding = examine(play.compiled, play, test, target)
            except InputError:
                continue
            found[test, target] = " ".join((finding.text, *finding.cautions))
    return found


def faults(circuit: Circuit) -> list[tuple[str, str]]:
    return [
        (name, mode.name)
        for name, part in circuit.components.items()
        for mode in part.fault_modes()
    ]


def test_no_finding_names_a_fault() -> None:
    circuit = bench().circuit
    names = [*sorted({mode for _, mode in faults(circuit)}), "fault", "severity"]
    named = re.compile(rf"(?<![\w-])({'|'.join(names)})(?![\w-])")
    checked = 0
    for name, mode in faults(circuit):
        play = charged()
        try:
            after(play, 0.2, f"fault {name} {mode}")
        except InputError:  # a plant that cannot go on with it
            continue
        for (test, target), text in everything(play).items():
            text = re.sub(rf"\b({'|'.join(circuit.components)})\b", "", text)
            assert not named.search(text), (name, mode, test, target, text)
            checked += 1
    assert checked > 5000


ALIKE = [
    # nothing moves and nothing is driven: what is wrong cannot be told yet
    ("fault valve stuck-rest", "fault silencer blocked"),
    ("fault made stuck-off", "fault brake_1 spring-weak"),
    ("fault valve slow", "fault pair slow"),
    ("fault brake_1 jaw-seized", "fault brake_1 jaw-dragging"),
    ("fault valve uncommanded-return", "fault hose_1 kinked"),
    ("fault hose_1 burst", "fault hose_2 leak 3 mm"),
]


@pytest.mark.parametrize(("one", "other"), ALIKE)
def test_plants_that_look_alike_give_the_same_findings(one: str, other: str) -> None:
    a, b = after(resting(), 0.1, one), after(resting(), 0.1, other)
    assert a.plant.log.events[-1] != b.plant.log.events[-1]
    assert everything(a) == everything(b)


def test_a_leak_and_a_pinhole_of_one_size_sound_alike() -> None:
    a = after(charged(), 0.1, "fault brake_1 leak 1 mm")
    b = after(charged(), 0.1, "fault brake_1 bladder-pinhole 1 mm")
    assert everything(a) == everything(b)


def test_a_test_changes_nothing() -> None:
    play, twin = after(charged(), 0.1, "fault hose_1 leak 2 mm"), charged()
    after(twin, 0.1, "fault hose_1 leak 2 mm")
    everything(play)
    for run in (play, twin):
        run.advance(run.now + 3.0)
    np.testing.assert_array_equal(play.plant.state(), twin.plant.state())
    assert play.plant.log.events == twin.plant.log.events


@pytest.mark.parametrize("path", sorted(CIRCUITS.glob("*.yaml")), ids=lambda path: path.stem)
def test_every_circuit_can_be_examined(path: Path) -> None:
    found = everything(Play(compile_circuit(load(path))))
    assert {test for test, _ in found} >= {"read", "listen", "look"}
    assert all(text and "None" not in text and "nan" not in text for text in found.values())


def test_every_finding_carries_the_cautions_of_its_test() -> None:
    for test, target in (
        ("read", "tee.1"),
        ("listen", "tee"),
        ("look", "main"),
        ("measure", "pair.12"),
    ):
        assert examine(bench(), _settled(), test, target).cautions == hand_cautions(test)
