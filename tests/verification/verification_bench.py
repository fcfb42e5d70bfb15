"""Circuits and hand-made runs for the tests of pneumo/verification."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache
from types import SimpleNamespace
from typing import Any

from documents import CIRCUITS, replaced, shipped_text

from pneumo.circuit.circuit import Circuit, Zone
from pneumo.circuit.validate import load, load_text
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.scenario.event import RunEvent
from pneumo.scenario.play import Play
from pneumo.zone.event import RideStopped

SMALL = tuple(sorted(path.stem for path in CIRCUITS.glob("[0-9]*.yaml")))
"""The teaching circuits."""

RIDES = ("sand_martin", "sand_martin_as_found")


@cache
def shipped(name: str) -> Circuit:
    """A circuit that comes with pneumo."""
    return load(CIRCUITS / f"{name}.yaml")


def changed(name: str, *changes: tuple[str, str]) -> Circuit:
    """A shipped circuit with passages replaced; each must be there once."""
    return load_text(replaced(shipped_text(name), *changes), f"{name}.yaml")


THREE_BRAKES = (
    ("ports: 4", "ports: 5"),
    ("hose_{1..2}: {", "hose_{1..3}: {"),
    ("  brake_{1..2}:\n", "  brake_{1..3}:\n"),
    ('open_{1..2}: {kind: jaw_switch, of: "brake_{1..2}"',
     'open_{1..3}: {kind: jaw_switch, of: "brake_{1..3}"'),
    ('closed_{1..2}: {kind: jaw_switch, of: "brake_{1..2}"',
     'closed_{1..3}: {kind: jaw_switch, of: "brake_{1..3}"'),
    ("manifold.{3..4} -> hose_{1..2}.1", "manifold.{3..5} -> hose_{1..3}.1"),
    ("hose_{1..2}.2 -> brake_{1..2}.1", "hose_{1..3}.2 -> brake_{1..3}.1"),
    ('brakes: ["brake_{1..2}"]', 'brakes: ["brake_{1..3}"]'),
    ("clamping_force: 5.6 kN}", "clamping_force: 5.6 kN, brakes_needed: 2}"),
)  # fmt: skip
"""Changes that give circuit 02 a third brake, of which one may fail."""


@cache
def three_brakes() -> Compiled:
    """Circuit 02 with three brakes, two of them needed: clamp within 1.5 s, hold for 30 s."""
    return compile_circuit(changed("02_spring_close_single", *THREE_BRAKES))


def block(compiled: Compiled) -> Zone:
    """Its only zone."""
    return compiled.circuit.zones["block"]


@cache
def _rested() -> Play:
    return Play(three_brakes())


STOPPED = RunEvent(22.0, "", RideStopped("command"))
"""When the hand-made runs ask for the safe state, unless they say otherwise."""


def hand_made(
    crossings: Iterable[tuple[float, int, bool]],
    *,
    events: Sequence[RunEvent] = (STOPPED,),
    raised: Sequence[RunEvent] = (),
    now: float = 1000.0,
    compiled: Compiled | None = None,
    clamped: Iterable[tuple[float, int, bool]] | None = None,
) -> Any:
    """What the judge reads of a run of `three_brakes`, with crossings (time, brake, clamped).

    Brakes are numbered from 0; at time zero every brake has an entry, as in a run. A brake that
    clamps has its required force at once, unless `clamped` says when it has it.
    """
    play = _rested() if compiled is None else Play(compiled)
    brakes = play.compiled.brakes["block"]
    log = SimpleNamespace(
        crossings=[
            (time, watch, made)
            for time, brake, made in crossings
            for watch in (brakes[brake].engaged, brakes[brake].clamped)[
                : 2 if clamped is None else 1
            ]
        ]
        + [(time, brakes[brake].clamped, made) for time, brake, made in clamped or ()],
        events=sorted([*events, *raised], key=lambda event: event.time),
    )
    plant = SimpleNamespace(log=log, network=play.plant.network, state=play.plant.state)
    return SimpleNamespace(compiled=play.compiled, plant=plant, now=now, actors=play.actors)


OPEN = ((0.0, 0, False), (0.0, 1, False), (0.0, 2, False))
"""Nothing clamps at time zero."""

CLAMPED = ((0.0, 0, True), (0.0, 1, True), (0.0, 2, True))
"""Everything clamps at time zero."""


def both(time: float, made: bool) -> tuple[tuple[float, int, bool], ...]:
    """Brakes 0 and 1, of which two are needed, clamp or let go."""
    return ((time, 0, made), (time, 1, made))
