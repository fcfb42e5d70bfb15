"""A frame from a run: where every value that a screen shows stands in the arrays of the plant."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import get_args

import numpy as np

from pneumo.circuit.circuit import PortRef
from pneumo.components.base import Quantity
from pneumo.live.frame import Crossed, FaultFrame, Frame, Mode, ZoneFrame
from pneumo.live.judging import Judging
from pneumo.live.plant import Plant
from pneumo.live.trapped import trapped
from pneumo.network.compile import Compiled
from pneumo.network.network import Array, Network
from pneumo.scenario.play import Play
from pneumo.scenario.signal import jaws, reading
from pneumo.simulation.look import look
from pneumo.verification.jaws import furthest_now
from pneumo.zone.waiting import waiting

HELD = 0.1e5
"""A net with less than this [Pa gauge] is not said to hold air."""


@dataclass(frozen=True)
class Standing:
    """What a frame says besides the state of the plant."""

    number: int
    newest: float
    mode: Mode
    running: bool
    speed: float
    pace: float
    note: str
    hidden: frozenset[tuple[str, str]]
    """(component, mode) of the faults that the trainee is not told of."""
    coming: tuple[FaultFrame, ...]
    """Faults said ahead, whose time has not come."""


class Capture:
    """Reads frames and rows of channels off a run of one compiled circuit."""

    def __init__(self, compiled: Compiled, plant: Plant) -> None:
        self._compiled, self._plant = compiled, plant
        self._judging = Judging(plant.places)
        circuit, parts = compiled.circuit, compiled.parts
        self._ambient = circuit.ambient.pressure
        self._nodes = np.array(
            [
                compiled.network.dynamic
                if net.outside
                else parts[net.ports[0].component].ports[net.ports[0].port]
                for net in plant.nets
            ],
            dtype=np.int64,
        )
        self._flow_of = self._port_flows()
        self._mover = {name: parts[name].mover for name in (*plant.brakes, *plant.cylinders)}
        self._brake_movers = np.array([self._mover[b] for b in plant.brakes], dtype=np.int64)
        lags = np.array([parts[name].lag for name in plant.meters], dtype=np.int64)
        self._shown_by_lag = lags >= 0
        """Per meter: it is a transmitter; any other shows the pressure at its port."""
        self._meter_lags = lags[self._shown_by_lag]
        self._meter_nodes = np.array(
            [
                next(iter(parts[name].ports.values()))
                for name in plant.meters
                if parts[name].lag < 0
            ],
            dtype=np.int64,
        )
        watch = {contact.component: contact.watch for contact in compiled.contacts}
        self._inputs = np.array(
            [
                compiled.low_pressure[i.zone] if i.kind == "low pressure" else watch[i.name]
                for i in plant.inputs
            ],
            dtype=np.int64,
        )
        self._input_place = {i.name: place for place, i in enumerate(plant.inputs)}
        self._places = self._channel_places()
        nodes, paths = len(compiled.network.node), len(compiled.network.restriction)
        self._pressure, self._temperature = np.zeros(nodes), np.zeros(nodes)
        self._opened, self._flow = np.zeros(paths), np.zeros(paths)

    def row(self, play: Play) -> Array:
        """(channels,) values now, in the order of `Plant.channels`."""
        y = self._look(play)
        network, places = play.plant.network, self._places
        out: Array = np.zeros(len(self._plant.channels), dtype=np.float32)
        out[places["pressure"][0]] = self._pressure[places["pressure"][1]] - self._ambient
        gaps, forces = jaws(network, y, self._brake_movers)
        out[places["gap"][0]], out[places["force"][0]] = gaps, forces
        out[places["travel"][0]] = y[network.mover["x"][places["travel"][1]]]
        out[places["reading"][0]] = self._readings(network, y)
        out[places["contact"][0]] = self._contacts(play)
        out[places["coil"][0]] = self._coils(play)
        return out

    def frame(self, play: Play, standing: Standing) -> Frame:
        """Everything at the present instant of a run."""
        plant, network = self._plant, play.plant.network
        y = self._look(play)
        gauge = self._pressure[self._nodes] - self._ambient
        gaps, forces = jaws(network, y, self._brake_movers)
        inputs = tuple(self._contacts(play).tolist())
        run, actors = play.plant, play.actors
        controls, controller = run.controls, actors.controller
        return Frame(
            number=standing.number,
            time=play.now,
            newest=standing.newest,
            mode=standing.mode,
            running=standing.running,
            speed=standing.speed,
            pace=standing.pace,
            note=standing.note,
            stopped_by=controller.logic.stopped_by,
            power=controls.power,
            zones=self._zones(play, gaps, forces, inputs),
            pressures=tuple(gauge.tolist()),
            trapped=trapped(play, self._nodes.tolist(), gauge > HELD, self._opened > 0.0),
            flows=self._port_values(),
            positions=tuple(actors.spools.position(run, name) for name in plant.valves),
            gaps=tuple(gaps.tolist()),
            forces=tuple(forces.tolist()),
            travels=tuple(float(y[network.mover[self._mover[c]]["x"]]) for c in plant.cylinders),
            readings=tuple(self._readings(network, y).tolist()),
            supplying=tuple(actors.supplies.delivers(run, name) for name in plant.supplies),
            inputs=inputs,
            forced_inputs=tuple(i.name in controller.forced_inputs for i in plant.inputs),
            outputs=tuple(self._coils(play)),
            forced_outputs=tuple(
                (o.component, o.side) in controller.forced_outputs for o in plant.outputs
            ),
            isolated=actors.spools.isolated(run),
            drained=actors.faults.drained,
            blocked=actors.faults.blocked,
            swapped=tuple(Crossed(*each) for each in controls.swapped),
            overridden=controls.overridden,
            switched_off=tuple(c for c in plant.circuit.components if c in controls.off),
            absent_fins=actors.faults.absent_fins,
            alarms=(),
            faults=(*self._faults(play, standing.hidden), *standing.coming),
        )

    # parts of a frame

    def _look(self, play: Play) -> Array:
        plant = play.plant
        y = plant.state()
        look(
            plant.network, y, plant.now, self._pressure, self._temperature, self._opened, self._flow
        )
        return y

    def _zones(
        self, play: Play, gaps: Array, forces: Array, inputs: Sequence[bool]
    ) -> tuple[ZoneFrame, ...]:
        found: list[ZoneFrame] = []
        readings = play.actors.controller.sensed
        zones = zip(self._plant.places, self._judging.zones(play, inputs), strict=True)
        for place, (of, (judged, confirmed)) in enumerate(zones):
            own = slice(of.brakes.start, of.brakes.stop)
            worst = furthest_now(of.zone, gaps[own].tolist(), forces[own].tolist())
            watch = self._compiled.brakes[of.zone.name][worst]
            logic = play.actors.controller.logic.zones[of.zone.name]
            node = play.plant.network.mover[watch.mover]["node_0"]
            found.append(
                ZoneFrame(
                    state=logic.state,
                    since=logic.since,
                    first_out=logic.first_out,
                    charge=logic.charge,
                    waits=waiting(logic, readings[place], play.now) if readings else (),
                    pressure=float(self._pressure[node] - self._ambient),
                    gap=float(gaps[own][worst]),
                    force=float(forces[own][worst]),
                    brake=of.zone.brakes[worst],
                    judged=judged,
                    confirmed=confirmed,
                )
            )
        return tuple(found)

    def _faults(self, play: Play, hidden: frozenset[tuple[str, str]]) -> tuple[FaultFrame, ...]:
        return tuple(
            FaultFrame(
                fault.component,
                fault.mode,
                fault.sentence,
                fault.at,
                severity is not None,
                (fault.component, fault.mode) in hidden,
            )
            for fault, severity in play.actors.faults.standing
        )

    # flows at ports

    def _port_flows(self) -> list[tuple[tuple[int, float], ...]]:
        """Per port: the paths whose flow goes into the component there, each with a sign."""
        compiled, plant = self._compiled, self._plant
        table = compiled.network.restriction
        own: dict[PortRef, tuple[tuple[int, float], ...]] = {}
        for name in compiled.circuit.components:
            parts = compiled.parts[name]
            paths = parts.restrictions.values()
            for port, node in parts.ports.items():
                if node >= compiled.network.dynamic:
                    continue
                own[PortRef(name, port)] = tuple(
                    (r, sign)
                    for r in paths
                    for end, sign in (("a", 1.0), ("b", -1.0))
                    if table[r][end] == node
                )
        for link in compiled.circuit.connections:
            # a vessel has no paths of its own: what leaves its neighbour enters it
            if link.b is None:
                continue
            for here, there in ((link.a, link.b), (link.b, link.a)):
                if not own.get(here) and own.get(there):
                    own[here] = tuple((r, -sign) for r, sign in own[there])
        return [own.get(port, ()) for port in plant.ports]

    def _port_values(self) -> tuple[float, ...]:
        flow = self._flow.tolist()
        values = [sum(sign * flow[r] for r, sign in paths) for paths in self._flow_of]
        return tuple(values)

    # meters, contacts, coils and their channels

    def _readings(self, network: Network, y: Array) -> Array:
        """(meters,) what gauges and transmitters show [Pa gauge]."""
        shown: Array = np.empty(len(self._shown_by_lag))
        shown[~self._shown_by_lag] = self._pressure[self._meter_nodes]
        shown[self._shown_by_lag] = reading(network, y, self._meter_lags)
        return shown - self._ambient

    def _contacts(self, play: Play) -> Array:
        """(inputs,) what the controller reads."""
        controller = play.actors.controller
        says = controller.contacts.said(play.plant, self._inputs)
        for name, on in controller.forced_inputs.items():
            says[self._input_place[name]] = on
        return says

    def _coils(self, play: Play) -> list[bool]:
        """What the controller commands, per output."""
        forced, coils = play.actors.controller.forced_outputs, play.plant.controls.coils
        own = [(o.component, o.side) for o in self._plant.outputs]
        return [forced.get(coil, coils.get(coil, False)) for coil in own]

    def _channel_places(self) -> dict[str, tuple[Array, Array]]:
        """Per quantity: places in a row, and for some what stands there (node, mover)."""
        parts = self._compiled.parts
        found: dict[str, tuple[list[int], list[int]]] = {
            quantity: ([], []) for quantity in (*get_args(Quantity), "contact", "coil")
        }
        for place, channel in enumerate(self._plant.channels):
            rows, what = found[channel.quantity]
            rows.append(place)
            if channel.quantity == "pressure":
                what.append(next(iter(parts[channel.component].ports.values())))
            elif channel.quantity == "travel":
                what.append(parts[channel.component].mover)
        return {
            quantity: (np.array(rows, dtype=np.int64), np.array(what, dtype=np.int64))
            for quantity, (rows, what) in found.items()
        }
