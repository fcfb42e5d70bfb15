"""What the panel of a ride has shown in a stretch of time, as numbers in a fixed order.

A *stretch* begins with something that was done and ends with the next thing that was done, or now.
Times are counted from its beginning, so that two rides can be compared that were not acted on at
the same time of day.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple, get_args

import numpy as np

from pneumo.diagnosis.marks import CODE, NEVER, PRESSURE, Scale
from pneumo.network.compile import Compiled
from pneumo.network.network import Array
from pneumo.scenario.event import ContactRead, RunEvent
from pneumo.scenario.play import Play
from pneumo.scenario.pressure import node_pressure
from pneumo.scenario.signal import reading
from pneumo.zone.event import AlarmRaised, Refused, RideStopped, StateEntered
from pneumo.zone.machine import State

EDGE = Scale(0.03, 0.02, True)
"""When a contact changed, after what was done [s]: a scan and a half; estimated."""

_STATES = {state: float(place) for place, state in enumerate(get_args(State), 1)}


class Shown(NamedTuple):
    """What stands on the panel at an instant."""

    contacts: Array
    """(contacts,) what each input is read as, in the order of `Panel.contacts`; NaN: it was about
    to change."""
    readings: Array
    """(meters,) [Pa above the surroundings], in the order of `Panel.meters`; NaN: it is on its way,
    and not to be read."""


class Place(NamedTuple):
    """What one number of a stretch is."""

    instrument: str
    """The contact, meter or zone that shows it; "" = the ride."""
    aspect: str
    zone: str
    """The zone or group of gates that the instrument belongs to; "" = the ride."""
    scale: Scale

    @property
    def of(self) -> tuple[str, bool]:
        """The instrument; a meter and a contact in one part are two."""
        return self.instrument, self.aspect == "shown"

    @property
    def family(self) -> tuple[str, bool]:
        """What goes wrong together: instruments of one sort in one zone."""
        return self.zone, self.scale.smooth


class Panel:
    """The instruments of a ride that a seat sees all the time, in a fixed order."""

    def __init__(self, compiled: Compiled) -> None:
        circuit = compiled.circuit
        watch = {contact.component: contact.watch for contact in compiled.contacts}
        low = {
            str(zone.low_pressure.transmitter): compiled.low_pressure[name]
            for name, zone in circuit.zones.items()
            if zone.low_pressure is not None
        }
        inputs = {**watch, **low}
        owner = _owners(compiled)
        self.contacts = tuple(inputs)
        self._watches = np.array(list(inputs.values()), dtype=np.int64)
        self.meters = tuple(n for n, c in circuit.components.items() if "reading" in c.quantities)
        lags = np.array([compiled.parts[name].lag for name in self.meters], dtype=np.int64)
        self._lagging = lags >= 0
        self._lags = lags[self._lagging]
        self._nodes = [
            next(iter(compiled.parts[name].ports.values()))
            for name in self.meters
            if compiled.parts[name].lag < 0
        ]
        self._ambient = circuit.ambient.pressure
        self.zones = tuple(circuit.zones)
        self._contact_place = {name: place for place, name in enumerate(self.contacts)}
        self._zone_place = {name: place for place, name in enumerate(self.zones)}
        self.places: tuple[Place, ...] = (
            *(Place(c, "first ON", owner.get(c, ""), EDGE) for c in self.contacts),
            *(Place(c, "first OFF", owner.get(c, ""), EDGE) for c in self.contacts),
            *(Place(c, "at the end", owner.get(c, ""), CODE) for c in self.contacts),
            *(Place(m, "shown", owner.get(m, ""), PRESSURE) for m in self.meters),
            *(Place(z, "state", z, CODE) for z in self.zones),
            *(Place(z, "first alarm", z, CODE) for z in self.zones),
            *(Place(z, "refused", z, CODE) for z in self.zones),
            Place("", "ride stop", "", CODE),
        )
        """What each number of a stretch is."""
        scales = [place.scale for place in self.places]
        self.edges: Array = np.array([scale is EDGE for scale in scales], dtype=bool)
        """(places,) when a contact changed."""
        self.least: Array = np.array([scale.least for scale in scales])
        self.share: Array = np.array([scale.share for scale in scales])
        self.smooth: Array = np.array([scale.smooth for scale in scales], dtype=bool)
        """(places,) of its scale, see `Scale`."""
        known: dict[tuple[str, bool], int] = {}
        self.instrument: Array = np.array(
            [known.setdefault(place.of, len(known)) for place in self.places], dtype=np.int64
        )
        """(places,) number of its instrument."""
        families: dict[tuple[str, bool], int] = {}
        self.family: Array = np.zeros(len(known), dtype=np.int64)
        """(instruments,) number of what it goes wrong together with."""
        for number, place in zip(self.instrument, self.places, strict=True):
            self.family[number] = families.setdefault(place.family, len(families))
        self.by_zone: dict[str, list[int]] = {}
        """Zone or group of gates, "" = the ride -> its places."""
        for number, place in enumerate(self.places):
            self.by_zone.setdefault(place.zone, []).append(number)

    def shown(self, play: Play) -> Shown:
        """What stands there now in a run."""
        plant, controller = play.plant, play.actors.controller
        says = controller.contacts.said(plant, self._watches).astype(float)
        for name, on in controller.forced_inputs.items():
            says[self._contact_place[name]] = float(on)
        found: Array = np.empty(len(self.meters))
        if len(self.meters):
            network, state = plant.network, plant.state()
            found[~self._lagging] = [
                node_pressure(network, state[None, :], node)[0] for node in self._nodes
            ]
            found[self._lagging] = reading(network, state, self._lags)
        return Shown(says, found - self._ambient)

    def ends(self, numbers: Array) -> Shown:
        """What stood there at the end of a stretch; `numbers`: (places,) of it."""
        count = len(self.contacts)
        return Shown(numbers[2 * count : 3 * count], numbers[3 * count :][: len(self.meters)])

    def stretch(self, began: float, events: Iterable[RunEvent], ends: Shown) -> Array:
        """(places,) the numbers of a stretch.

        Parameters
        ----------
        began
            When it began [s].
        events
            What was seen to happen in it.
        ends
            What stood there at its end.
        """
        count, zones = len(self.contacts), len(self.zones)
        on, off = np.full(count, NEVER), np.full(count, NEVER)
        states, alarms, refused = np.zeros(zones), np.zeros(zones), np.zeros(zones)
        stopped = 0.0
        for event in events:
            match event.what:
                case ContactRead(is_on):
                    place = self._contact_place.get(event.subject)
                    edges = on if is_on else off
                    if place is not None and edges[place] == NEVER:
                        edges[place] = event.time - began
                case StateEntered(entered=entered):
                    states[self._zone_place[event.subject]] = _STATES[entered]
                case AlarmRaised(name=name) if event.subject in self._zone_place:
                    place = self._zone_place[event.subject]
                    alarms[place] = alarms[place] or code_of(name)
                case Refused() if event.subject in self._zone_place:
                    refused[self._zone_place[event.subject]] = 1.0
                case RideStopped(cause):
                    stopped = stopped or code_of(cause)
        return np.concatenate(
            [on, off, ends.contacts, ends.readings, states, alarms, refused, [stopped]]
        )


def code_of(name: str) -> float:
    """A number for an alarm, the same for each run of a ride: it does not depend on which alarm
    came first."""
    return float(1 + sum((place + 1) * ord(letter) for place, letter in enumerate(name)))


def _owners(compiled: Compiled) -> dict[str, str]:
    """Instrument -> its zone or group of gates."""
    circuit = compiled.circuit
    found: dict[str, str] = {}
    for name, zone in circuit.zones.items():
        sensed = (zone.low_pressure.transmitter,) if zone.low_pressure else ()
        for instrument in (
            *zone.pressure_switches, *zone.supply_switches, *circuit.zone_jaw_switches(name),
            *sensed,
        ):  # fmt: skip
            found.setdefault(instrument, name)
    for group in circuit.gates:
        for instrument in circuit.gate_switches(group):
            found.setdefault(instrument, group)
    return found
