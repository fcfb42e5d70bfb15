"""What must hold between the parts of a circuit, beyond each part being well written.

Every check takes the circuit and the findings and adds to the latter. Checks that need sound
connections (`NETWORK_CHECKS`) run only when the others found no error.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Mapping

from pneumo.circuit.circuit import Circuit, PortRef, Zone
from pneumo.circuit.document import Findings, Place
from pneumo.circuit.graph import (
    against_the_air,
    highest_pressures,
    plain_loops,
    reached_ports,
    supply_ports,
)
from pneumo.circuit.spelling import listed, near
from pneumo.circuit.storm import MOST_CHANGES, storm
from pneumo.components import KINDS, kinds_with
from pneumo.components.base import Remark, Trait, kind_of
from pneumo.harmless import quoted
from pneumo.units import DURATION, format_pressure, format_time

Check = Callable[["Subject"], None]


class Subject:
    """A circuit under check, its findings, and where its parts stand in the document."""

    def __init__(
        self,
        circuit: Circuit,
        findings: Findings,
        places: Mapping[str, Place],
        broken: Container[str],
    ) -> None:
        self.circuit = circuit
        self.findings = findings
        self.places = places
        """Component -> place of its entry."""
        self.broken = broken
        """Names that are declared but could not be read; nothing is said about them."""

    def error(self, component: str, field: str, found: str, wanted: str) -> None:
        """Adds an error about a component."""
        self.findings.error(self._place(component, field), component, field, found, wanted)

    def warning(self, component: str, field: str, found: str, wanted: str) -> None:
        """Adds a warning about a component."""
        self.findings.warning(self._place(component, field), component, field, found, wanted)

    def zone_error(self, zone: str, field: str, found: str, wanted: str) -> None:
        """Adds an error about a zone."""
        place = ("zones", zone, *field.split("."))
        self.findings.error(place, zone, field, found, wanted)

    def zone_warning(self, zone: str, field: str, found: str, wanted: str) -> None:
        """Adds a warning about a zone."""
        place = ("zones", zone, *field.split("."))
        self.findings.warning(place, zone, field, found, wanted)

    def known(
        self, place: Place, owner: str, field: str, names: Iterable[str], trait: Trait
    ) -> tuple[str, ...]:
        """The names that are components with a trait; a finding for each of the others."""
        able = self.circuit.having(trait)
        good = []
        for name in names:
            if name in able:
                good.append(name)
                continue
            if name in self.broken:
                continue
            wanted = f"Use a {' or '.join(kinds_with(trait))}: {listed(able) or 'there is none'}."
            if name in self.circuit.components:
                found = f"{name} is a {kind_of(self.circuit.components[name])}."
            else:
                found, wanted = f"There is no component {quoted(name)}.", near(name, able, wanted)
            self.findings.error(place, owner, field, found, wanted)
        return tuple(good)

    def remark(self, component: str, remarks: Iterable[Remark]) -> None:
        """Adds what a component says of its own parameters."""
        for remark in remarks:
            add = self.error if remark.is_error else self.warning
            add(component, remark.field, remark.found, remark.wanted)

    def _place(self, component: str, field: str) -> Place:
        return (*self.places.get(component, ("components",)), *([field] if field else []))


def run_checks(subject: Subject, *, ports: bool) -> None:
    """Runs every check that makes sense.

    Parameters
    ----------
    subject : Subject
        The circuit and where its findings go.
    ports : bool
        False when some connection could not be read, so that ports may only seem unconnected.
    """
    if ports:
        _ports_connected(subject)
    for check in PART_CHECKS:
        check(subject)
    if not subject.findings.has_errors:
        for check in NETWORK_CHECKS:
            check(subject)


# parts


def _ports_connected(subject: Subject) -> None:
    circuit = subject.circuit
    used = {str(port) for link in circuit.connections for port in (link.a, link.b) if port}
    for name, component in circuit.components.items():
        loose = [
            port.name
            for port in component.ports()
            if port.role != "exhaust" and f"{name}.{port.name}" not in used
        ]
        if loose:
            plural = "s" if len(loose) > 1 else ""
            subject.error(
                name,
                "",
                f"Port{plural} {listed(loose)} not connected.",
                f"Connect it, or plug it: '{name}.{loose[0]} -> plug'.",
            )


def _feeds(subject: Subject) -> None:
    for name, component in subject.circuit.components.items():
        feed = getattr(component, "feed", None)
        if feed is not None:
            place = (*subject.places.get(name, ()), "feed")
            subject.known(place, name, "feed", [str(feed)], "feed")


def _remarks(subject: Subject) -> None:
    for name, component in subject.circuit.components.items():
        subject.remark(name, component.remarks(subject.circuit.ambient.pressure))


def _watchers(subject: Subject) -> None:
    circuit = subject.circuit
    in_zones = {name for zone in circuit.zones.values() for name in zone.brakes}
    for name, component in circuit.having("watcher").items():
        watched = str(getattr(component, "of", ""))
        if watched in subject.broken:
            continue
        if watched not in circuit.components:
            able = [key for key, part in circuit.components.items() if part.ends]
            subject.error(
                name,
                "of",
                f"There is no component {quoted(watched)}.",
                near(watched, able, f"Use a brake or cylinder: {listed(able) or 'none here'}."),
            )
            continue
        part = circuit.components[watched]
        kind = kind_of(part)
        if not part.ends:
            able = [f"a {kind}" for kind, model in KINDS.items() if model.ends]
            subject.error(name, "of", f"{watched} is a {kind}.", f"Use {' or '.join(able)}.")
            continue
        reads = str(getattr(component, "reads", ""))
        if reads not in part.ends:
            subject.error(
                name, "reads", f"A {kind} is never {reads}.", f"Write {' or '.join(part.ends)}."
            )
        elif "brake" in part.traits and watched not in in_zones:
            subject.warning(
                name,
                "of",
                f"It watches {watched}, which is in no zone.",
                "Add the brake to a zone, or nothing will read this switch.",
            )


def _brakes(subject: Subject) -> None:
    circuit = subject.circuit
    owner: dict[str, str] = {}
    for zone in circuit.zones.values():
        place: Place = ("zones", zone.name, "brakes")
        if not zone.brakes:
            subject.zone_error(
                zone.name, "brakes", "It has no brakes.", "Add one, for example brakes: [brake_1]."
            )
        for brake in subject.known(place, zone.name, "brakes", zone.brakes, "brake"):
            if brake in owner:
                found = f"{brake} is already in zone {owner[brake]}."
                subject.zone_error(
                    zone.name, "brakes", found, "Name a brake in one zone only, and once."
                )
            owner.setdefault(brake, zone.name)
    for brake in circuit.having("brake"):
        if brake not in owner:
            subject.warning(
                brake,
                "",
                "It is in no zone.",
                "Add it to a zone, or nothing commands or judges it.",
            )


def _springs(subject: Subject) -> None:
    circuit = subject.circuit
    for zone in circuit.zones.values():
        brakes = {name: circuit.components[name] for name in _present(circuit, zone.brakes)}
        springs = {name: str(getattr(brake, "spring", "")) for name, brake in brakes.items()}
        first = next(iter(springs.values()), "")
        others = [name for name, spring in springs.items() if spring != first]
        if others:
            subject.zone_error(
                zone.name,
                "brakes",
                f"It mixes spring types: {next(iter(springs))} is spring-{first}, "
                f"{listed(others)} is not.",
                "Use brakes of one spring type in a zone.",
            )
        elif first and zone.safe_state != {"open": "open", "close": "closed"}[first]:
            subject.zone_warning(
                zone.name,
                "safe_state",
                f"The springs do not produce the safe state: the brakes are spring-{first}, the "
                f"safe state is {zone.safe_state}.",
                "It depends on stored air: use the other spring type, or show that the air lasts.",
            )


def _outputs(subject: Subject) -> None:
    circuit = subject.circuit
    owner: dict[str, str] = {}
    owners: list[tuple[str, str, tuple[str, ...]]] = [
        *(("zones", zone.name, tuple(zone.outputs)) for zone in circuit.zones.values()),
        *(("gates", group.name, tuple(group.outputs)) for group in circuit.gates.values()),
    ]
    coils = dict.fromkeys(
        f"{name}.{side}" for name, part in circuit.components.items() for side in part.coils()
    )
    for section, name, outputs in owners:
        place: Place = (section, name, "outputs")
        if not outputs:
            subject.findings.error(
                place,
                name,
                "outputs",
                "It has no outputs, so nothing moves it.",
                "Add one, for example 'valve_a.14: charge'.",
            )
        for coil in outputs:
            here: Place = (*place, coil)
            if coil.rpartition(".")[0] in subject.broken:
                continue
            if coil not in coils:
                wanted = near(coil, coils, f"Coils here: {listed(coils) or 'none'}.")
                if coil in circuit.components and circuit.components[coil].coils():
                    wanted = f"Write '{coil}.{circuit.components[coil].coils()[0]}'."
                found = f"There is no coil {quoted(coil)}."
                subject.findings.error(here, name, "outputs", found, wanted)
            elif coil in owner:
                found = f"The coil {coil} already belongs to {owner[coil]}."
                subject.findings.error(
                    here, name, "outputs", found, "Give each coil to one zone or group only."
                )
            owner.setdefault(coil, name)


def _zone_sensors(subject: Subject) -> None:
    circuit = subject.circuit
    ride_place: Place = ("ride", "supply_switches")
    subject.known(
        ride_place, "ride", "supply_switches", circuit.ride.supply_switches, "pressure contact"
    )
    for zone in circuit.zones.values():
        for field, names in (
            ("pressure_switches", zone.pressure_switches),
            ("supply_switches", zone.supply_switches),
        ):
            place: Place = ("zones", zone.name, field)
            subject.known(place, zone.name, field, names, "pressure contact")
        if not zone.pressure_switches and zone.low_pressure is None:
            subject.zone_warning(
                zone.name,
                "pressure_switches",
                "It has no pressure switch and no transmitter: the logic cannot see whether it is "
                "charged.",
                "Add one, for example pressure_switches: [trim_charged].",
            )
        if zone.low_pressure is not None:
            _low_pressure(subject, zone)
        _switches_missing(subject, zone)


def _test_points(subject: Subject) -> None:
    circuit = subject.circuit
    known = [
        f"{name}.{port.name}"
        for name, component in circuit.components.items()
        for port in component.ports()
    ]
    for port in circuit.ride.test_points:
        if port not in known:
            subject.findings.error(
                ("ride", "test_points"), "ride", "test_points",
                f"There is no port {quoted(port)}.",
                near(port, known, "Write a component and a port, for example 'header.1'."),
            )  # fmt: skip


def _low_pressure(subject: Subject, zone: Zone) -> None:
    assert zone.low_pressure is not None
    place: Place = ("zones", zone.name, "low_pressure")
    names = [zone.low_pressure.transmitter]
    for name in subject.known(place, zone.name, "low_pressure", names, "reading"):
        low, high = _range_of(subject.circuit.components[name])
        if not low < zone.low_pressure.below < high:
            ambient = subject.circuit.ambient.pressure
            subject.zone_error(
                zone.name,
                "low_pressure",
                f"{format_pressure(zone.low_pressure.below, ambient)} is outside the range of "
                f"{name}, {format_pressure(low, ambient)} to {format_pressure(high, ambient)}.",
                "Choose a limit within the range.",
            )


def _switches_missing(subject: Subject, zone: Zone) -> None:
    circuit = subject.circuit
    brakes = _present(circuit, zone.brakes)
    for state in dict.fromkeys(end for name in brakes for end in circuit.components[name].ends):
        seen: dict[str, list[str]] = {}
        for name in circuit.zone_jaw_switches(zone.name):
            switch = circuit.components[name]
            if getattr(switch, "reads", "") == state:
                seen.setdefault(getattr(switch, "of", ""), []).append(name)
        for brake, names in seen.items():
            if len(names) > 1:
                subject.zone_warning(
                    zone.name,
                    "brakes",
                    f"{brake} has {len(names)} switches that read {state}: {listed(names, 4)}. The "
                    f"logic reads only {names[-1]}.",
                    "If one belongs to another brake, correct its of; if not, remove the others.",
                )
        blind = [name for name in brakes if name not in seen]
        if blind:
            subject.zone_warning(
                zone.name,
                "brakes",
                f"No jaw switch reads {state} at {listed(blind, 4)}.",
                "The logic cannot see that these jaws do not move; add switches.",
            )


def _limits(subject: Subject) -> None:
    scan = subject.circuit.ride.scan
    if not 1e-3 <= scan <= 1.0:
        subject.findings.error(
            ("ride", "scan"),
            "ride",
            "scan",
            f"The scan time is {format_time(scan)}.",
            "It must be from 1 ms to 1 s.",
        )
        return
    for zone in subject.circuit.zones.values():
        limits = zone.limits
        for field in ("close", "open", "vent", "discrepancy"):
            value = float(getattr(limits, field))
            if value <= scan:
                subject.zone_error(
                    zone.name,
                    f"limits.{field}",
                    f"The time limit is {format_time(value)}.",
                    f"It must be above the scan time, {format_time(scan)}.",
                )
        safe = limits.close if zone.safe_state == "closed" else limits.open
        if safe > max(3.0 * zone.requirement.within, 3.0):
            subject.zone_warning(
                zone.name,
                "limits",
                f"The logic waits {format_time(safe)} for the safe state (requirement: within "
                f"{format_time(zone.requirement.within)}).",
                "Shorten the limit, so that a zone that is late raises its alarm.",
            )


def _requirements(subject: Subject) -> None:
    for zone in subject.circuit.zones.values():
        need = zone.requirement
        if zone.safe_state == "closed" and not need.clamping_force:
            subject.zone_error(
                zone.name,
                "requirement.clamping_force",
                "The safe state is closed, but no clamping force is required.",
                "Say what each brake must do, like clamping_force: 4 kN.",
            )
        if zone.safe_state == "open" and need.clearance is None:
            subject.zone_error(
                zone.name,
                "requirement.clearance",
                "The safe state is open, but no clearance is required.",
                "Say how far each lining must be from the fin, like clearance: 2 mm.",
            )
        if zone.brakes and zone.brakes_needed > len(zone.brakes):
            subject.zone_error(
                zone.name,
                "requirement.brakes_needed",
                f"{zone.brakes_needed} brakes are needed, the zone has {len(zone.brakes)}.",
                f"Write 1 to {len(zone.brakes)}.",
            )


def _gates(subject: Subject) -> None:
    owner: dict[str, str] = {}
    for group in subject.circuit.gates.values():
        place: Place = ("gates", group.name, "cylinders")
        if not group.cylinders:
            subject.findings.error(
                place,
                group.name,
                "cylinders",
                "It has no cylinders.",
                "Add one, for example cylinders: [gate_1].",
            )
        for name in subject.known(place, group.name, "cylinders", group.cylinders, "gate"):
            if name in owner:
                found = f"{name} is already in {owner[name]}."
                wanted = "Name a cylinder in one group only, and once."
                subject.findings.error(place, group.name, "cylinders", found, wanted)
            owner.setdefault(name, group.name)


# the network


def _loops(subject: Subject) -> None:
    for loop in plain_loops(subject.circuit):
        if len(loop) == 1:
            found = "Its two ends are joined to each other."
        else:
            found = f"It is in a closed loop with nothing else in it: {listed(loop)}."
        subject.error(
            loop[0], "", found, "Feed it from the circuit; a ring needs a manifold where it is fed."
        )


def _air_everywhere(subject: Subject) -> None:
    circuit = subject.circuit
    with_ports = [name for name, component in circuit.components.items() if component.ports()]
    if with_ports and not supply_ports(circuit):
        subject.findings.error(
            ("components",),
            "",
            "",
            "The circuit has no supply of air.",
            "Add a compressor or an ideal_supply.",
        )
        return
    reached = {port.component for port in reached_ports(circuit)}
    in_loops = {name for loop in plain_loops(circuit) for name in loop}
    dry = [name for name in with_ports if name not in reached and name not in in_loops]
    behind = against_the_air(circuit)
    for name, (comes, cannot, parts) in behind.items():
        subject.error(
            name,
            "",
            f"Air comes to its port {comes} and cannot pass to port {cannot}; no air reaches "
            f"{listed(parts, 4)}.",
            "Swap its connections, or turn it round."
            if len(same := [n for n, (*_, others) in behind.items() if others == parts]) == 1
            else f"One of {listed(same)} is the wrong way round: swap its connections.",
        )
    explained = {part for _, _, parts in behind.values() for part in parts}
    for name in dry:
        if name in explained:
            continue
        subject.error(
            name,
            "",
            "No air can reach it from any supply.",
            "Look upstream for a missing connection, or a check valve the wrong way round.",
        )


def _pressures(subject: Subject) -> None:
    circuit = subject.circuit
    highest = highest_pressures(circuit)
    for name, component in circuit.components.items():
        ports = {port.name: PortRef(name, port.name) for port in component.ports()}
        most = {port: highest[ref] for port, ref in ports.items() if ref in highest}
        subject.remark(name, component.remarks_under(most, circuit.ambient.pressure))


def _present(circuit: Circuit, names: tuple[str, ...]) -> list[str]:
    brakes = circuit.having("brake")
    return [name for name in names if name in brakes]


def _range_of(transmitter: object) -> tuple[float, float]:
    return float(getattr(transmitter, "low")), float(getattr(transmitter, "high"))  # noqa: B009


def _storms(subject: Subject) -> None:
    scan = subject.circuit.ride.scan
    for name, scenario in subject.circuit.scenarios.items():
        found = storm(scenario.events)
        if found is None:
            continue
        what = "This fault repeats"
        if found.faults > 1:
            what = f"{found.faults} faults repeat here, this one the fastest,"
        slowest = DURATION.text(2.0 * found.faults / MOST_CHANGES)
        each = " for each of them" if found.faults > 1 else ""
        subject.findings.warning(
            found.fastest.line,
            name,
            "events",
            f"{what} with {found.changes:.0f} changes a second. That makes the calculation slow: "
            f"about {found.work:.2g} s for each second of the ride. Where a part changes more than "
            f"{MOST_CHANGES:.0f} times in a second, not every change is listed.",
            f"Write 'every {slowest}' or more{each}: the controller reads its inputs only every "
            f"{DURATION.text(scan)}.",
        )


PART_CHECKS: tuple[Check, ...] = (
    _feeds,
    _remarks,
    _watchers,
    _brakes,
    _springs,
    _outputs,
    _zone_sensors,
    _test_points,
    _limits,
    _requirements,
    _gates,
    _storms,
)
"""Checks of parts and of the names they give each other."""

NETWORK_CHECKS: tuple[Check, ...] = (
    _loops,
    _air_everywhere,
    _pressures,
)
"""Checks of where air can go and at what pressure."""
