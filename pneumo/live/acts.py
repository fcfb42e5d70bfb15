"""What has been done to a ride, and what the trainee is not told of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from pneumo.circuit.action import Action, FaultSpec, Inject
from pneumo.circuit.circuit import Circuit, Event
from pneumo.circuit.former import renewed
from pneumo.errors import InputError
from pneumo.live.frame import FaultFrame
from pneumo.live.journal import Act, read_act

Fault = tuple[str, str]
"""Component and mode."""


class _Undone(NamedTuple):
    place: int
    act: Act


class Acts:
    """The journal of one ride."""

    def __init__(self, circuit: Circuit) -> None:
        self._circuit = circuit
        self.journal: list[Act] = []
        self.hidden: set[Fault] = set()
        """Faults that the trainee is not told of."""
        self._undone: list[_Undone] = []
        self._actions: dict[Act, Action] = {}
        """What acts do, as far as that was asked for."""

    # what they do

    def action(self, act: Act) -> Action:
        """What an act does; read once, for every frame asks."""
        if act not in self._actions:
            self._actions[act] = read_act(self._circuit, act.sentence, act.time)[1]
        return self._actions[act]

    def event(self, act: Act) -> Event:
        """An act as a run's agenda takes it."""
        return Event(act.time, self.action(act))

    def hidden_actions(self) -> frozenset[tuple[float, Action]]:
        """(time, action) of what the trainee is not told of."""
        return frozenset((act.time, self.action(act)) for act in self.journal if act.hidden)

    def of_trainer(self) -> Iterator[Act]:
        """Those of the trainer's seat."""
        return (act for act in self.journal if act.seat == "trainer")

    def coming(self, known: int, now: float) -> tuple[FaultFrame, ...]:
        """Faults said ahead among the first `known` acts, whose time has not come [s]."""
        found: list[FaultFrame] = []
        for act in self.journal[:known]:
            fault = self._fault(act)
            if fault is None or act.time <= now:
                continue
            found.append(
                FaultFrame(fault.component, fault.mode, fault.sentence, act.time, False, act.hidden)
            )
        return tuple(found)

    def _fault(self, act: Act) -> FaultSpec | None:
        """The fault that an act injects; None: it does something else."""
        action = self.action(act)
        return action.fault if isinstance(action, Inject) else None

    def _faults(self, acts: Iterable[Act]) -> set[Fault]:
        faults = (self._fault(act) for act in acts)
        return {(fault.component, fault.mode) for fault in faults if fault is not None}

    # what changes them

    def begin(self, acts: Iterable[Act]) -> None:
        """Another journal takes the place of this one.

        Raises
        ------
        InputError
            When a sentence does not fit the circuit; nothing has changed then.
        """
        journal = [act._replace(sentence=renewed(act.sentence)) for act in acts]
        for act in journal:
            self.action(act)
        self._undone.clear()
        self.journal = journal
        self.hidden = self._faults(act for act in journal if act.hidden)

    def add(self, act: Act) -> None:
        """Somebody has done something."""
        self.journal.append(act)
        self._undone.clear()
        for fault in self._faults([act]):
            (self.hidden.add if act.hidden else self.hidden.discard)(fault)

    def hide(self, component: str, mode: str, hidden: bool) -> None:
        """Hides a standing or coming fault from the trainee, or shows it.

        Raises
        ------
        InputError
            When there is no such fault.
        """
        found = [
            i for i, act in enumerate(self.journal) if self._faults([act]) == {(component, mode)}
        ]
        if not found:
            raise InputError(f"No fault {mode} has been injected at {component}.")
        for place in found:
            self.journal[place] = self.journal[place]._replace(hidden=hidden)
        (self.hidden.add if hidden else self.hidden.discard)((component, mode))

    def cut(self, number: int) -> None:
        """Only the first ones are left; faults that are no more are not hidden either."""
        self.journal = self.journal[:number]
        self._undone.clear()
        self.hidden &= self._faults(self.journal)

    def undo(self) -> tuple[int, Act]:
        """Takes out the trainer's last act: where it stood, and it.

        Raises
        ------
        InputError
            When there is none.
        """
        for place in range(len(self.journal) - 1, -1, -1):
            act = self.journal[place]
            if act.seat == "trainer":
                del self.journal[place]
                self._undone.append(_Undone(place, act))
                return place, act
        raise InputError("There is nothing to undo.")

    @property
    def can_redo(self) -> bool:
        """Whether something was taken out and not put back."""
        return bool(self._undone)

    def redo(self) -> tuple[int, Act]:
        """Puts back what was taken out last: where, and it.

        Raises
        ------
        InputError
            When nothing was.
        """
        if not self._undone:
            raise InputError("There is nothing to redo.")
        last = self._undone.pop()
        self.journal.insert(last.place, last.act)
        return last.place, last.act


class LeftOut:
    """What was said ahead and could not be done at its time. It is off the agenda, so that the run
    goes on without it, and every replay does the same."""

    def __init__(self) -> None:
        self._sentences: dict[str, None] = {}
        self._told = 0

    def add(self, time: float, error: InputError) -> None:
        """One more, at a time [s]; told again by a replay it is the same."""
        self._sentences.setdefault(f"{time:.3f} s: {error}")

    def fresh(self) -> list[str]:
        """Those that were not asked for yet, each in a sentence."""
        found = list(self._sentences)[self._told :]
        self._told = len(self._sentences)
        return found
