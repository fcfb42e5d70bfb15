"""What each action does to a run; one function for each type of action."""

from __future__ import annotations

from functools import singledispatch
from typing import TYPE_CHECKING, Any, Literal

from pneumo.circuit.action import (
    Acknowledge,
    Clear,
    Command,
    Drain,
    Fin,
    ForceInput,
    ForceOutput,
    HandOverride,
    Power,
    Reset,
    RideStop,
    Strike,
    Switch,
    Turn,
    Unforce,
)
from pneumo.circuit.verbs import ALL
from pneumo.scenario.event import Commanded
from pneumo.zone.ride import RideCommand

if TYPE_CHECKING:
    from pneumo.scenario.play import Play


@singledispatch
def perform(action: Any, play: Play) -> None:
    """Does an action to a run now. Raises InputError when it cannot be done."""
    raise TypeError(f"{action!r} is no action")


@perform.register(Command)
def _command(action: Command, play: Play) -> None:
    play.plant.say(action.target, Commanded(action))
    if play.controller.command_gates(action.target, action.to):
        play.spools.drive(play.plant, play.controller.switched)
    if action.target == ALL or action.target in play.compiled.circuit.zones:
        play.command(RideCommand(action.target, action.to))


@perform.register(RideStop)
def _ride_stop(action: RideStop, play: Play) -> None:
    play.plant.say("", Commanded(action))
    play.command(RideCommand(ALL, "ride stop"))


@perform.register(Acknowledge)
@perform.register(Reset)
def _answer(action: Acknowledge | Reset, play: Play) -> None:
    play.plant.say(action.target, Commanded(action))
    kind: Literal["acknowledge", "reset"] = "reset" if isinstance(action, Reset) else "acknowledge"
    play.command(RideCommand(action.target, kind))


@perform.register(Switch)
def _switch(action: Switch, play: Play) -> None:
    play.plant.say(action.component, Commanded(action))
    off = play.plant.controls.off
    (off.discard if action.on else off.add)(action.component)
    play.drive_devices()


@perform.register(Power)
def _power(action: Power, play: Play) -> None:
    play.plant.say("", Commanded(action))
    play.plant.controls.power = action.on
    play.drive_devices()


@perform.register(Turn)
def _turn(action: Turn, play: Play) -> None:
    play.plant.say(action.component, Commanded(action))
    handle = play.spools.number(action.component)
    play.plant.controls.handles[handle] = 1.0 if action.in_service else 0.0
    play.spools.drive(play.plant)


@perform.register(HandOverride)
def _override(action: HandOverride, play: Play) -> None:
    play.plant.say(action.component, Commanded(action))
    held, coil = play.plant.controls.held, (action.component, action.side)
    if action.held:
        held[coil] = None
    else:
        held.pop(coil, None)
    play.spools.drive(play.plant, [action.component])


@perform.register(ForceInput)
def _force_input(action: ForceInput, play: Play) -> None:
    play.plant.say(action.name, Commanded(action))
    play.controller.forced_inputs[action.name] = action.on
    play.scan_soon(read_all=True)


@perform.register(ForceOutput)
def _force_output(action: ForceOutput, play: Play) -> None:
    play.plant.say(action.component, Commanded(action))
    play.controller.forced_outputs[action.component, action.side] = action.on
    play.scan_soon(read_all=True)


@perform.register(Unforce)
def _unforce(action: Unforce, play: Play) -> None:
    everything = action.target == ALL
    play.plant.say("" if everything else action.target, Commanded(action))
    play.controller.unforce(None if everything else action.target)
    play.scan_soon(read_all=True)


@perform.register(Drain)
def _drain(action: Drain, play: Play) -> None:
    before = play.faults.drained
    play.faults.drain(action.component, action.open)
    play.plant.say(action.component, Commanded(action))
    if play.faults.drained != before:
        play.see_faults()


@perform.register(Fin)
def _fin(action: Fin, play: Play) -> None:
    play.plant.say(action.zone, Commanded(action))
    for brake in play.compiled.brakes[action.zone]:
        play.faults.set_fin(brake.mover, action.present)
    play.see_faults()


@perform.register(Strike)
def _strike(action: Strike, play: Play) -> None:
    if play.faults.inject(play.plant, action.fault):
        play.see_faults()


@perform.register(Clear)
def _clear(action: Clear, play: Play) -> None:
    play.faults.clear(play.plant, action.component, action.mode)
    play.see_faults()
