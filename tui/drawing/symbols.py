"""What stands in the boxes: a short symbol in words and marks for each kind, with its state.

Devices stand in [ ], vessels in ( ), instruments in ‹ ›. Every state is told by a letter, a word
or a mark; ink (colour) only helps. A symbol has the same width in every state.

    [■ 1▸2 ]   solenoid valve: coil energised (□ not), air can pass from 1 to 2
    [M■ 1▸2 ]  M held by its manual override, F its output is forced
    ↑          air blows off into the open there
    ?          not seen from this seat
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

from pneumo.circuit.circuit import PortRef
from pneumo.components.base import Component, kind_of
from pneumo.components.solenoid import SolenoidValve
from pneumo.live.frame import Frame
from pneumo.live.plant import Plant
from tui import text
from tui.drawing.boxes import Box
from tui.drawing.glyphs import FLOW

Ink = str
"""Name of a style; the view gives it its colour."""

Piece = tuple[str, Ink]
Look = tuple[Piece, ...]
"""A symbol from left to right."""

AT_END = 0.02
"""A spool nearer to an end position than this stands there [-]."""


class Facts(NamedTuple):
    """A frame with what is looked up by name in it."""

    frame: Frame
    isolated: frozenset[str]
    drained: frozenset[str]
    overridden: frozenset[str]
    switched_off: frozenset[str]
    absent: frozenset[str]
    """Brakes without a fin between their jaws."""
    faults: Mapping[str, str]
    """Component -> its modes, present ones."""


class Symbols:
    """Draws the boxes of a plant from frames."""

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        circuit = plant.circuit
        self.ambient = circuit.ambient.pressure
        self._port = {port: i for i, port in enumerate(plant.ports)}
        self._valve = {name: i for i, name in enumerate(plant.valves)}
        self._brake = {name: i for i, name in enumerate(plant.brakes)}
        self._cylinder = {name: i for i, name in enumerate(plant.cylinders)}
        self._meter = {name: i for i, name in enumerate(plant.meters)}
        self._supply = {name: i for i, name in enumerate(plant.supplies)}
        self._input = {contact.name: i for i, contact in enumerate(plant.inputs)}
        self._output = {coil.name: i for i, coil in enumerate(plant.outputs)}
        self._zone_brakes = {name: zone.brakes for name, zone in circuit.zones.items()}
        self._switches: dict[str, list[tuple[str, str]]] = {}
        for name, switch in circuit.of_kind("jaw_switch").items():
            found = self._switches.setdefault(str(getattr(switch, "of", "")), [])
            found.append((name, str(getattr(switch, "reads", ""))))
        ends = {str(end) for end in circuit.open_ends()}
        self._open = {
            name: [PortRef(name, p.name) for p in component.ports() if f"{name}.{p.name}" in ends]
            for name, component in circuit.components.items()
        }

    # for the picture

    def facts(self, frame: Frame) -> Facts:
        """What is looked up by name, made once per frame."""
        faults: dict[str, str] = {}
        for fault in frame.faults:
            if fault.present:
                before = faults.get(fault.component)
                faults[fault.component] = f"{before}, {fault.mode}" if before else fault.mode
        return Facts(
            frame, frozenset(frame.isolated), frozenset(frame.drained),
            frozenset(frame.overridden), frozenset(frame.switched_off),
            frozenset(b for zone in frame.absent_fins for b in self._zone_brakes.get(zone, ())),
            faults,
        )  # fmt: skip

    def drawer(self, box: Box, mirrored: bool) -> Callable[[Facts], Look]:
        """What draws a box. mirrored: its port 1 is on the right."""
        name = box.members[0]
        component = self.plant.circuit.components[name]
        kind = kind_of(component)
        if isinstance(component, SolenoidValve):
            return self._solenoid(name, component)
        make = {
            "compressor": self._source, "ideal_supply": self._source,
            "receiver": self._vessel, "accumulator": self._vessel, "manifold": self._vessel,
            "regulator": self._regulator, "relief_valve": self._relief,
            "shut_off": self._shut_off, "soft_start": self._soft_start,
            "quick_exhaust": self._quick_exhaust,
            "shuttle": self._two_inlets, "dual_pressure": self._two_inlets,
            "bladder_brake": self._jaws, "cylinder": self._piston,
            "gauge": self._meter_shown, "transmitter": self._meter_shown,
            "pressure_switch": self._pressure_switch, "silencer": self._silencer,
            "electrical_feed": self._feed, "filter": self._filter,
        }.get(kind)  # fmt: skip
        if make is not None:
            return make(name, component)
        if kind == "check_valve":
            return self._check(name, mirrored)
        still = {
            "pipe": "[════]", "hose": "[≈≈≈≈]", "tube": "[────]",
            "flow_control": "[ )( ]",
        }.get(kind, f"[{component.title or kind}]")  # fmt: skip
        look = ((still, "symbol"),)
        return lambda facts: look

    def flow(self, port: PortRef) -> Callable[[Frame], float | None]:
        """Reads the air into a component at a port [kg/s]."""
        i = self._port[port]
        return lambda frame: frame.flows[i]

    # the kinds

    def _source(self, name: str, component: Component) -> Callable[[Facts], Look]:
        i = self._supply[name]
        idle = "idle" if kind_of(component) == "compressor" else "shut"

        def draw(facts: Facts) -> Look:
            if name in facts.switched_off:
                return (("[▶ ", "symbol"), ("OFF ", "attention"), ("]", "symbol"))
            return ((f"[▶ {'runs' if facts.frame.supplying[i] else idle}]", "symbol"),)

        return draw

    def _vessel(self, name: str, component: Component) -> Callable[[Facts], Look]:
        first = PortRef(name, component.ports()[0].name)
        net = self.plant.net_of[first]
        letter = {"receiver": "R", "accumulator": "A"}.get(kind_of(component), "")

        def draw(facts: Facts) -> Look:
            value = facts.frame.pressures[net]
            number = f"{text.pressure(value, unit=False):>5}"
            trapped = "~" if net in facts.frame.trapped else ""
            drain = "v" if name in facts.drained else ""
            marks = f"{letter}{drain or trapped or ' '}" if letter else drain or trapped or " "
            ink = "attention" if drain else "trapped" if trapped else "symbol"
            return (("(", "symbol"), (marks, ink), (number, "number"), (")", "symbol"))

        return draw

    def _filter(self, name: str, component: Component) -> Callable[[Facts], Look]:
        def draw(facts: Facts) -> Look:
            drain = ("v", "attention") if name in facts.drained else ("▒", "symbol")
            return (("[▒▒▒", "symbol"), drain, ("]", "symbol"))

        return draw

    def _regulator(self, name: str, component: Component) -> Callable[[Facts], Look]:
        return self._set_at("set", name, getattr(component, "set_pressure", 0.0))

    def _relief(self, name: str, component: Component) -> Callable[[Facts], Look]:
        return self._set_at("max", name, getattr(component, "set_pressure", 0.0))

    def _set_at(self, word: str, name: str, pressure: float) -> Callable[[Facts], Look]:
        words = f"[{word} {text.pressure(pressure - self.ambient, unit=False)}"
        blows = self._blows(name)
        return lambda facts: ((words, "symbol"), *blows(facts), ("]", "symbol"))

    def _shut_off(self, name: str, component: Component) -> Callable[[Facts], Look]:
        i = self._valve[name]
        blows = self._blows(name)

        def draw(facts: Facts) -> Look:
            position = facts.frame.positions[i]
            shut = name in facts.isolated
            if position is not None and AT_END < position < 1.0 - AT_END:
                word, ink = "turns", "symbol"
            elif shut or (position is not None and position <= AT_END):
                word, ink = "SHUT ", "attention"
            else:
                # the handle can be seen from every seat
                word, ink = "open ", "symbol"
            return (("[", "symbol"), (word, ink), *blows(facts), ("]", "symbol"))

        return draw

    def _soft_start(self, name: str, component: Component) -> Callable[[Facts], Look]:
        i = self._valve[name]
        blows = self._blows(name)

        def draw(facts: Facts) -> Look:
            position = facts.frame.positions[i]
            if position is None:
                way = " ?  "
            elif AT_END < position < 1.0 - AT_END:
                way = "··· "
            else:
                way = "1▸2 " if position > 0.5 else "2▸3 "
            if f"{name}.14" in facts.overridden:
                mark, ink = "M  ", "attention"
            elif name in facts.switched_off:
                mark, ink = "OFF", "attention"
            else:
                mark, ink = "   ", "symbol"
            return (("[", "symbol"), (mark, ink), (f" {way}", "symbol"), *blows(facts),
                    ("]", "symbol"))  # fmt: skip

        return draw

    def _solenoid(self, name: str, component: SolenoidValve) -> Callable[[Facts], Look]:
        i = self._valve[name]
        coils = [(f"{name}.{side}", self._output.get(f"{name}.{side}"))
                 for side in component.coils()]  # fmt: skip
        ways = [(f"{p.a}▸{p.b}", p.shut, p.open) for p in component.paths()]
        most = max(
            sum(abs(position - p.open) < AT_END for p in component.paths())
            for position in (-1.0, 0.0, 1.0)
        )
        room = max(4 * most - 1, 4)
        blows = self._blows(name)

        def draw(facts: Facts) -> Look:
            pieces: list[Piece] = [("[", "symbol")]
            for coil, output in coils:
                held = coil in facts.overridden
                forced = output is not None and facts.frame.forced_outputs[output]
                pieces.append(("M" if held else "F" if forced else " ",
                               "attention" if held or forced else "symbol"))  # fmt: skip
                if output is None:
                    pieces.append((" ", "symbol"))
                else:
                    on = facts.frame.outputs[output]
                    pieces.append(("■" if on else "□", "energised" if on else "symbol"))
            position = facts.frame.positions[i]
            if position is None:
                state = "?"
            elif min(abs(position), abs(position - 1.0), abs(position + 1.0)) > AT_END:
                state = "···"
            else:
                open_ways = [
                    way for way, shut, full in ways if (position - shut) / (full - shut) > 0.5
                ]
                state = " ".join(open_ways) or "shut"
            pieces.append((f" {state:<{room}}", "symbol"))
            return (*pieces, *blows(facts), ("]", "symbol"))

        return draw

    def _check(self, name: str, mirrored: bool) -> Callable[[Facts], Look]:
        read = self.flow(PortRef(name, "1"))
        arrow = "◁" if mirrored else "▷"

        def draw(facts: Facts) -> Look:
            flow = read(facts.frame)
            if flow is None:
                inner = f" {arrow}?" if not mirrored else f"?{arrow} "
            elif flow > FLOW:
                inner = f"─{arrow}─"
            else:
                inner = f"│{arrow} " if mirrored else f" {arrow}│"
            return ((f"[{inner}]", "symbol"),)

        return draw

    def _quick_exhaust(self, name: str, component: Component) -> Callable[[Facts], Look]:
        reads = [self.flow(PortRef(name, port)) for port in ("1", "2")]
        blows = self._blows(name)

        def draw(facts: Facts) -> Look:
            inlet, outlet = (read(facts.frame) for read in reads)
            if inlet is None or outlet is None:
                way = " ? "
            elif outlet > FLOW:
                way = "2▸3"
            else:
                way = "1▸2" if inlet > FLOW else " - "
            return ((f"[{way}", "symbol"), *blows(facts), ("]", "symbol"))

        return draw

    def _two_inlets(self, name: str, component: Component) -> Callable[[Facts], Look]:
        reads = {inlet: self.flow(PortRef(name, inlet)) for inlet in ("1a", "1b")}
        word = "OR" if kind_of(component) == "shuttle" else "AND"

        def draw(facts: Facts) -> Look:
            flows = {inlet: read(facts.frame) for inlet, read in reads.items()}
            if None in flows.values():
                way = " ?"
            else:
                way = next((f"{k}▸2" if v > 0 else f"2▸{k}" for k, v in flows.items()
                            if v is not None and abs(v) > FLOW), " -")  # fmt: skip
            return ((f"[{word} {way:<4}]", "symbol"),)

        return draw

    def _silencer(self, name: str, component: Component) -> Callable[[Facts], Look]:
        read = self.flow(PortRef(name, "1"))

        def draw(facts: Facts) -> Look:
            flow = read(facts.frame)
            blows = "↑" if flow is not None and flow > FLOW else " "
            return (("[≡≡≡", "symbol"), (blows, "flow"), ("]", "symbol"))

        return draw

    def _jaws(self, name: str, component: Component) -> Callable[[Facts], Look]:
        i = self._brake[name]
        two = getattr(component, "bladders", 2) == 2
        wide = getattr(component, "gap", 0.0) / (2.0 if two else 1.0)
        switches = self._marks(name)

        def draw(facts: Facts) -> Look:
            gap = facts.frame.gaps[i]
            fin = " " if name in facts.absent else "│"
            if gap is None:
                jaws = "▐  ?  ▌"
            else:
                apart = 0 if gap < 0.05 * wide else 1 if gap < 0.6 * wide else 2
                space = " " * apart
                jaws = f"{f'▐{space}{fin}{space}▌':^7}"
            number = f"{text.gap(gap, unit=False):>5}"
            return ((f"[{jaws}", "symbol"), (number, "number"), *switches(facts), ("]", "symbol"))

        return draw

    def _piston(self, name: str, component: Component) -> Callable[[Facts], Look]:
        i = self._cylinder[name]
        stroke = getattr(component, "stroke", 1.0)
        switches = self._marks(name)

        def draw(facts: Facts) -> Look:
            travel = facts.frame.travels[i]
            rod = "  ?  " if travel is None else text.bar(travel / stroke, 5)
            number = f"{text.gap(travel, unit=False):>6}"
            return ((f"[▐{rod}", "symbol"), (number, "number"), *switches(facts), ("]", "symbol"))

        return draw

    def _marks(self, name: str) -> Callable[[Facts], Look]:
        """Position switches: the first letter of what one that is ON tells, else a dot."""
        contacts = [
            (self._input[switch], reads[:1])
            for switch, reads in self._switches.get(name, ())
            if switch in self._input
        ]
        if not contacts:
            return lambda facts: ()

        def draw(facts: Facts) -> Look:
            frame = facts.frame
            pieces: list[Piece] = [(" ", "symbol")]
            for i, letter in contacts:
                forced = frame.forced_inputs[i]
                pieces.append((letter if frame.inputs[i] else "·",
                               "attention" if forced else "symbol"))  # fmt: skip
            pieces.append(("F" if any(frame.forced_inputs[i] for i, _ in contacts) else " ",
                           "attention"))  # fmt: skip
            return tuple(pieces)

        return draw

    def _meter_shown(self, name: str, component: Component) -> Callable[[Facts], Look]:
        i = self._meter[name]
        letter = "G" if kind_of(component) == "gauge" else "T"

        def draw(facts: Facts) -> Look:
            number = f"{text.pressure(facts.frame.readings[i], unit=False):>5}"
            return ((f"‹{letter}", "symbol"), (number, "reading"), ("›", "symbol"))

        return draw

    def _pressure_switch(self, name: str, component: Component) -> Callable[[Facts], Look]:
        i = self._input.get(name)
        set_at = text.pressure(getattr(component, "set", 0.0) - self.ambient, unit=False)

        def draw(facts: Facts) -> Look:
            if i is None:
                return ((f"‹>{set_at}  ›", "symbol"),)
            made, forced = facts.frame.inputs[i], facts.frame.forced_inputs[i]
            return ((f"‹>{set_at}", "symbol"), ("F" if forced else " ", "attention"),
                    ("●" if made else "○", "symbol"), ("›", "symbol"))  # fmt: skip

        return draw

    def _feed(self, name: str, component: Component) -> Callable[[Facts], Look]:
        def draw(facts: Facts) -> Look:
            # a trainee is told of a switch that was turned, not of a feed that failed
            if name in facts.switched_off or facts.frame.power is False:
                return (("[", "symbol"), ("OFF", "attention"), ("]", "symbol"))
            word = " ? " if facts.frame.power is None else "on "
            return ((f"[{word}]", "symbol"),)

        return draw

    def _blows(self, name: str) -> Callable[[Facts], Look]:
        """A cell that shows air blowing off at a port that is open to the surroundings."""
        ports = [self._port[port] for port in self._open[name]]
        if not ports:
            return lambda facts: ()

        def draw(facts: Facts) -> Look:
            flows = [facts.frame.flows[i] for i in ports]
            out = any(flow is not None and flow < -FLOW for flow in flows)
            return (("↑" if out else " ", "flow"),)

        return draw


def width_of(look: Look) -> int:
    """Cells of a symbol."""
    return sum(len(piece) for piece, _ in look)
