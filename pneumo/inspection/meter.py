"""A multimeter: at a coil's plug, at its winding, at the controller's output card.

A voltage is idle where the controller commands nothing and nothing is found; a winding can be
measured only without voltage.
"""

from __future__ import annotations

from pneumo.circuit.targets import coil_voltage
from pneumo.inspection.evidence import Card, Voltage, Winding
from pneumo.inspection.moment import Moment
from pneumo.inspection.target import coil_of
from pneumo.scenario.play import Play

COIL_POWER = 5.0
"""Of a coil of sound winding [W]: order of magnitude of valve coils, from memory."""


def voltage(at: Moment, target: str) -> Voltage:
    """At a coil, with the plug on and everything live. Raises InputError when it is no coil."""
    component, side = coil_of(at.compiled, target)
    controls = at.play.plant.controls
    on = controls.has_voltage((component, side))
    plugged = controls.crossed.get((component, side), (component, side))
    volts = coil_voltage(at.compiled.circuit.components, plugged[0]) if on else 0.0
    return Voltage(f"{component}.{side}", volts, not on and not is_commanded(at.play, plugged))


def resistance(at: Moment, target: str) -> Winding:
    """Of a coil, with its plug off. Raises InputError when it is no coil."""
    component, side = coil_of(at.compiled, target)
    coil, controls = (component, side), at.play.plant.controls
    name = f"{component}.{side}"
    if controls.has_voltage(coil):
        return Winding(name, None, live=True, idle=True)
    if coil in controls.overrides.coils_open:
        return Winding(name, None, live=False, idle=False)
    ohms = coil_voltage(at.compiled.circuit.components, component) ** 2 / COIL_POWER
    return Winding(name, float(f"{ohms:.3g}"), live=False, idle=False)


def card(at: Moment, target: str) -> Card:
    """At the output card of the controller, where the wire of a coil begins. Raises InputError
    when it is no coil."""
    component, side = coil_of(at.compiled, target)
    output, controls = (component, side), at.play.plant.controls
    commanded = is_commanded(at.play, output)
    on = controls.overrides.output_forced.get(output, commanded)
    spec = controls.specs[component]
    live = on and controls.powered(spec.feed)
    volts = coil_voltage(at.compiled.circuit.components, component) if live else 0.0
    return Card(f"{component}.{side}", commanded and controls.power, volts,
                not on and not commanded)  # fmt: skip


def is_commanded(play: Play, output: tuple[str, str]) -> bool:
    """Whether the controller commands an output on, as its lamp on the card says."""
    controls = play.plant.controls
    spec = controls.specs[output[0]]
    standing = spec.standing and output[1] == "14" and spec.component not in controls.off
    return standing or controls.coils.get(output, False)
