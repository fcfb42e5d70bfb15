"""A standard sequence that every suspect goes through: the ride with that fault, commanded as it is
every day.

```text
struck while open     stands open · close all · open all
struck while closed   stands closed · open all · close all
```

Only what sticks is taken back again: of the rest it matters not what the zones did before.

After each part the panel is read and every cheap test is made. What it gives is kept where it is
other than without the fault.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, NamedTuple, get_args

from pneumo.circuit.action import Acknowledge, Action, Command, FaultSpec, Inject, Reset
from pneumo.circuit.circuit import Circuit
from pneumo.circuit.verbs import ALL
from pneumo.diagnosis.panel import Panel
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.network.network import Array
from pneumo.scenario import reference
from pneumo.scenario.play import Play
from pneumo.simulation.position import Trajectory

Struck = Literal["open", "closed"]
"""Where the zones stood when the fault struck."""

STRUCK: tuple[Struck, ...] = get_args(Struck)

STANDS = 4.0
"""Time that the ride stands after the fault has struck [s]."""

RESET = 0.2
"""From acknowledging and resetting to the next command [s]: some scans."""

SPARE = 2.0
"""A command has so much time more than the limits of the slowest zone [s]."""

LEAST = 6.0
"""Time for a command at least [s]: for gates, which have no limits; estimated."""


class Stretch(NamedTuple):
    """One of the three parts of a rehearsal."""

    shown: Array
    """What the panel showed, see `Panel.stretch`."""
    stands: Play
    """The run at its end. Of a suspect it goes on when the next part is asked for."""


@dataclass(frozen=True)
class _Start:
    """Where rehearsals begin from."""

    play: Play
    trajectory: Trajectory
    sound: tuple[Stretch, ...]
    """What the ride does without any fault."""


class Rehearsal:
    """A ride that suspects are tried on.

    Raises
    ------
    SimulationError
        When the ride cannot even be calculated without a fault.
    """

    def __init__(self, circuit: Circuit, compiled: Compiled | None = None) -> None:
        self.circuit = circuit
        self.compiled = compile_circuit(circuit) if compiled is None else compiled
        self.panel = Panel(self.compiled)
        self._lasts = max(circuit.longest_movement + SPARE, LEAST)
        """Of one command, with all that comes of it [s]."""
        play = Play(self.compiled)
        # once there and back first, so that everything stands as after a day of work
        for to in ("closed", "open", "closed"):
            self._command(play, to)
        self._starts: dict[Struck, _Start] = {"closed": self._start(play, "closed")}
        self._command(play, "open")
        self._starts["open"] = self._start(play, "open")

    def _start(self, play: Play, struck: Struck) -> _Start:
        recorded = play.snapshot()
        reference.record(recorded.plant)
        sound = tuple(
            Stretch(shown, play.snapshot()) for shown, play in self._stretches(recorded, struck)
        )
        return _Start(play.snapshot(), reference.recorded(recorded.plant), sound)

    def sound(self, struck: Struck) -> tuple[Stretch, ...]:
        """What the ride does without any fault."""
        return self._starts[struck].sound

    def run(self, fault: FaultSpec, struck: Struck) -> Iterator[Stretch]:
        """What it does with a fault, part by part; a part is calculated when it is asked for.

        Raises
        ------
        SimulationError
            When it cannot be calculated.
        InputError
            When the fault cannot be injected.
        """
        start = self._starts[struck]
        play = start.play.snapshot()
        reference.replay(play.plant, start.trajectory)
        play.act(Inject(fault))
        yield from self._stretches(play, struck)

    def _stretches(self, play: Play, struck: Struck) -> Iterator[Stretch]:
        yield self._stretch(play, (), STANDS)
        for to in (_OTHER[struck], struck):
            for action in (Acknowledge(ALL), Reset(ALL)):
                play.act(action)
            play.advance(play.now + RESET)
            yield self._stretch(play, self._commands(to), self._lasts)

    def _stretch(self, play: Play, acts: tuple[Action, ...], seconds: float) -> Stretch:
        began, before = play.now, len(play.plant.log.events)
        for action in acts:
            play.act(action)
        play.advance(began + seconds)
        shown = self.panel.stretch(began, play.plant.log.events[before:], self.panel.shown(play))
        return Stretch(shown, play)

    def _command(self, play: Play, to: Struck) -> None:
        self._stretch(play, self._commands(to), self._lasts)

    def _commands(self, to: Struck) -> tuple[Action, ...]:
        verb: Literal["open", "close"] = "open" if to == "open" else "close"
        return tuple(Command(target, verb) for target in (ALL, *self.circuit.gates))


_OTHER: dict[Struck, Struck] = {"open": "closed", "closed": "open"}
