"""A ride under way that people act on, and that can go back: no threads and no clock here.

Everything that is done is in the journal, and the simulation is deterministic, so any earlier
instant is had by replaying the journal from the last state stored before it. Going back keeps the
future until somebody acts or runs on; undoing an act replays the ride as if it had not been done.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from math import inf

from pneumo.circuit.action import Action
from pneumo.circuit.circuit import Circuit, Event
from pneumo.errors import InputError
from pneumo.live.acts import Acts, LeftOut
from pneumo.live.alarms import AlarmList
from pneumo.live.capture import Capture, Standing
from pneumo.live.check import Check, answer_data, begin, each_outcome
from pneumo.live.frame import Frame, Mode
from pneumo.live.journal import Act, read_act
from pneumo.live.past import GRID, Recorder
from pneumo.live.plant import plant_of
from pneumo.live.request import Seat
from pneumo.live.seal import OBSCURED, Seal
from pneumo.live.states import STORE_EVERY, States
from pneumo.network.compile import compile_circuit
from pneumo.scenario.actor import Actor
from pneumo.scenario.plant import SimulationError
from pneumo.scenario.play import Play
from pneumo.verification.campaign import Campaign
from pneumo.verification.case import Loss
from pneumo.verification.verdict import Outcome, Unsound

MOMENT = 1e-6
"""An act takes effect within so long [s], also while the ride stands still."""

LIVELY, COARSE, WIDE = 15.0, 2.0, 60.0
"""While work is done: after so long rows are so far apart, and states so far [s]."""

_UNSEALED: Seal = OBSCURED


class Session:
    """One ride: the run that is shown, its journal, and the states stored on the way."""

    def __init__(
        self,
        circuit: Circuit,
        document: str,
        actors: Iterable[Actor] = (),
        rest: Play | None = None,
    ) -> None:
        """`document`: the text that the circuit was read from. `actors`: who acts besides, from the
        beginning on. `rest`: the ride at time zero, with these actors, where it is another than its
        document says. The journal has none of it: to go on with a record, hand over the same."""
        self.circuit, self.document = circuit, document
        self.plant = plant_of(circuit, document)
        self.actors = tuple(actors)
        # no branch represents another: any part may be injected, forced or looked at on the way
        self._rest = rest or Play(compile_circuit(circuit), actors=self.actors)
        self.compiled = self._rest.compiled
        self.acts = Acts(circuit)
        self.recorder = Recorder(len(self.plant.channels))
        self.check: Check | None = None
        self.unsound: tuple[Unsound, ...] | None = None
        """What the circuit does wrong without any fault; None: not looked for yet."""
        self.opened = ""
        """Name of the case that was opened, "" = none."""
        self.drill, self.seal = "", _UNSEALED
        """Title of the drill that is practised, "" = none; how it is hidden in files."""
        self._begins = 0.0
        """Where the drill begins [s]; what was done to the ride before is its task."""
        self._capture = Capture(self.compiled, self.plant)
        self._newest: tuple[Play, int] | None = None
        """The newest instant and the number of acts it knows, while an earlier one is shown."""
        self._states = States()
        self.left_out = LeftOut()
        self.play: Play
        self._known: int
        """Acts of the journal that the run shown knows."""
        self._begin()

    # what is shown

    @property
    def shown(self) -> Play:
        """The run on screen: a check's while one is played."""
        return self.play if self.check is None else self.check.play

    @property
    def now(self) -> float:
        """The instant on screen [s]."""
        return self.shown.now

    @property
    def newest(self) -> float:
        """The newest instant of the ride [s]."""
        ride = self.play if self._newest is None else self._newest[0]
        return ride.now if self.check is None else self.check.play.now

    @property
    def mode(self) -> Mode:
        """See `frame.Mode`."""
        if self.check is not None:
            return "check"
        return "live" if self._newest is None else "earlier"

    def frame(
        self, number: int, *, running: bool, speed: float, pace: float, note: str = ""
    ) -> Frame:
        """The instant on screen."""
        check = None if self.check is None else self.check.frame
        if check is not None:
            note = check.note
        elif not note and self.opened:
            note = f"case: {self.opened}"
        standing = Standing(
            number=number, newest=self.newest, mode=self.mode, running=running, speed=speed,
            pace=pace, note=note, hidden=frozenset(self.acts.hidden),
            coming=self.acts.coming(self._known, self.shown.now),
        )  # fmt: skip
        frame = self._capture.frame(self.shown, standing)
        return frame._replace(alarms=self.alarms.frames(self.shown), check=check)

    # time

    def advance(self, until: float) -> None:
        """Runs on to a time [s]. Gone back before: what came after is dropped. A check goes no
        further than its end.

        Raises
        ------
        SimulationError
            When the integration could not go on.
        """
        if self.check is not None:
            self._run(self.check.play, min(until, self.check.end), self.check.advance)
            return
        self._branch()
        self._run(self.play, until, self.play.advance)

    def pass_time(self, until: float, since: float | None = None) -> None:
        """Runs on to a time [s] while somebody is at work: after the first seconds, in which what
        was done last comes to rest, rows and states are kept further apart. `since`: when that was
        done [s]; None: now. Raises SimulationError as `advance`."""
        lively = (self.now if since is None else since) + LIVELY
        if self.now < lively:
            self.advance(min(until, lively))
        self.recorder.grid = COARSE
        try:
            self.advance(until)
        finally:
            self.recorder.grid = GRID

    def earliest(self, seat: Seat) -> float:
        """How far back a seat may go [s]. A trainee goes neither before the start of a drill nor
        before an act of the trainer: whoever acted from there would be rid of the fault."""
        if seat == "trainer":
            return 0.0
        return max([self._begins, *(act.entered + MOMENT for act in self.acts.of_trainer())])

    def go_to(self, time: float, seat: Seat = "trainer") -> None:
        """Shows an earlier instant [s], but none before `earliest`; the future is kept until
        somebody acts or runs on."""
        self.leave_check()
        newest, known = (self.play, self._known) if self._newest is None else self._newest
        time = max(time, self.earliest(seat))
        if time >= newest.now:
            self.go_to_newest()
            return
        self._newest = (newest, known)
        self.play, self._known = self._states.at(time, self.acts, self.left_out)
        self.alarms.forget(time)

    def go_to_newest(self) -> None:
        """Back to the newest instant, and to the ride when a check was shown."""
        self.leave_check()
        if self._newest is not None:
            self.play, self._known = self._newest
            self._newest = None

    def check_branch(self, seat: Seat) -> None:
        """Refuses that a trainee acts or runs on from an instant before acts of the trainer.

        Raises
        ------
        InputError
            When that would drop them.
        """
        later = (act for act in self.acts.of_trainer() if act.entered > self.play.now)
        if seat == "trainee" and self._newest is not None and any(later):
            raise InputError("An earlier instant is shown; wait until the trainer continues.")

    # acts

    def do(self, seat: Seat, sentence: str, hidden: bool = False) -> Act:
        """Acts on the ride now, or later by "in 5 s: ...".

        Raises
        ------
        InputError
            When the sentence cannot be carried out, or a trainee would drop what the trainer did
            later; nothing has changed then.
        """
        if self.check is not None:
            raise InputError("A check is running on a copy of the ride; go back to the ride first.")
        self.check_branch(seat)
        now = self.play.now
        time, action = read_act(self.circuit, sentence, now)
        act = Act(time, seat, action.text, hidden, now)
        self._branch()
        before = self.play.snapshot()
        self.play.schedule([Event(time, action)])
        try:
            self.play.advance(now + MOMENT)
        except InputError:
            self.play = before
            self.recorder.follow(before.plant.log.events)
            raise
        self.acts.add(act)
        self._known = len(self.acts.journal)
        return act

    def undo(self) -> Act:
        """Takes the trainer's last act back, as if it had never been done.

        Raises
        ------
        InputError
            When there is none.
        """
        self.go_to_newest()
        return self._changed(*self.acts.undo())

    def redo(self) -> Act:
        """Does again what was taken back last.

        Raises
        ------
        InputError
            When nothing was.
        """
        if self.acts.can_redo:
            self.go_to_newest()
        return self._changed(*self.acts.redo())

    def actions(self, until: float = inf) -> Iterator[Action]:
        """All that anybody has done to the ride up to a time [s] and not taken back, in order."""
        return (self.acts.action(act) for act in self.acts.journal if act.entered <= until)

    # starting anew

    def restart(
        self, acts: Iterable[Act], until: float, name: str = "", *, begins: float = 0.0
    ) -> None:
        """Starts the ride anew, does what a journal says, and runs to a time [s], or to the last
        act when that was later.

        `begins`: where a drill begins [s]; what was said by then stays whatever happens.

        Raises
        ------
        InputError
            When a sentence does not fit the circuit.
        """
        self.acts.begin(acts)
        self.leave_check()
        self._newest = None
        self.opened, self._begins = name, begins
        self._begin()
        self._replay(begins)
        # an act is part of the ride even when the time after it was never recorded
        end = max([until, begins, *(act.entered + MOMENT for act in self.acts.journal)])
        self._replay(end, self.pass_time if begins else self.advance)

    def fall_back(self) -> float:
        """The simulation could not go on: back to the last state stored, what came after is
        dropped; the time there [s]. Asked again, one state further back, but never before the
        start of a drill."""
        self.check = self._newest = None
        last = self._states.take_latest()
        self.play, self._known = last.play.snapshot(), last.acts
        journal = self.acts.journal
        kept = sum(act.entered <= self._begins for act in journal) if self._begins else 0
        self.acts.cut(max(last.acts, kept))
        self.alarms.branch(last.time)
        self.recorder = self.recorder.of or self.recorder
        self.recorder.cut(last.time, self.play.plant.log.events)
        if self._known < len(self.acts.journal) or last.time < self._begins:
            self._replay(max(self._begins, last.time))  # it has come so far before
        return self.play.now

    # a check beside the ride

    def begin_check(self, zone: str, loss: Loss | None) -> None:
        """Plays a loss on a copy of the ride from the instant shown.

        Raises
        ------
        InputError
            When there is no such zone or loss.
        """
        self.leave_check()
        self.check = begin(self.play, zone, loss)
        self.recorder = self.recorder.forked(self.check.play.plant.log.events)

    def leave_check(self) -> None:
        """Back to the ride, which nothing has happened to."""
        if self.check is not None:
            self.check = None
            self.recorder = self.recorder.left(self.play.plant.log.events)

    def outcomes(self, zone: str) -> Iterator[dict[str, object]]:
        """What the circuit does wrong without any fault, and what every loss would do to a zone
        from the instant shown: piece by piece, each with all that was found before it."""
        loss = None if self.check is None else self.check.loss
        play = self.play.snapshot()  # the ride may have been run on before all is found
        if self.unsound is None:
            wrong: tuple[Unsound, ...] = ()
            for wrong in Campaign(self.circuit, actors=self.actors).unsound_by_condition():
                yield answer_data(zone, loss, (), wrong)
            self.unsound = wrong
        found: tuple[tuple[Loss, Outcome], ...] = ()
        for each in each_outcome(play, zone):
            found = (*found, each)
            yield answer_data(zone, loss, found, self.unsound)

    # inside

    def _begin(self) -> None:
        self.alarms = AlarmList()
        self.play = self._rest.snapshot()
        self._known = 0
        self._states.begin(self.play)
        self.recorder.cut(-1.0, self.play.plant.log.events)
        self._row(self.play)

    def _run(self, play: Play, until: float, advance: Callable[[float], None]) -> None:
        """Advances from row to row of the record."""
        while play.now < until:
            try:
                advance(min(until, max(self.recorder.due, play.now + MOMENT)))
            except SimulationError:
                raise
            except InputError as error:
                self.left_out.add(play.now, error)
                continue
            if play.now >= self.recorder.due:
                self._row(play)
            apart = WIDE if self.recorder.grid > GRID else STORE_EVERY
            if self.check is None and self._states.due(play.now, apart):
                self._states.put(self.play, self._known)

    def _row(self, play: Play) -> None:
        self.recorder.add(play.now, self._capture.row(play))

    def _branch(self) -> None:
        """From an earlier instant that is shown a new future begins."""
        if self._newest is None:
            return
        self._newest = None
        now = self.play.now
        self._known = sum(act.entered <= now for act in self.acts.journal)
        self.acts.cut(self._known)
        self._states.cut(now, self._known)
        self.alarms.branch(now)
        self.recorder.cut(now, self.play.plant.log.events)

    def _changed(self, place: int, act: Act) -> Act:
        """The journal has changed at a place, by an act: what came after comes about anew."""
        until = self.play.now
        self._states.cut(act.entered, place)
        last = self._states.latest
        self.play, self._known = last.play.snapshot(), last.acts
        self.alarms.forget(last.time)
        self.recorder.cut(last.time, self.play.plant.log.events)
        self._replay(until)
        return act

    def _replay(self, until: float, run: Callable[[float], None] | None = None) -> None:
        """Does the rest of the journal and runs to a time [s], by `advance` or as `pass_time`
        does."""
        run = run or self.advance
        while self._known < len(self.acts.journal):
            act = self.acts.journal[self._known]
            if act.entered > until:
                break
            if act.entered > self.play.now:
                run(act.entered)
            self.play.schedule([self.acts.event(act)])
            self._known += 1
        run(until)
