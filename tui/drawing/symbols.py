"""What stands in the boxes: a short symbol in words and marks for each kind, with its state.

Devices stand in [ ], vessels in ( ), instruments in ‹ ›. Every state is told by a letter, a word
or a mark; ink (colour) only helps. A symbol has the same width in every state.

    [■ 1▸2 ]   solenoid valve: coil commanded ON (□ OFF), air can pass from 1 to 2
    [M■ 1▸2 ]  M held by its manual override, F its output is forced
    ↑          air blows off into the open there
    ?          not seen from this seat
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from pneumo.circuit.circuit import PortRef
from pneumo.components.base import Component, kind_of
from pneumo.components.solenoid import Path, SolenoidValve
from pneumo.live.frame import Frame
from pneumo.live.plant import Plant
from pneumo.schematic.sheet import Box
from tui import text
from tui.drawing.glyphs import FLOW

Ink = str
"""Name of a style; the view gives it its colour."""

Piece = tuple[str, Ink]
Look = tuple[Piece, ...]
"""A symbol from left to right."""

Drawer = Callable[["Facts"], Look]
"""What draws a box from a frame."""

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
        self.port = {port: i for i, port in enumerate(plant.ports)}
        self.valve = {name: i for i, name in enumerate(plant.valves)}
        self.brake = {name: i for i, name in enumerate(plant.brakes)}
        self.cylinder = {name: i for i, name in enumerate(plant.cylinders)}
        self.meter = {name: i for i, name in enumerate(plant.meters)}
        self.supply = {name: i for i, name in enumerate(plant.supplies)}
        self.input = {contact.name: i for i, contact in enumerate(plant.inputs)}
        self.output = {coil.name: i for i, coil in enumerate(plant.outputs)}
        self.zone_brakes = {name: zone.brakes for name, zone in circuit.zones.items()}
        self.switches = {
            name: [(s, str(getattr(circuit.components[s], "reads", "")))
                   for s in circuit.watching((name,))]
            for name in (*plant.brakes, *plant.cylinders)
        }  # fmt: skip
        """Brake or cylinder -> its switches, each with what it reads."""
        ends = {str(end) for end in circuit.open_ends()}
        self.open = {
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
            frozenset(b for zone in frame.absent_fins for b in self.zone_brakes.get(zone, ())),
            faults,
        )  # fmt: skip

    def drawer(self, box: Box) -> Drawer:
        """What draws a box."""
        if box.marker:
            look: Look = (("{»}", "symbol"),)
            return lambda facts: look
        component = self.plant.circuit.components[box.name]
        make = DRAWERS.get(component.symbol.picture, _still)
        return make(self, box.name, component, box.turned)

    def flow(self, port: PortRef) -> Callable[[Frame], float | None]:
        """Reads the air into a component at a port [kg/s]."""
        i = self.port[port]
        return lambda frame: frame.flows[i]


# one function for each picture; mirrored: port 1 is on the right


def _still(of: Symbols, name: str, component: Component, mirrored: bool) -> Drawer:
    words = STILL.get(component.symbol.picture, f"[{component.title or kind_of(component)}]")
    look: Look = ((words, "symbol"),)
    return lambda facts: look


def _source(of: Symbols, name: str, component: Component, mirrored: bool) -> Drawer:
    i = of.supply[name]

    def draw(facts: Facts) -> Look:
        if name in facts.switched_off:
            return (("[▶ ", "symbol"), ("OFF ", "attention"), ("]", "symbol"))
        return ((f"[▶ {'runs' if facts.frame.supplying[i] else 'idle'}]", "symbol"),)

    return draw


def _vessel(of: Symbols, name: str, component: Component, mirrored: bool) -> Drawer:
    first = PortRef(name, component.ports()[0].name)
    net = of.plant.net_of[first]
    letter = {"receiver": "R", "accumulator": "A"}.get(component.symbol.picture, "")

    def draw(facts: Facts) -> Look:
        value = facts.frame.pressures[net]
        number = f"{text.pressure(value, unit=False):>5}"
        trapped = "~" if net in facts.frame.trapped else ""
        drain = "v" if name in facts.drained else ""
        marks = f"{letter}{drain or trapped or ' '}" if letter else drain or trapped or " "
        ink = "attention" if drain else "trapped" if trapped else "symbol"
        return (("(", "symbol"), (marks, ink), (number, "number"), (")", "symbol"))

    return draw


def _filter(of: Symbols, name: str, component: Component, mirrored: bool) -> Drawer:
    def draw(facts: Facts) -> Look:
        drain = ("v", "attention") if name in facts.drained else ("▒", "symbol")
        return (("[▒▒▒", "symbol"), drain, ("]", "symbol"))

    return draw


def _regulator(of: Symbols, name: str, component: Component, mirrored: bool) -> Drawer:
    return _set_at(of, "set", name, getattr(component, "set_pressure", 0.0))


def _relief(of: Symbols, name: str, component: Component, mirrored: bool) -> Drawer:
    return _set_at(of, "max", name, getattr(component, "set_pressure", 0.0))


def _set_at(of: Symbols, word: str, name: str, pressure: float) -> Drawer:
    words = f"[{word} {text.pressure(pressure - of.ambient, unit=False)}"
    blows = _blows(of, name)
    return lambda facts: ((words, "symbol"), *blows(facts), ("]", "symbol"))


def _shut_off(of: Symbols, name: str, component: Component, mirrored: bool) -> Drawer:
    i = of.valve[name]
    blows = _blows(of, name)

    def draw(facts: Facts) -> Look:
        position = facts.frame.positions[i]
        if position is not None and AT_END < position < 1.0 - AT_END:
            word, ink = "turns ", "symbol"
        elif name in facts.isolated or (position is not None and position <= AT_END):
            word, ink = "CLOSED", "attention"
        else:
            # the handle can be seen from every seat
            word, ink = "open  ", "symbol"
        return (("[", "symbol"), (word, ink), *blows(facts), ("]", "symbol"))

    return draw


def _soft_start(of: Symbols, name: str, component: Component, mirrored: bool) -> Drawer:
    i = of.valve[name]
    blows = _blows(of, name)

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


def _solenoid(of: Symbols, name: str, component: Component, mirrored: bool) -> Drawer:
    assert isinstance(component, SolenoidValve)
    i = of.valve[name]
    coils = [f"{name}.{side}" for side in component.coils()]
    paths = component.paths()
    places = (0.0, 1.0, -1.0) if component.three_positions() else (0.0, 1.0)
    room = max(len(_way(place, paths)) for place in (*places, 0.5))
    blows = _blows(of, name)

    def draw(facts: Facts) -> Look:
        pieces: list[Piece] = [("[", "symbol")]
        for coil in coils:
            pieces += _coil(facts, coil, of.output.get(coil))
        pieces.append((f" {_way(facts.frame.positions[i], paths):<{room}}", "symbol"))
        return (*pieces, *blows(facts), ("]", "symbol"))

    return draw


def _coil(facts: Facts, coil: str, output: int | None) -> tuple[Piece, Piece]:
    """Who holds a coil other than the controller's logic, and whether it is commanded on."""
    held = coil in facts.overridden
    forced = output is not None and facts.frame.forced_outputs[output]
    by = ("M" if held else "F" if forced else " ", "attention" if held or forced else "symbol")
    if output is None:
        return by, (" ", "symbol")
    on = facts.frame.outputs[output]
    return by, ("■" if on else "□", "energised" if on else "symbol")


def _way(position: float | None, paths: Sequence[Path]) -> str:
    """The flow paths that are open."""
    if position is None:
        return "?"
    if min(abs(position), abs(position - 1.0), abs(position + 1.0)) > AT_END:
        return "···"
    found = [f"{p.a}▸{p.b}" for p in paths if (position - p.closed) / (p.open - p.closed) > 0.5]
    return " ".join(found) or "closed"


def _check(of: Symbols, name: str, component: Component, mirrored: bool) -> Drawer:
    read = of.flow(PortRef(name, "1"))
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


def _quick_exhaust(of: Symbols, name: str, component: Component, mirrored: bool) -> Drawer:
    reads = [of.flow(PortRef(name, port)) for port in ("1", "2")]
    blows = _blows(of, name)

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


def _two_inlets(of: Symbols, name: str, component: Component, mirrored: bool) -> Drawer:
    reads = {inlet: of.flow(PortRef(name, inlet)) for inlet in ("1a", "1b")}
    word = component.symbol.picture.upper()

    def draw(facts: Facts) -> Look:
        flows = {inlet: read(facts.frame) for inlet, read in reads.items()}
        if None in flows.values():
            way = " ?"
        else:
            way = next((f"{k}▸2" if v > 0 else f"2▸{k}" for k, v in flows.items()
                        if v is not None and abs(v) > FLOW), " -")  # fmt: skip
        return ((f"[{word} {way:<4}]", "symbol"),)

    return draw


def _silencer(of: Symbols, name: str, component: Component, mirrored: bool) -> Drawer:
    read = of.flow(PortRef(name, "1"))

    def draw(facts: Facts) -> Look:
        flow = read(facts.frame)
        blows = "↑" if flow is not None and flow > FLOW else " "
        return (("[≡≡≡", "symbol"), (blows, "flow"), ("]", "symbol"))

    return draw


def _jaws(of: Symbols, name: str, component: Component, mirrored: bool) -> Drawer:
    i = of.brake[name]
    two = getattr(component, "bladders", 2) == 2
    wide = getattr(component, "gap", 0.0) / (2.0 if two else 1.0)
    switches = _marks(of, name)

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


def _piston(of: Symbols, name: str, component: Component, mirrored: bool) -> Drawer:
    i = of.cylinder[name]
    stroke = getattr(component, "stroke", 1.0)
    switches = _marks(of, name)

    def draw(facts: Facts) -> Look:
        travel = facts.frame.travels[i]
        rod = "  ?  " if travel is None else text.bar(travel / stroke, 5)
        number = f"{text.gap(travel, unit=False):>6}"
        return ((f"[▐{rod}", "symbol"), (number, "number"), *switches(facts), ("]", "symbol"))

    return draw


def _marks(of: Symbols, name: str) -> Drawer:
    """Position switches: the first letter of what one that is ON tells, else a dot."""
    contacts = [
        (of.input[switch], reads[:1])
        for switch, reads in of.switches.get(name, ())
        if switch in of.input
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


def _meter_shown(of: Symbols, name: str, component: Component, mirrored: bool) -> Drawer:
    i = of.meter[name]
    letter = "G" if component.symbol.picture == "gauge" else "T"

    def draw(facts: Facts) -> Look:
        number = f"{text.pressure(facts.frame.readings[i], unit=False):>5}"
        return ((f"‹{letter}", "symbol"), (number, "reading"), ("›", "symbol"))

    return draw


def _pressure_switch(of: Symbols, name: str, component: Component, mirrored: bool) -> Drawer:
    i = of.input.get(name)
    set_at = text.pressure(getattr(component, "set", 0.0) - of.ambient, unit=False)

    def draw(facts: Facts) -> Look:
        if i is None:
            return ((f"‹>{set_at}  ›", "symbol"),)
        made, forced = facts.frame.inputs[i], facts.frame.forced_inputs[i]
        return ((f"‹>{set_at}", "symbol"), ("F" if forced else " ", "attention"),
                ("●" if made else "○", "symbol"), ("›", "symbol"))  # fmt: skip

    return draw


def _feed(of: Symbols, name: str, component: Component, mirrored: bool) -> Drawer:
    def draw(facts: Facts) -> Look:
        # a trainee is told of a switch that was turned, not of a feed that failed
        if name in facts.switched_off or facts.frame.power is False:
            return (("[", "symbol"), ("OFF", "attention"), ("]", "symbol"))
        word = " ? " if facts.frame.power is None else "on "
        return ((f"[{word}]", "symbol"),)

    return draw


def _blows(of: Symbols, name: str) -> Drawer:
    """A cell that shows air blowing off at a port that is open to the surroundings."""
    ports = [of.port[port] for port in of.open[name]]
    if not ports:
        return lambda facts: ()

    def draw(facts: Facts) -> Look:
        flows = [facts.frame.flows[i] for i in ports]
        out = any(flow is not None and flow < -FLOW for flow in flows)
        return (("↑" if out else " ", "flow"),)

    return draw


STILL = {
    "pipe": "[════]", "hose": "[≈≈≈≈]", "tube": "[────]", "throttle": "[ )( ]",
}  # fmt: skip
"""Pictures that show no state."""

DRAWERS: dict[str, Callable[[Symbols, str, Component, bool], Drawer]] = {
    "accumulator": _vessel, "and": _two_inlets, "check": _check, "compressor": _source,
    "cylinder": _piston, "feed": _feed, "filter": _filter, "gauge": _meter_shown,
    "hand_valve": _shut_off, "jaws": _jaws, "manifold": _vessel, "or": _two_inlets,
    "pressure_switch": _pressure_switch, "quick_exhaust": _quick_exhaust, "receiver": _vessel,
    "regulator": _regulator, "relief": _relief, "silencer": _silencer, "soft_start": _soft_start,
    "spool": _solenoid, "supply": _source, "transmitter": _meter_shown,
}  # fmt: skip
"""Picture of a kind -> what draws it."""


def width_of(look: Look) -> int:
    """Cells of a symbol."""
    return sum(len(piece) for piece, _ in look)
