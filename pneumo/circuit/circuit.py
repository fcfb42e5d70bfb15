"""A circuit as the rest of the program sees it: checked, frozen, in SI, in document order.

The pydantic models here are also the sections of the document; what a section leaves out, and what
only the whole document can tell (`Zone.starts`, `Requirement.brakes_needed`), is filled in while
loading, so that a reader of a `Circuit` meets no hidden default.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from statistics import median
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from pneumo.circuit.action import Action
from pneumo.circuit.document import RangeError, expanded
from pneumo.circuit.targets import repairable
from pneumo.components.base import Component, Ending, Trait, kind_of
from pneumo.errors import Finding
from pneumo.quantity import STANDARD_AMBIENT_PRESSURE, QuantityError
from pneumo.units import (
    STANDARD_AMBIENT_TEMPERATURE,
    Count,
    Distance,
    Duration,
    Force,
    Interval,
    Pressure,
    Temperature,
    Within,
    as_pydantic,
)

State = Literal["open", "closed"]


# types of fields that hold names


def _names(value: object) -> list[str]:
    texts = [value] if isinstance(value, str) and value else value
    if not isinstance(texts, (list, tuple)) or not all(isinstance(text, str) for text in texts):
        raise as_pydantic(
            QuantityError(
                "Found something other than names.", 'Write a list like ["brake_{1..4}"].'
            )
        )
    return [name for text in texts for name in _spread(text.strip())]


def _outputs(value: object) -> object:
    if not isinstance(value, Mapping):
        raise as_pydantic(
            QuantityError(
                "Found something other than coils.", "Write each as 'valve_a.14: charge'."
            )
        )
    return {name: word for text, word in value.items() for name in _spread(str(text).strip())}


def _spread(text: str) -> list[str]:
    try:
        return expanded(text)
    except RangeError as error:
        raise as_pydantic(QuantityError(error.found, error.wanted)) from None


_NAMES_SCHEMA: dict[str, Any] = {
    "anyOf": [{"type": "array", "items": {"type": "string"}}, {"type": "string"}],
    "description": 'names; a range like "brake_{1..4}" means each of them',
}

Names = Annotated[tuple[str, ...], BeforeValidator(_names), WithJsonSchema(_NAMES_SCHEMA)]
"""Names of components, brace ranges expanded."""


class Section(BaseModel):
    """A section of a document: frozen, and no field it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)


AllowedTime = Annotated[Interval, Within("interval", "1 ms", "1 h")]
"""A time that the logic or a requirement allows [s]."""


class Ride(Section):
    """The ride and its controller."""

    name: str = Field(min_length=1)
    site: str = ""
    about: str = ""
    scan: Interval = 0.020
    """Period of the controller's scan [s]."""
    supply_switches: Names = ()
    """Pressure switches; one that is OFF means low supply for the whole ride."""
    test_points: Names = ()
    """Ports with a coupling for a test gauge; further ones are where a gauge or a plug is."""


class Ambient(Section):
    """The surroundings."""

    pressure: Annotated[Pressure, Within("pressure", "0.5 bar abs", "1.2 bar abs")] = (
        STANDARD_AMBIENT_PRESSURE
    )
    """[Pa absolute]"""
    temperature: Annotated[Temperature, Within("temperature", "-60 C", "70 C")] = (
        STANDARD_AMBIENT_TEMPERATURE
    )
    """[K]"""


class Limits(Section):
    """Times the zone logic allows before it raises a fault [s]."""

    close: AllowedTime = 3.0
    """For the jaws to close on command."""
    open: AllowedTime = 3.0
    """For the jaws to open on command."""
    vent: AllowedTime = 3.0
    """For the zone's pressure to go."""
    discrepancy: AllowedTime = 0.5
    """For sensors to contradict each other."""


class Requirement(Section):
    """What a zone must do to count as safe."""

    within: AllowedTime
    """Time to reach the safe state [s]."""
    hold: Annotated[Duration, Within("duration", "0 s", "24 h")] = 60.0
    """Time the safe state must last [s]."""
    clamping_force: Annotated[Force, Within("force", "0 N", "500 kN")] | None = None
    """Normal force of one ski on the fin, per brake [N]; None: not judged."""
    clearance: Annotated[Distance, Within("distance", "0 mm", "500 mm")] | None = None
    """Distance of each lining from the fin when open [m]; None: not judged."""
    brakes_needed: Count | None = None
    """Brakes that must do so; once loaded never None (left out: all)."""


class LowPressure(Section):
    """Loss of pressure seen by a transmitter while the zone is charged."""

    transmitter: str
    below: Pressure
    """[Pa absolute]"""


class ZoneEntry(Section):
    """A brake zone as written."""

    about: str = ""
    brakes: Names = ()
    outputs: Annotated[dict[str, Literal["charge", "vent"]], BeforeValidator(_outputs)] = {}
    """Coil -> whether it is energised to charge or to vent the zone."""
    pressure_switches: Names = ()
    """ON = zone charged."""
    supply_switches: Names = ()
    """OFF = low supply at this zone."""
    low_pressure: LowPressure | None = None
    safe_state: State
    starts: State | None = None
    """State at the start; once loaded never None (left out: the safe state)."""
    limits: Limits = Limits()
    requirement: Requirement


class Zone(ZoneEntry):
    """A brake zone, everything filled in."""

    name: str
    line: int = 0
    starts: State
    brakes_needed: int
    """Brakes that must reach the safe state."""


class GateGroupEntry(Section):
    """Cylinders that move together on command, as written."""

    about: str = ""
    cylinders: Names = ()
    outputs: Annotated[dict[str, Literal["open", "close"]], BeforeValidator(_outputs)] = {}
    """Coil -> the commanded state during which it is energised."""
    starts: State = "closed"


class GateGroup(GateGroupEntry):
    """Cylinders that move together on command."""

    name: str
    line: int = 0


class VerificationSettings(Section):
    """How `pneumo verify` tests this ride."""

    demand_after: AllowedTime = 2.0
    """From a fault to the ride stop that tests it [s]."""


WorkTime = Annotated[Duration, Within("duration", "0 s", "24 h")]
"""Time that a piece of work takes [s]."""


class Downtime(Section):
    """How long each kind of work keeps the ride standing [s].

    The values are estimates for one technician who has tools and spare parts at the ride: common
    practice, no source. A ride's document gives its own.
    """

    command: WorkTime = 30.0
    """One command at the desk."""
    turn: WorkTime = 120.0
    """Walk to a shut-off valve or a drain and turn it."""
    switch: WorkTime = 60.0
    """Switch a supply or a feed at its panel."""
    override: WorkTime = 120.0
    """Press a manual override, or let it go."""
    force: WorkTime = 180.0
    """Force an input or output, or take the force off, by the programming device."""
    swap: WorkTime = 600.0
    """Exchange the plugs of two coils."""
    lock: WorkTime = 180.0
    """Put a lock and a tag on what is turned off, or take them off."""
    prove: WorkTime = 240.0
    """Prove at a gauge that nothing is under pressure."""
    block: WorkTime = 480.0
    """Block the jaws of a brake, or take the block out."""
    permit: WorkTime = 600.0
    """Get the permit for tests on live wires."""
    read: WorkTime = 180.0
    """A test gauge at a test point."""
    fit_gauge: WorkTime = 900.0
    """Fit a tee with a test point where there is none."""
    decay: WorkTime = 60.0
    """Set a gauge to watch the pressure fall; the watching itself comes on top."""
    listen: WorkTime = 120.0
    """Listen beside a part."""
    soap: WorkTime = 300.0
    """Soapy water at the joints of a part."""
    look: WorkTime = 120.0
    """Look at a part closely."""
    measure: WorkTime = 240.0
    """A multimeter at a coil."""
    measure_lining: WorkTime = 300.0
    """Callipers at the linings of a brake."""
    pull: WorkTime = 600.0
    """A load cell at a ski."""
    measure_card: WorkTime = 240.0
    """A multimeter at an output of the controller."""
    pry: WorkTime = 300.0
    """Pry at a jaw by hand."""
    cycle: WorkTime = 180.0
    """Switch one valve alone, and listen to it."""
    ask: WorkTime = 120.0
    """Ask the operator."""
    log_book: WorkTime = 180.0
    """Read the log book."""
    replace: WorkTime = 2700.0
    """Take a part out and fit a new one."""
    replace_coil: WorkTime = 900.0
    """Fit a new coil."""
    clean: WorkTime = 1200.0
    """Take a part apart and clean it."""
    refit: WorkTime = 900.0
    """Make a joint or a fitting tight."""
    adjust: WorkTime = 600.0
    """Set a part to its setting again."""
    free: WorkTime = 1500.0
    """Free what is seized, and grease it."""
    reline: WorkTime = 2400.0
    """New linings in a brake."""
    reconnect: WorkTime = 720.0
    """Remake a wire, or move it to a spare terminal."""
    function_test: WorkTime = 480.0
    """Every zone once closed and once open, with nothing alarming."""
    hand_back: WorkTime = 300.0
    """Fill in the sheet and hand the ride back."""
    hint: WorkTime = 600.0
    """What a hint costs."""


@dataclass(frozen=True)
class Failures:
    """How often parts fail in service, as far as the document says."""

    rates: Mapping[tuple[str, str], float] = field(default_factory=dict)
    """(component, fault mode) -> how often it comes [1/s], in document order."""

    @cached_property
    def left_out(self) -> float:
        """What stands for a fault mode of which nothing is said: the median of those of which
        something is [1/s]; 1 where nothing is said of any."""
        return median(self.rates.values()) if self.rates else 1.0


class ScenarioEntry(Section):
    """A named scenario as written."""

    about: str = ""
    until: Interval
    events: tuple[Any, ...] = ()


# the parts that only exist once loaded


@dataclass(frozen=True, order=True)
class PortRef:
    """A port of a component."""

    component: str
    port: str

    def __str__(self) -> str:
        return f"{self.component}.{self.port}"


@dataclass(frozen=True)
class Connection:
    """Two ports joined, or one port that is blanked or left open."""

    a: PortRef
    b: PortRef | None
    """None: there is no second port, see `end`."""
    end: Literal["port", "plug", "atmosphere"] = "port"
    line: int = 0


@dataclass(frozen=True)
class Event:
    """Something that happens at a time [s] in a scenario."""

    time: float
    action: Action
    line: int = 0


@dataclass(frozen=True)
class Scenario:
    """Named events in order of time; those of one instant keep the order of the document."""

    name: str
    until: float
    """[s]"""
    events: tuple[Event, ...]
    about: str = ""
    line: int = 0


@dataclass(frozen=True)
class Circuit:
    """A checked circuit. Every collection is in document order."""

    path: str
    ride: Ride
    ambient: Ambient
    components: Mapping[str, Component]
    connections: tuple[Connection, ...]
    zones: Mapping[str, Zone]
    gates: Mapping[str, GateGroup]
    verification: VerificationSettings
    scenarios: Mapping[str, Scenario]
    warnings: tuple[Finding, ...] = ()
    lines: Mapping[str, int] | None = None
    """Component -> its line in the document; None: not from a document."""
    downtime: Downtime = field(default_factory=Downtime)
    failures: Failures = field(default_factory=Failures)

    @property
    def longest_movement(self) -> float:
        """What a movement of the slowest zone takes at most, with the venting before it [s]; 0 = it
        has no zones."""
        limits = (zone.limits for zone in self.zones.values())
        return max((max(of.close, of.open) + of.vent for of in limits), default=0.0)

    def nets(self) -> tuple[tuple[PortRef, ...], ...]:
        """Ports that are joined: pairs for connections, single ports for plugs.

        Open ends are not nets, they end in the atmosphere: see `open_ends`.
        """
        return tuple(
            (link.a, link.b) if link.b is not None else (link.a,)
            for link in self.connections
            if link.end != "atmosphere"
        )

    def open_ends(self) -> tuple[PortRef, ...]:
        """Ports that end in the atmosphere: those connected to it, and exhausts left alone."""
        used = {port for link in self.connections for port in (link.a, link.b) if port is not None}
        declared = [link.a for link in self.connections if link.end == "atmosphere"]
        alone = [
            PortRef(name, port.name)
            for name, component in self.components.items()
            for port in component.ports()
            if port.role == "exhaust" and PortRef(name, port.name) not in used
        ]
        return (*declared, *alone)

    def having(self, *traits: Trait) -> Mapping[str, Component]:
        """The components that have all of some traits."""
        if len(traits) == 1:
            return self._by_trait.get(traits[0], {})
        return {
            name: component
            for name, component in self.having(traits[0]).items()
            if component.traits.issuperset(traits)
        }

    def zone_of(self, component: str) -> str | None:
        """Zone that a brake, coil valve, switch or transmitter serves; None: no zone names it.

        A switch that watches a brake serves the zone of that brake.
        """
        if "watcher" in self.components[component].traits:
            component = str(getattr(self.components[component], "of", ""))
        return self._zone_of.get(component)

    def zone_spring(self, zone: str) -> Literal["open", "close"]:
        """What the springs of a zone's brakes do when the air is gone."""
        first = self.components[self.zones[zone].brakes[0]]
        return "open" if getattr(first, "spring", "") == "open" else "close"

    def zone_jaw_switches(self, zone: str) -> tuple[str, ...]:
        """Jaw switches that watch the brakes of a zone."""
        return self.watching(self.zones[zone].brakes)

    def gate_switches(self, group: str) -> tuple[str, ...]:
        """Position switches that watch the cylinders of a group of gates."""
        return self.watching(self.gates[group].cylinders)

    def watching(self, movers: tuple[str, ...]) -> tuple[str, ...]:
        """Position switches that watch some brakes or cylinders."""
        place = self._places
        found = [name for mover in dict.fromkeys(movers) for name in self._watchers.get(mover, ())]
        return tuple(sorted(found, key=place.__getitem__))

    # looked up for every zone or component: on a large ride, a walk each time would take minutes

    def repairable(self, by: Ending) -> tuple[str, ...]:
        """Parts, and coils "valve.14", that have a fault which such a repair ends."""
        if by not in self._repairable:
            self._repairable[by] = repairable(self.components, by)
        return self._repairable[by]

    @cached_property
    def _repairable(self) -> dict[Ending, tuple[str, ...]]:
        return {}

    @cached_property
    def _places(self) -> dict[str, int]:
        return {name: place for place, name in enumerate(self.components)}

    @cached_property
    def by_kind(self) -> dict[str, dict[str, Component]]:
        """Kind -> its components; the kinds in the order in which they first come."""
        found: dict[str, dict[str, Component]] = {}
        for name, component in self.components.items():
            found.setdefault(kind_of(component), {})[name] = component
        return found

    @cached_property
    def _by_trait(self) -> dict[Trait, dict[str, Component]]:
        found: dict[Trait, dict[str, Component]] = {}
        for name, component in self.components.items():
            for trait in component.traits:
                found.setdefault(trait, {})[name] = component
        return found

    @cached_property
    def _zone_of(self) -> dict[str, str]:
        found: dict[str, str] = {}
        for zone in self.zones.values():
            valves = (coil.rpartition(".")[0] for coil in zone.outputs)
            sensed = (zone.low_pressure.transmitter,) if zone.low_pressure else ()
            for name in (
                *zone.brakes, *valves, *zone.pressure_switches, *zone.supply_switches, *sensed
            ):  # fmt: skip
                found.setdefault(name, zone.name)
        return found

    @cached_property
    def _watchers(self) -> dict[str, list[str]]:
        """Brake or cylinder -> the switches that watch it."""
        found: dict[str, list[str]] = {}
        for name, switch in self.having("watcher").items():
            found.setdefault(str(getattr(switch, "of", "")), []).append(name)
        return found
