"""Documents to circuits: what a sound one becomes, and what is said of every kind of slip."""

from __future__ import annotations

from pathlib import Path

import pytest
from circuit_sample import SAMPLE, findings_of, line_of, load_sample, spoiled

from pneumo.circuit import connections, parts, spelling
from pneumo.circuit.action import Command, FaultSpec, Inject, RideStop
from pneumo.circuit.circuit import Connection, PortRef
from pneumo.circuit.document import MOST_FINDINGS
from pneumo.circuit.validate import load, load_text
from pneumo.errors import DocumentError

CIRCUITS = sorted((Path(__file__).parents[2] / "circuits").glob("*.yaml"))


def test_the_sample_becomes_a_circuit_in_si_and_document_order() -> None:
    circuit = load_sample()
    assert circuit.warnings == ()
    assert list(circuit.components)[:4] == ["feed", "compressor", "check", "receiver"]
    assert getattr(circuit.components["receiver"], "volume") == 0.2  # noqa: B009
    assert getattr(circuit.components["closed_2"], "of") == "brake_2"  # noqa: B009
    assert circuit.ambient.pressure == 101_300.0
    assert circuit.lines and circuit.lines["brake_2"] == line_of(SAMPLE, "brake_{1..2}:")


def test_connections_nets_and_open_ends() -> None:
    circuit = load_sample()
    line = line_of(SAMPLE, "- tee.{3..4}")
    joined = Connection(PortRef("tee", "4"), PortRef("hose_2", "1"), "port", line)
    assert joined in circuit.connections
    assert (PortRef("tee", "4"), PortRef("hose_2", "1")) in circuit.nets()
    assert (PortRef("receiver", "5"),) in circuit.nets()
    assert circuit.open_ends() == (PortRef("regulator", "3"),)


def test_an_open_end_may_be_declared_from_either_side() -> None:
    for entry in ("receiver.5 -> atmosphere", "atmosphere -> receiver.5"):
        circuit = load_sample(spoiled("receiver.5 -> plug", entry))
        assert PortRef("receiver", "5") in circuit.open_ends()
        assert all(PortRef("receiver", "5") not in net for net in circuit.nets())


def test_zones_are_filled_in() -> None:
    circuit = load_sample()
    zone = circuit.zones["final"]
    assert (zone.starts, zone.brakes_needed, zone.requirement.brakes_needed) == ("closed", 2, 2)
    assert zone.limits.close == 3.0
    assert zone.brakes == ("brake_1", "brake_2")
    assert circuit.zone_spring("final") == "close"
    assert circuit.zone_jaw_switches("final") == ("open_1", "open_2", "closed_1", "closed_2")
    for name in ("brake_1", "valve", "made", "pressure", "open_2"):
        assert circuit.zone_of(name) == "final"
    assert circuit.zone_of("receiver") is None


def test_scenarios_are_in_order_of_time() -> None:
    scenario = load_sample().scenarios["leak at noon"]
    assert scenario.until == 20.0
    assert [event.time for event in scenario.events] == [1.0, 5.0, 9.0]
    assert scenario.events[0].action == Command("final", "open")
    leak = FaultSpec("hose_2", "leak", 0.002, "mm", at=5.0, over=3.0)
    assert scenario.events[1].action == Inject(leak)
    assert scenario.events[1].line == line_of(SAMPLE, "- at 5 s")
    assert scenario.events[2].action == RideStop()


def test_gauge_pressures_count_from_the_ambient_of_the_document() -> None:
    text = SAMPLE + "ambient: {pressure: 0.9 bar abs}\n"
    circuit = load_sample(text)
    assert getattr(circuit.components["regulator"], "set_pressure") == 590_000.0  # noqa: B009
    assert getattr(circuit.components["pressure"], "low") == 90_000.0  # noqa: B009


# one slip, one finding; the last column is what the finding must say would be right
ERRORS = [
    ("site: Millbeck Pier", "size: 3", "size", "no field", "'site'"),
    ("  name: Sand Martin\n", "", "ride", "needs name", "Add it"),
    ("ride:\n", "rides:\n", "rides", "no section", "'ride'"),
    ("[main_low]", "[main_lo]", "supply_switches", "no component 'main_lo'", "'main_low'"),
    ("[main_low]", "[pressure]", "supply_switches", "pressure is a transmitter", "main_low"),
    ("kind: receiver,", "kind: reciever,", "kind", "no kind 'reciever'", "'receiver'"),
    ("{kind: electrical_feed}", "{}", "kind", "no kind", "Kinds are"),
    ("{kind: electrical_feed}", "feed", "feed", "not a mapping", "kind: hose"),
    ("volume: 200 L, ", "", "volume", "needs volume", "'volume: 50 L'"),
    ("volume: 200 L", "volumee: 200 L, volume: 1 L", "volumee", "no field", "'volume'"),
    ("volume: 200 L", "volume: -200 L", "volume", "out of range", "from 0.001 L to 50000 L"),
    ("volume: 200 L", "volume: [200 L]", "volume", "a list", "50 L"),
    ("b: 0.3, feed", "b: 1.3, feed", "b", "out of range", "from 0 to 0.95"),
    ("set_pressure: 5 bar", "set_pressure: 5,2 bar", "2 bar", "no field", "decimal point"),
    ("set_pressure: 5 bar", "set_pressure: 9 bar", "set_pressure", "at most 8.00 bar", "below"),
    ("load_at: 7 bar", "load_at: 9 bar", "unload_at", "at or below", "higher"),
    ("spring: close", "spring: closed", "spring", "'closed' is not", "'close'"),
    ("feed: feed}", "feed: fed}", "feed", "no component 'fed'", "'feed'"),
    ("feed: feed}", "feed: made}", "feed", "made is a pressure_switch", "electrical_feed"),
    ("set: 4 bar", "set: 0.3 bar", "set", "never goes OFF", "Raise set"),
    ("{kind: transmitter}", "{kind: transmitter, high: -0.5 bar}", "high", "empty", "higher"),
    ("tee:", "Tee:", "Tee", "not a name", "lower-case"),
    ("silencer:", "check:", "check", "already used in line", "another name"),
    ("  tee:", "  hose_2: {kind: feed}\n  tee:", "hose_", "already used in line", "its own name"),
    ("silencer:", "plug:", "plug", "meaning of its own", "another name"),
    ("hose_{1..2}: {", "hose_{1..900}: {", "hose", "900 names", "500"),
    ('of: "brake_{1..2}", reads: open', 'of: "brake_{1..3}", reads: open', "of", "3 names", "same"),
    ('of: "brake_{1..2}", reads: open', "of: brak_1, reads: open", "of", "no component", "'brake_"),
    ('of: "brake_{1..2}", reads: open', "of: made, reads: open", "of", "pressure_switch", "brake"),
    ("reads: open", "reads: extended", "reads", "never extended", "open or closed"),
    ("tee.2 -> made.1", "tee.2 => made.1", "connections", "not a connection", "->"),
    ("tee.2 -> made.1", "tee.2 -> made", "connections", "not a port", "'made.PORT'"),
    ("tee.2 -> made.1", "tee.2 -> mad.1", "mad", "no component", "'made'"),
    ("tee.2 -> made.1", "tee.9 -> made.1", "tee", "no port '9'", "1, 2, 3, 4"),
    ("tee.2 -> made.1", "tee.2 -> feed.1", "feed", "no port '1'", "no ports at all"),
    ("tee.2 -> made.1", "tee.2 -> tee.2", "tee", "to itself", "plug"),
    ("tee.{3..4} ->", "tee.{3..5} ->", "connections", "3 ends on the left and 2", "same length"),
    ("tee.{3..4} ->", "tee.3 ->", "connections", "1 ends on the left and 2", "same length"),
    ("tee.2 -> made.1", "tee.1 -> made.1", "tee", "already connected in line", "manifold"),
    ("  - receiver.5 -> plug\n", "", "receiver", "Port 5 not connected", "'receiver.5 -> plug'"),
    ('brakes: ["brake_{1..2}"]', "brakes: []", "brakes", "no brakes", "brakes: [brake_1]"),
    ('["brake_{1..2}"]', "[brake_1, brake_2, brake_3]", "brakes", "no component", "'brake_"),
    ('["brake_{1..2}"]', "[brake_1, brake_2, hose_1]", "brakes", "hose_1 is a hose", "brake_1"),
    ('["brake_{1..2}"]', "[brake_1, brake_2, brake_1]", "brakes", "already in zone", "once"),
    ('["brake_{1..2}"]', "{a: b}", "brakes", "something other than names", "list"),
    ("{valve.14: charge}", "{}", "outputs", "no outputs", "valve_a.14: charge"),
    ("{valve.14: charge}", "{valve.12: charge}", "outputs", "no coil", "'valve.14'"),
    ("{valve.14: charge}", "{valve: charge}", "outputs", "no coil 'valve'", "'valve.14'"),
    (
        "{valve.14: charge}",
        "{valve.14: fill}",
        "outputs.valve.14",
        "not a choice",
        "charge or vent",
    ),
    ("[made]", "[mad]", "pressure_switches", "no component", "'made'"),
    ("transmitter: pressure", "transmitter: made", "low_pressure", "pressure_switch", "pressure"),
    ("below: 4 bar", "below: 40 bar", "low_pressure", "outside the range", "within"),
    ("safe_state: closed", "safe_state: close", "safe_state", "not a choice", "closed"),
    ("    safe_state: closed\n", "", "safe_state", "needs safe_state", "safe_state: open"),
    ("clamping_force: 5 kN", "clearance: 1 mm", "clamping_force", "no clamping force", "4 kN"),
    ("within: 2 s,", "within: 0 s,", "requirement.within", "out of range", "from 1 ms to 1 h"),
    ("within: 2 s,", "within: 2 s, hold: 9000 h,", "requirement.hold", "out of range", "24 h"),
    ("within: 2 s,", "withing: 1 s, within: 2 s,", "requirement.withing", "no field", "'within'"),
    ("within: 2 s,", "within: 2 s, brakes_needed: 3,", "brakes_needed", "3 brakes", "1 to 2"),
    (
        "safe_state: closed",
        "safe_state: closed\n    limits: {close: 5 ms}",
        "limits",
        "0.005 s",
        "0.020 s",
    ),
    ("safe_state: closed", "safe_state: closed\n    limits: 5 ms", "limits", "named fields", ":"),
    ("site: Millbeck Pier", "scan: 3 s", "scan", "The scan time is 3.000 s", "from 1 ms to 1 s"),
    ("until: 20 s", "until: soon", "until", "not a time", "2 s"),
    ("at 1 s: open final", "at 1 s: opne final", "events", "not a verb", "'open'"),
    ("at 1 s: open final", "after 1 s: open final", "events", "not an event", "at 1 s"),
    ("at 1 s: open final", "at noon: open final", "events", "not a time", "2 s"),
    ("at 1 s: open final", "{at 1 s: open final, at 2 s: x}", "events", "not an event", "at 1 s"),
    ("fault hose_2 leak 2 mm", "fault hose_2 leak 2 bar", "events", "unit", "25 mm"),
]


@pytest.mark.parametrize(("old", "new", "where", "found", "wanted"), ERRORS)
def test_a_slip_is_one_finding(old: str, new: str, where: str, found: str, wanted: str) -> None:
    text = spoiled(old, new)
    errors = [item for item in findings_of(text) if item.level == "error"]
    hits = [
        item for item in errors if where in f"{item.component}.{item.field}" and found in item.found
    ]
    assert hits, [str(item) for item in errors]
    assert wanted in hits[0].wanted
    assert hits[0].line > 0
    assert hits[0].file == "sample.yaml"
    # a slip may show in every member of a range, but never as a train of consequences
    assert len({(item.line, item.found) for item in errors}) <= 2, [str(i) for i in errors]


def test_the_line_is_that_of_the_field() -> None:
    text = spoiled("spring_force: 8 kN", "spring_force: 8 kg")
    (item,) = findings_of(text)
    assert item.line == line_of(text, "8 kg")
    assert (item.component, item.field) == ("brake_{1..2}", "spring_force")


def test_all_slips_are_told_at_once_in_order_of_lines() -> None:
    text = SAMPLE
    for old, new in (
        ("volume: 200 L", "volume: 200"),
        ("set: 4 bar", "sett: 4 bar"),
        ("tee.2 -> made.1", "te.2 -> made.1"),
        ("at 1 s: open final", "at 1 s: open finale"),
    ):
        text = text.replace(old, new)
    lines = [item.line for item in findings_of(text)]
    expected = ("volume: 200,", "made:", "te.2", "open finale")
    assert set(lines) == {line_of(text, passage) for passage in expected}
    assert lines == sorted(lines)


def test_nothing_is_said_of_what_rests_on_an_unread_component() -> None:
    errors = findings_of(spoiled("spring_rate: 120 N/mm", "spring_rate: 120"))
    assert [item.field for item in errors] == ["spring_rate"]


WARNINGS = [
    ("unload_at: 8 bar", "unload_at: 7.02 bar", "unload_at", "0.02 bar above"),
    ("spring: close", "spring: open", "safe_state", "springs do not produce"),
    ('["brake_{1..2}"]', "[brake_1]", "", "It is in no zone"),
    ('["brake_{1..2}"]', "[brake_1]", "of", "which is in no zone"),
    ("  closed_{1..2}:", "  shut_1: {kind: jaw_switch, of: brake_1, reads: closed}\n  open_3:",
     "brakes", "No jaw switch reads closed at brake_2"),
    ("  closed_{1..2}:", "  odd: {kind: jaw_switch, of: brake_1, reads: closed}\n  closed_{1..2}:",
     "brakes", "brake_1 has 2 switches that read closed: odd, closed_1. The logic reads only "
     "closed_1."),
    ("set: 4 bar", "set: 5.5 bar", "set", "never comes ON"),
    ("until: 20 s", "until: 8 s", "events", "after the end"),
    ("safe_state: closed", "safe_state: closed\n    limits: {close: 30 s}", "limits", "30.000 s"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "field", "found"), WARNINGS)
def test_doubts_are_warnings(old: str, new: str, field: str, found: str) -> None:
    text = spoiled(old, new)
    if "shut_1" in new:
        text = text.replace('  open_3: {kind: jaw_switch, of: "brake_{1..2}", reads: closed}\n', "")
    findings = findings_of(text)
    assert {item.level for item in findings} == {"warning"}
    assert any(item.field == field and found in item.found for item in findings), findings
    assert load_sample(text).warnings == tuple(findings)


def test_a_zone_is_seen_charged_by_a_switch_or_by_a_transmitter() -> None:
    switch = "    pressure_switches: [made]\n"
    transmitter = "    low_pressure: {transmitter: pressure, below: 4 bar}\n"
    assert switch in SAMPLE and transmitter in SAMPLE
    assert findings_of(SAMPLE.replace(switch, "")) == []
    assert findings_of(SAMPLE.replace(transmitter, "")) == []
    (blind,) = findings_of(SAMPLE.replace(switch, "").replace(transmitter, ""))
    assert (blind.level, blind.field) == ("warning", "pressure_switches")
    assert "cannot see whether" in blind.found


def test_springs_of_both_kinds_in_a_zone() -> None:
    odd = (
        "  brake_9: {kind: bladder_brake, spring: open, area: 300 cm2, spring_force: 1 kN, "
        "spring_rate: 50 N/mm}\n"
    )
    text = SAMPLE.replace("connections:\n", odd + "connections:\n  - receiver.5 -> brake_9.1\n")
    text = text.replace("  - receiver.5 -> plug\n", "").replace(
        '["brake_{1..2}"]', "[brake_1, brake_9, brake_2]"
    )
    errors = [item for item in findings_of(text) if item.level == "error"]
    assert [item.field for item in errors] == ["brakes"]
    assert "brake_9 is not" in errors[0].found


def test_a_coil_belongs_to_one_zone() -> None:
    text = SAMPLE.replace(
        "scenarios:\n",
        "  second:\n    brakes: [brake_2]\n    outputs: {valve.14: charge}\n"
        "    safe_state: closed\n"
        "    requirement: {within: 2 s, clamping_force: 5 kN}\nscenarios:\n",
    )
    found = {item.found for item in findings_of(text) if item.level == "error"}
    assert found == {
        "brake_2 is already in zone final.",
        "The coil valve.14 already belongs to final.",
    }


def test_gates() -> None:
    text = SAMPLE.replace("scenarios:\n", "gates:\n  doors: {cylinders: [hose_1, x]}\nscenarios:\n")
    errors = {item.field: item.found for item in findings_of(text)}
    assert errors == {
        "cylinders": "There is no component 'x'.",
        "outputs": "It has no outputs, so nothing moves it.",
    }
    text = SAMPLE.replace("scenarios:\n", "gates:\n  final: {cylinders: []}\nscenarios:\n")
    assert "A zone has this name too." in {item.found for item in findings_of(text)}


@pytest.mark.parametrize(
    ("extra", "links", "found"),
    [
        ("pipe_1: {kind: pipe, length: 1 m, bore: 9 mm}", ["pipe_1.1 -> pipe_1.2"], "two ends"),
        (
            '"pipe_{1..2}": {kind: pipe, length: 1 m, bore: 9 mm}',
            ["pipe_1.2 -> pipe_2.1", "pipe_2.2 -> pipe_1.1"],
            "closed loop with nothing else in it: pipe_1, pipe_2",
        ),
        ("tank: {kind: receiver, volume: 1 L, ports: 1}", ["tank.1 -> plug"], "No air can reach"),
        (
            "back: {kind: check_valve, C: 1 L/(s·bar), b: 0.4}\n"
            + "  tank: {kind: receiver, volume: 1 L, ports: 1}",
            ["receiver.5 -> back.2", "back.1 -> tank.1"],
            "Air comes to its port 2 and cannot pass to port 1; no air reaches tank.",
        ),
    ],
)
def test_air_that_cannot_come(extra: str, links: list[str], found: str) -> None:
    text = SAMPLE.replace(
        "connections:\n", f"  {extra}\nconnections:\n  - " + "\n  - ".join(links) + "\n"
    )
    if any("receiver.5" in link for link in links):
        text = text.replace("  - receiver.5 -> plug\n", "")
    errors = findings_of(text)
    assert [found in item.found for item in errors] == [True]


def test_a_ring_through_a_manifold_is_no_loop() -> None:
    text = SAMPLE.replace(
        "connections:\n",
        "  ring: {kind: manifold, ports: 3}\n  pipe: {kind: pipe, length: 9 m, bore: 20 mm}\n"
        "connections:\n  - receiver.5 -> ring.1\n  - ring.2 -> pipe.1\n  - pipe.2 -> ring.3\n",
    ).replace("  - receiver.5 -> plug\n", "")
    assert load_sample(text).warnings == ()


def test_a_circuit_without_supply() -> None:
    text = (
        "ride: {name: Sand Martin}\ncomponents:\n  a: {kind: silencer, C: 1 L/(s·bar), b: 0.4}\n"
        "connections: [a.1 -> plug]\n"
    )
    assert ["no supply" in item.found for item in findings_of(text)] == [True]


def test_empty_sections_are_as_good_as_none() -> None:
    text = SAMPLE[: SAMPLE.index("scenarios:")] + "ambient:\ngates:\nscenarios:\nverification:\n"
    assert load_sample(text).scenarios == {}


def test_a_file_and_its_text_agree(tmp_path: Path) -> None:
    path = tmp_path / "sample.yaml"
    path.write_text(SAMPLE, encoding="utf-8")
    assert load(path) == load_text(SAMPLE, str(path))


@pytest.mark.parametrize("path", CIRCUITS, ids=lambda path: path.stem)
def test_every_shipped_circuit_loads(path: Path) -> None:
    circuit = load(path)
    assert circuit.zones or circuit.gates
    assert all(item.field == "safe_state" for item in circuit.warnings)


def test_a_document_of_no_use_carries_its_findings() -> None:
    with pytest.raises(DocumentError) as caught:
        load_text("nonsense: 1", "x.yaml")
    assert {item.field for item in caught.value.findings} == {"nonsense", "ride", "components"}


def test_a_document_of_absurd_size_ends_with_a_finding(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parts, "MOST_COMPONENTS", 5000)
    hoses = "".join(f"  h{i}_{{1..500}}: {{kind: electrical_feed}}\n" for i in range(11))
    many = "ride: {name: Sand Martin}\ncomponents:\n" + hoses
    assert ["more than 5000 components" in item.found for item in findings_of(many)] == [True]


def test_reading_ends_with_so_many_errors_and_with_it_the_search_for_names_that_were_meant(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    searches = []
    closest = spelling._closest
    monkeypatch.setattr(spelling, "_closest", lambda *of: (searches.append(of), closest(*of))[1])
    links = "connections:\n" + "  - recever.{1..500} -> plug\n" * 21
    for text in (
        spoiled("connections:\n", links),
        spoiled("    events:\n", "    events:\n" + "      - at 1 s: close trimm\n" * 3000),
    ):
        searches.clear()
        *errors, last = [item for item in findings_of(text) if item.level == "error"]
        assert len(errors) == MOST_FINDINGS
        assert last.found == f"Reading stopped after {MOST_FINDINGS} errors."
        assert len(searches) <= MOST_FINDINGS


def test_connections_are_counted_before_they_are_made(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "MOST_CONNECTIONS", 10_000)
    links = "".join(f"  - m_{i}.{{1..200}} -> plug\n" for i in range(1, 52))
    text = (
        "ride: {name: Sand Martin}\ncomponents:\n  m_{1..51}: {kind: manifold, ports: 200}\n"
        f"connections:\n{links}"
    )
    assert [item.found for item in findings_of(text)] == ["There are more than 10000 connections."]
