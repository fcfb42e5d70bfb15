"""The co-simulation of plant and logic: `Play` advances both, event by event.

The plant is integrated between events only; an event is a command, a timer's end, a spool that
starts or stops moving, a contact that the controller reads at its next scan, a pilot or a
compressor's pressure crossing its threshold, a fault that is injected, changes or is put right. The
controller scans periodically, but a scan can change something only when an input changed, a
command waits or a timer ended: only those scans are carried out.

Each of them is an actor (`pneumo.scenario.actor`); only the loop here drives them.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Collection, Iterable
from dataclasses import replace
from math import inf

from pneumo.circuit.action import Action, FaultSpec
from pneumo.circuit.circuit import Circuit
from pneumo.circuit.circuit import Event as TimedAction
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.network.network import ACTING, SENSED
from pneumo.scenario import start
from pneumo.scenario.actor import Actor, Actors
from pneumo.scenario.perform import perform
from pneumo.scenario.plant import RTOL, Plant, StalledError
from pneumo.scenario.telling import told
from pneumo.simulation.advance import STRETCH

MOST_TURNS = 10_000
"""Times that something acts within `STRETCH` before a run counts as stalled."""


def compile_for(
    circuit: Circuit, actors: Collection[Actor], apart: Collection[str] | None
) -> Compiled:
    """A circuit compiled for runs with some actors; `apart`: see `compile_circuit`. With any of
    them no branch represents another, since nobody can know beforehand what they act on."""
    return compile_circuit(circuit, None if actors else apart)


class Play:
    """A circuit under way, from rest at time zero.

    Parameters
    ----------
    compiled
        The circuit.
    rtol
        Relative tolerance of a step.
    to_rest
        Time for the plant to come to rest before time zero [s].
    actors
        Who acts in the run besides those of every run, from time zero on. The run has copies of
        its own: the same ones may be handed to the next.
    plant
        What integrates it, made of the circuit and the tolerance.
    """

    def __init__(
        self,
        compiled: Compiled,
        *,
        rtol: float = RTOL,
        to_rest: float = start.TO_REST,
        actors: Iterable[Actor] = (),
        plant: Callable[[Compiled, float], Plant] = Plant,
    ) -> None:
        self.compiled = compiled
        self.most_turns = MOST_TURNS
        self.plant = plant(compiled, rtol)
        self.actors = Actors.of(compiled, self.plant)
        self._mark, self._turns = -inf, 0
        start.come_to_rest(self, to_rest)
        self.actors.further = tuple(actor.copy() for actor in actors)

    @property
    def now(self) -> float:
        """Time the run has come to [s]."""
        return self.plant.now

    def schedule(self, events: Iterable[TimedAction]) -> None:
        """Puts actions on the agenda; those of one instant keep their order."""
        for event in events:
            self.actors.agenda.put(event.time, event.action)

    def act(self, action: Action) -> None:
        """Does something at once.

        Raises
        ------
        InputError
            When it cannot be done; nothing has changed then.
        """
        perform(action, self.plant, self.actors)
        self.obey()

    def advance(self, until: float) -> None:
        """Runs to `until`. No step is cut short there, so that a run in pieces is the same as the
        whole run.

        Raises
        ------
        SimulationError
            When no step is short enough; a `StalledError` when the run comes no further.
        """
        while self.now < until:
            self._take_turns()
            self._integrate(until)
            self._must_come_on()

    def snapshot(self) -> Play:
        """An independent copy that goes on from here exactly; shares what never changes."""
        new = copy.copy(self)
        new.plant, new.actors = self.plant.snapshot(), self.actors.copy()
        return new

    def kept(self, before: Play | None = None) -> Play:
        """A snapshot to be put away: it takes a tenth of the memory, and does nothing but give
        snapshots. `before`: one that was put away earlier; what is alike is shared with it."""
        new = self.snapshot()
        new.plant.put_away(self.plant, None if before is None else before.plant)
        return new

    def renamed(self, one: FaultSpec, other: FaultSpec) -> Play:
        """The run as it is with another fault that changes the same of the plant, to be looked at
        and copied: it shares all else with this one."""
        new = copy.copy(self)
        new.actors = replace(self.actors, faults=self.actors.faults.exchanged(one, other))
        return new

    def obey(self) -> None:
        """The plant's devices and its contacts follow what was just set or changed."""
        controls, actors = self.plant.controls, self.actors
        if controls.reshaped:
            actors.faults.apply(self.plant)
        if controls.changed:
            actors.supplies.drive(self.plant)
            actors.spools.drive(self.plant)
            actors.controller.heed(self.plant)
        elif controls.switched:
            actors.spools.drive(self.plant, controls.switched)
        controls.changed, controls.switched = False, {}

    # the loop: whoever is due acts, then the plant goes on to what comes next

    def _take_turns(self) -> None:
        self.obey()
        for actor in self.actors:
            turns = 0
            while actor.next_time() <= self.plant.now:
                for action in actor.act(self.plant):
                    self.act(action)
                self.obey()
                turns = self._counted(turns)

    def _integrate(self, until: float) -> None:
        plant, controller = self.plant, self.actors.controller
        stop = min(actor.next_time() for actor in self.actors)
        for moment, watch, on in plant.integrate(stop, until, controller.period):
            role = plant.network.watch[watch]["role"]
            if role == SENSED:
                controller.crossed(plant, moment, watch, on)
            elif role == ACTING:
                plant.controls.changed = True

    def _must_come_on(self) -> None:
        """Stops a run in which one thing sets off the next without time going by."""
        if self.now > self._mark + STRETCH:
            self._mark, self._turns = self.now, 0
        self._turns = self._counted(self._turns)

    def _counted(self, turns: int) -> int:
        """One turn more."""
        if turns < self.most_turns:
            return turns + 1
        events = self.plant.log.events
        last = f" Last: {events[-1].subject} {told(events[-1].what)}." if events else ""
        raise StalledError(
            f"The run stopped at {self.now:.6f} s: too much happens at one instant, "
            f"{self.most_turns} events within {STRETCH * 1e3:g} ms.{last}"
        )
