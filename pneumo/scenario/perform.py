"""What each action does to a run, by whomever it is done; one function for each type of action."""

from __future__ import annotations

from functools import singledispatch
from typing import Any, Literal

from pneumo.circuit.action import (
    Acknowledge,
    Block,
    Clear,
    Command,
    Drain,
    Fin,
    ForceInput,
    ForceOutput,
    HandOverride,
    Inject,
    Power,
    Repair,
    Reset,
    RideStop,
    Swap,
    Switch,
    Turn,
    Unforce,
)
from pneumo.circuit.verbs import ALL
from pneumo.scenario.actor import Actors
from pneumo.scenario.event import Commanded
from pneumo.scenario.plant import Plant
from pneumo.zone.ride import RideCommand


@singledispatch
def perform(action: Any, plant: Plant, actors: Actors) -> None:
    """Does an action now; devices obey next.

    Raises
    ------
    InputError
        When it cannot be done; nothing has changed then.
    """
    raise TypeError(f"{action!r} is no action")


@perform.register(Command)
def _command(action: Command, plant: Plant, actors: Actors) -> None:
    plant.say(action.target, Commanded(action))
    actors.controller.command_gates(plant, action.target, action.to)
    if action.target == ALL or action.target in plant.compiled.circuit.zones:
        actors.controller.command(plant, RideCommand(action.target, action.to))


@perform.register(RideStop)
def _ride_stop(action: RideStop, plant: Plant, actors: Actors) -> None:
    plant.say("", Commanded(action))
    actors.controller.command(plant, RideCommand(ALL, "ride stop"))


@perform.register(Acknowledge)
@perform.register(Reset)
def _answer(action: Acknowledge | Reset, plant: Plant, actors: Actors) -> None:
    plant.say(action.target, Commanded(action))
    kind: Literal["acknowledge", "reset"] = "reset" if isinstance(action, Reset) else "acknowledge"
    actors.controller.command(plant, RideCommand(action.target, kind))


@perform.register(Switch)
def _switch(action: Switch, plant: Plant, actors: Actors) -> None:
    plant.say(action.component, Commanded(action))
    off = plant.controls.off
    (off.discard if action.on else off.add)(action.component)
    plant.controls.changed = True


@perform.register(Power)
def _power(action: Power, plant: Plant, actors: Actors) -> None:
    plant.say("", Commanded(action))
    plant.controls.power = action.on
    plant.controls.changed = True


@perform.register(Turn)
def _turn(action: Turn, plant: Plant, actors: Actors) -> None:
    plant.say(action.component, Commanded(action))
    if actors.spools.turn(plant, action.component, action.in_service) and action.in_service:
        actors.faults.repair(plant, action.component, "restore")
    plant.controls.changed = True


@perform.register(HandOverride)
def _override(action: HandOverride, plant: Plant, actors: Actors) -> None:
    plant.say(action.component, Commanded(action))
    held, coil = plant.controls.held, (action.component, action.side)
    if action.held:
        held[coil] = None
    else:
        held.pop(coil, None)
    plant.controls.changed = True


@perform.register(ForceInput)
def _force_input(action: ForceInput, plant: Plant, actors: Actors) -> None:
    plant.say(action.name, Commanded(action))
    actors.controller.force_input(plant, action.name, action.on)


@perform.register(ForceOutput)
def _force_output(action: ForceOutput, plant: Plant, actors: Actors) -> None:
    plant.say(action.component, Commanded(action))
    actors.controller.force_output(plant, (action.component, action.side), action.on)


@perform.register(Unforce)
def _unforce(action: Unforce, plant: Plant, actors: Actors) -> None:
    everything = action.target == ALL
    plant.say("" if everything else action.target, Commanded(action))
    actors.controller.unforce(plant, None if everything else action.target)


@perform.register(Drain)
def _drain(action: Drain, plant: Plant, actors: Actors) -> None:
    actors.faults.drain(plant, action)


@perform.register(Repair)
def _repair(action: Repair, plant: Plant, actors: Actors) -> None:
    plant.say(action.component, Commanded(action))
    actors.faults.repair(plant, action.component, action.how, action.side)


@perform.register(Block)
def _block(action: Block, plant: Plant, actors: Actors) -> None:
    actors.faults.block(plant, action)


@perform.register(Swap)
def _swap(action: Swap, plant: Plant, actors: Actors) -> None:
    plant.say(action.coil.rpartition(".")[0], Commanded(action))
    plant.controls.swap(_coil(action.coil), _coil(action.other))


def _coil(text: str) -> tuple[str, str]:
    component, _, side = text.rpartition(".")
    return component, side


@perform.register(Fin)
def _fin(action: Fin, plant: Plant, actors: Actors) -> None:
    plant.say(action.zone, Commanded(action))
    actors.faults.set_fin(plant, action.zone, action.present)


@perform.register(Inject)
def _inject(action: Inject, plant: Plant, actors: Actors) -> None:
    actors.faults.inject(plant, action.fault)


@perform.register(Clear)
def _clear(action: Clear, plant: Plant, actors: Actors) -> None:
    actors.faults.clear(plant, action.component, action.mode)
