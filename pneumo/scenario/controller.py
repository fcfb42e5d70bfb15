"""Between the logic and the plant: contacts in, coils out. Sensed values only.

Inputs and outputs may be forced (IEC 61131): a forced input is what the logic reads, whatever its
contact says; a forced output is what is commanded, whatever the logic says. What a coil then does
with it is the plant's.

It scans periodically, but a scan can change something only when an input changed, a command waits
or a timer ended: only those are carried out.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Collection, Iterable, Mapping
from functools import partial
from math import inf
from typing import Literal

from pneumo.circuit.circuit import Circuit, Zone
from pneumo.network.compile import Compiled
from pneumo.scenario.contacts import Contacts
from pneumo.scenario.controls import Coil, Controls
from pneumo.scenario.event import ContactRead
from pneumo.scenario.plant import Plant
from pneumo.zone.ride import RideCommand, RideInputs, RideLogic
from pneumo.zone.sensed import Sensed, ZoneSettings

Said = Callable[[int], bool]
"""What the contact of a watch says."""

Contact = tuple[str, int]
"""Name of an input, and its watch; -1: there is none."""


class Controller:
    """The ride's controller: its logic, what it reads, and the coils it energises."""

    def __init__(self, compiled: Compiled, plant: Plant) -> None:
        circuit = compiled.circuit
        self.period = circuit.ride.scan
        """From one scan to the next [s]."""
        self.contacts = Contacts(compiled)
        self._commands: list[RideCommand] = []
        self._scan_at = inf
        self._read_all = True
        self._held: Mapping[int, bool] = {}
        """The contacts that faults held when the controller heeded them last."""
        watch = {contact.component: contact.watch for contact in compiled.contacts}
        self._contact_names: dict[int, tuple[str, ...]] = {}
        """Watch -> the switches it stands for."""
        for contact in compiled.contacts:
            known = self._contact_names.get(contact.watch, ())
            self._contact_names[contact.watch] = (*known, contact.component)
        self._inputs: dict[str, tuple[int, ...]] = {name: (w,) for name, w in watch.items()}
        """Name of an input -> its watches; a transmitter has one in every zone it guards."""
        for name, w in compiled.low_pressure.items():
            limit = circuit.zones[name].low_pressure
            if limit is not None:
                others = self._inputs.get(limit.transmitter, ())
                self._inputs[limit.transmitter] = (*others, w)
        self.forced_inputs: dict[str, bool] = {}
        """Name -> read as ON, whatever its contact says."""
        self.forced_outputs: dict[Coil, bool] = {}
        """Coil -> commanded, whatever the logic says; at the coil after the next scan."""
        self.logic = RideLogic(
            [_settings(circuit, zone) for zone in circuit.zones.values()],
            circuit.ride.supply_switches,
        )
        self.hold = False
        """True: inputs are ignored and every zone stays where it starts."""
        self._zones = [
            _Wiring(circuit, zone, watch, compiled.low_pressure.get(name, -1))
            for name, zone in circuit.zones.items()
        ]
        self._readers: dict[int, list[int]] = {}
        """Watch -> places of the zones that read its contact."""
        for place, wiring in enumerate(self._zones):
            for w in wiring.watches():
                self._readers.setdefault(w, []).append(place)
        self._sensed: list[Sensed] = []
        self._ride_supply = [(name, watch[name]) for name in circuit.ride.supply_switches]
        self._gates: dict[str, Literal["open", "close"]] = {
            name: "open" if group.starts == "open" else "close"
            for name, group in circuit.gates.items()
        }
        self._gate_outputs = {
            name: {_coil(text): state for text, state in group.outputs.items()}
            for name, group in circuit.gates.items()
        }
        self._charged: list[bool | None] = [None] * len(self._zones)
        """What each zone's coils were last set for; None: they were not yet."""
        self._energise(plant.controls, True)

    def copy(self) -> Controller:
        """An independent controller that goes on from here."""
        new = copy.copy(self)
        zones = [zone.settings for zone in self.logic.zones.values()]
        new.logic = RideLogic(zones, self.logic.supply_switches)
        new.logic.restore(self.logic.snapshot())
        new.forced_inputs = dict(self.forced_inputs)
        new.forced_outputs = dict(self.forced_outputs)
        new._gates = dict(self._gates)
        new.contacts, new._commands = self.contacts.copy(), list(self._commands)
        new._sensed = list(self._sensed)
        new._charged = list(self._charged)
        return new

    def begin(self, plant: Plant) -> None:
        """Time zero: every contact says what its watch does, and the first scan reads them all."""
        self.hold, self._read_all, self._scan_at = False, True, 0.0
        self.contacts.begin(plant)

    # when it scans

    def next_time(self) -> float:
        """The next scan that can change anything [s]; infinity: there is none."""
        return self._scan_at

    def crossed(self, plant: Plant, moment: float, watch: int, on: bool) -> None:
        """A contact has changed at a moment [s]."""
        self._scan_at = min(self._scan_at, self.contacts.crossed(plant, moment, watch, on))

    def command(self, plant: Plant, command: RideCommand) -> None:
        """An operator's command, obeyed at the next scan."""
        self._commands.append(command)
        self._scan_soon(plant)

    def heed(self, plant: Plant) -> None:
        """Faults may hold other contacts than before."""
        held = plant.controls.overrides.contact_held
        if held != self._held:
            self._scan_soon(plant, read_all=True)
        self._held = held

    def _scan_soon(self, plant: Plant, read_all: bool = False) -> None:
        """Something it reads has changed outside the plant."""
        self._read_all = self._read_all or read_all
        self._scan_at = min(self._scan_at, max(self.contacts.tick(plant.now), plant.now))

    # a scan

    def act(self, plant: Plant) -> tuple[()]:
        """One scan: reads the contacts, obeys, sets the coils."""
        held = plant.controls.overrides.contact_held
        changed: dict[int, None] = {}
        for watch, on in self.contacts.read(plant.now):
            changed[watch] = None
            if watch not in held:
                for name in self._contact_names.get(watch, ()):
                    if name not in self.forced_inputs:
                        plant.say(name, ContactRead(on))
        commands, self._commands = tuple(self._commands), []
        reads, self._read_all = None if self._read_all else changed, False
        if not self.hold:
            self._obey(plant, reads, commands)
        self._plan_scan(plant.now)
        return ()

    def _obey(
        self, plant: Plant, changed: Collection[int] | None, commands: tuple[RideCommand, ...]
    ) -> None:
        """`changed`: the watches whose contacts may have changed since the last scan; None: any."""
        said = partial(self.contacts.says, plant)
        if changed is None or not self._sensed:
            self._sensed = [zone.sensed(said, self.forced_inputs) for zone in self._zones]
        else:
            for place in sorted({p for w in changed for p in self._readers.get(w, ())}):
                self._sensed[place] = self._zones[place].sensed(said, self.forced_inputs)
        supply = _read(self._ride_supply, said, self.forced_inputs)
        for event in self.logic.scan(plant.now, RideInputs(self.sensed, supply, commands)):
            plant.say(event.zone, event.what)
        self._energise(plant.controls, changed is None)

    def _plan_scan(self, now: float) -> None:
        self._scan_at = self.contacts.next_time()
        deadline = None if self.hold else self.logic.deadline()
        if deadline is not None:
            tick = self.contacts.tick(deadline)
            # this scan was just too early for it, within the rounding of a tick
            self._scan_at = min(self._scan_at, tick if tick > now else tick + self.period)

    # what it reads

    def reads(self, plant: Plant, name: str) -> bool:
        """What an input reads now: ON, or for a transmitter low in some zone it guards."""
        forced = self.forced_inputs.get(name)
        if forced is not None:
            return forced
        return any(self.contacts.says(plant, w) for w in self._inputs[name])

    @property
    def sensed(self) -> tuple[Sensed, ...]:
        """What the last scan read in every zone, in document order; () before the first."""
        return tuple(self._sensed)

    # forcing, and what needs no logic

    def force_input(self, plant: Plant, name: str, on: bool) -> None:
        """An input is read as ON or OFF from the next scan on, whatever its contact says."""
        self.forced_inputs[name] = on
        self._scan_soon(plant, read_all=True)

    def force_output(self, plant: Plant, coil: Coil, on: bool) -> None:
        """A coil is commanded from the next scan on, whatever the logic says."""
        self.forced_outputs[coil] = on
        self._scan_soon(plant, read_all=True)

    def unforce(self, plant: Plant, name: str | None) -> None:
        """Leaves an input or an output "valve.14" to itself again; None: all of them."""
        if name is None:
            self.forced_inputs.clear()
            self.forced_outputs.clear()
        else:
            self.forced_inputs.pop(name, None)
            self.forced_outputs.pop(_coil(name), None)
        self._scan_soon(plant, read_all=True)

    def command_gates(self, plant: Plant, target: str, to: Literal["open", "close"]) -> None:
        """Commands a group of gates, at once; nothing when the target is none."""
        if target in self._gates:
            self._gates[target] = to
            self._energise(plant.controls, False)

    def _energise(self, controls: Controls, every: bool) -> None:
        """Sets the coils of the zones that go another way than before, or of every zone: outputs
        may be forced otherwise."""
        for place, logic in enumerate(self.logic.zones.values()):
            charge = logic.charge
            if every or charge != self._charged[place]:
                self._charged[place] = charge
                for coil, when in self._zones[place].outputs.items():
                    self._switch(controls, coil, charge == (when == "charge"))
        for name, state in self._gates.items():
            for coil, energised_when in self._gate_outputs[name].items():
                self._switch(controls, coil, state == energised_when)

    def _switch(self, controls: Controls, coil: Coil, on: bool) -> None:
        controls.switch(coil, self.forced_outputs.get(coil, on))


class _Wiring:
    """Which watches and coils belong to one zone."""

    def __init__(self, circuit: Circuit, zone: Zone, watch: dict[str, int], low: int) -> None:
        self._pressure = [(name, watch[name]) for name in zone.pressure_switches]
        self._supply = [(name, watch[name]) for name in zone.supply_switches]
        guard = zone.low_pressure.transmitter if zone.low_pressure else ""
        self._low = (guard, low)
        switches = {
            (str(getattr(circuit.components[name], "of", "")),
             str(getattr(circuit.components[name], "reads", ""))): (name, watch[name])
            for name in circuit.zone_jaw_switches(zone.name)
        }  # fmt: skip
        self._closed = [switches.get((brake, "closed"), ("", -1)) for brake in zone.brakes]
        self._open = [switches.get((brake, "open"), ("", -1)) for brake in zone.brakes]
        self.outputs = {_coil(text): when for text, when in zone.outputs.items()}

    def watches(self) -> tuple[int, ...]:
        """Every watch the zone reads."""
        found = (*self._pressure, *self._supply, self._low, *self._closed, *self._open)
        return tuple(w for w in dict.fromkeys(w for _, w in found) if w >= 0)

    def sensed(self, said: Said, forced: Mapping[str, bool]) -> Sensed:
        return Sensed(
            _read(self._pressure, said, forced),
            _read(self._supply, said, forced),
            _read_or_none(self._low, said, forced),
            tuple(_read_or_none(contact, said, forced) for contact in self._closed),
            tuple(_read_or_none(contact, said, forced) for contact in self._open),
        )


def _read(contacts: Iterable[Contact], said: Said, forced: Mapping[str, bool]) -> tuple[bool, ...]:
    return tuple(forced[name] if name in forced else said(w) for name, w in contacts)


def _read_or_none(contact: Contact, said: Said, forced: Mapping[str, bool]) -> bool | None:
    name, w = contact
    return (forced[name] if name in forced else said(w)) if w >= 0 else None


def _coil(text: str) -> Coil:
    component, _, side = text.rpartition(".")
    return component, side


def _settings(circuit: Circuit, zone: Zone) -> ZoneSettings:
    return ZoneSettings(
        name=zone.name,
        spring=circuit.zone_spring(zone.name),
        safe_state=zone.safe_state,
        brakes=zone.brakes,
        pressure_switches=zone.pressure_switches,
        supply_switches=zone.supply_switches,
        close=zone.limits.close,
        open=zone.limits.open,
        vent=zone.limits.vent,
        discrepancy=zone.limits.discrepancy,
        starts=zone.starts,
    )
