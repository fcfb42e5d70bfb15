"""A ride under way that people act on, and that can go back: no threads and no clock here.

Everything that is done is in the journal, and the simulation is deterministic, so any earlier
instant is had by replaying the journal from the last state stored before it. Going back keeps the
future until somebody acts or runs on; undoing an act replays the ride as if it had not been done.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import floor, log2

from pneumo.circuit.action import Action, FaultSpec, Strike
from pneumo.circuit.circuit import Circuit, Event
from pneumo.circuit.former import renewed
from pneumo.errors import InputError
from pneumo.live.alarms import AlarmList
from pneumo.live.capture import Capture, Standing
from pneumo.live.check import Check, answer_data, begin, each_outcome
from pneumo.live.frame import FaultFrame, Frame, Mode
from pneumo.live.journal import Act, read_act
from pneumo.live.past import Recorder
from pneumo.live.plant import plant_of
from pneumo.live.request import Seat
from pneumo.network.compile import compile_circuit
from pneumo.scenario.plant import SimulationError
from pneumo.scenario.play import Play
from pneumo.verification.campaign import Campaign
from pneumo.verification.verdict import Outcome, Unsound

MOMENT = 1e-6
"""An act takes effect within so long [s], also while the ride stands still."""

STORE_EVERY = 2.0
"""A state is stored so often [s of simulated time]; further back they are thinned out."""

LOOK_AHEAD = 60.0
"""`next_event` runs no longer than this [s]."""

SPACINGS = ((60.0, STORE_EVERY), (600.0, 10.0), (3600.0, 60.0))
"""(how far back, distance between the states kept there) [s]."""

FARTHER = (3600.0, 300.0)
"""The same for what lies further back; twice as far back it is twice the distance, so that a day
keeps half as many states again as an hour [s]."""


@dataclass(frozen=True)
class _Stored:
    """A state to go on from, and how many acts of the journal it knows."""

    time: float
    play: Play
    acts: int


@dataclass(frozen=True)
class _Undone:
    place: int
    act: Act


class Session:
    """One ride: the run that is shown, its journal, and the states stored on the way."""

    def __init__(self, circuit: Circuit, document: str) -> None:
        """`document`: the text that the circuit was read from."""
        self.circuit = circuit
        self.document = document
        self.plant = plant_of(circuit, document)
        # nothing is lumped: any part may be struck, forced or looked at while the ride runs
        self.compiled = compile_circuit(circuit)
        self.journal: list[Act] = []
        self._actions: dict[Act, Action] = {}
        """What acts do, as far as that was asked for."""
        self.hidden: set[tuple[str, str]] = set()
        """(component, mode) of the faults that the trainee is not told of."""
        self.play = Play(self.compiled)
        self.recorder = Recorder(len(self.plant.channels))
        self.check: Check | None = None
        self.unsound: tuple[Unsound, ...] | None = None
        """What the circuit does wrong without any fault; None: not looked for yet."""
        self.opened = ""
        """Name of the case that was opened, "" = none."""
        self.drill = ""
        """Title of the drill that is practised, "" = none."""
        self._begins = 0.0
        """Where the drill begins [s]; what was done to the ride before is its task."""
        self._recorded: Recorder | None = None
        """The ride's own record while a check is shown."""
        self._alarms = AlarmList()
        self._capture = Capture(self.compiled, self.plant)
        self._newest: tuple[Play, int] | None = None
        """The newest instant and the number of acts it knows, while an earlier one is shown."""
        self._stored: list[_Stored] = []
        self._undone: list[_Undone] = []
        self._left_out: dict[str, None] = {}
        """What was said ahead and could not be done at its time, each in a sentence."""
        self._left_out_told = 0
        self._known = 0
        """Acts of the journal that the run shown knows."""
        self._begin(Play(self.compiled))

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
        if self.check is not None:
            return self.check.play.now
        return self.play.now if self._newest is None else self._newest[0].now

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
            number=number,
            newest=self.newest,
            mode=self.mode,
            running=running,
            speed=speed,
            pace=pace,
            note=note,
            hidden=frozenset(self.hidden),
            coming=self._coming(),
        )
        frame = self._capture.frame(self.shown, standing)
        return frame._replace(alarms=self._alarms.frames(self.shown), check=check)

    def left_out(self) -> list[str]:
        """What was said ahead and could not be done at its time, each in a sentence, once."""
        fresh = list(self._left_out)[self._left_out_told :]
        self._left_out_told = len(self._left_out)
        return fresh

    def hidden_acts(self) -> frozenset[tuple[float, Action]]:
        """(time, action) of what the trainee is not told of."""
        return frozenset((act.time, self._action(act)) for act in self.journal if act.hidden)

    def _action(self, act: Act) -> Action:
        """What an act does; read once, for every frame asks."""
        if act not in self._actions:
            self._actions[act] = read_act(self.circuit, act.sentence, act.time)[1]
        return self._actions[act]

    def _event(self, act: Act) -> Event:
        return Event(act.time, self._action(act))

    def _fault(self, act: Act) -> FaultSpec | None:
        """The fault that an act injects; None: it does something else."""
        action = self._action(act)
        return action.fault if isinstance(action, Strike) else None

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

    def scan(self) -> None:
        """Runs to the controller's next scan."""
        period = self.circuit.ride.scan
        self.advance((int(self.now / period + 1e-6) + 1) * period)

    def next_event(self, visible: Iterable[str] = ()) -> bool:
        """Runs until something happens of one of these kinds (all when empty); True when it did,
        False when `LOOK_AHEAD` or a check was over."""
        kinds = frozenset(visible)
        end = self.now + LOOK_AHEAD
        if self.check is not None:
            end = min(end, self.check.end)
        period = self.circuit.ride.scan
        while self.now < end:
            before = len(self.shown.plant.log.events)
            self.advance(self.now + period)
            fresh = self.shown.plant.log.events[before:]
            if any(not kinds or event.kind in kinds for event in fresh):
                return True
        return False

    def earliest(self, seat: Seat) -> float:
        """How far back a seat may go [s]. A trainee goes neither before the start of a drill nor
        before an act of the trainer: whoever acted from there would be rid of the fault."""
        if seat == "trainer":
            return 0.0
        return max([self._begins, *(act.entered + MOMENT for act in self._trainers())])

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
        self.play, self._known = self._at(time)
        self._alarms.forget(time)

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
        now = self.play.now
        gone_back = self._newest is not None
        if seat == "trainee" and gone_back and any(a.entered > now for a in self._trainers()):
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
            self._swap(before)
            raise
        self.journal.append(act)
        self._known = len(self.journal)
        self._undone.clear()
        if isinstance(action, Strike):
            key = (action.fault.component, action.fault.mode)
            (self.hidden.add if hidden else self.hidden.discard)(key)
        return act

    def hide(self, component: str, mode: str, hidden: bool) -> None:
        """Hides a standing or coming fault from the trainee, or shows it.

        Raises
        ------
        InputError
            When there is no such fault.
        """
        found = False
        for place, act in enumerate(self.journal):
            fault = self._fault(act)
            if fault is not None and (fault.component, fault.mode) == (component, mode):
                self.journal[place] = act._replace(hidden=hidden)
                found = True
        if not found:
            raise InputError(f"No fault {mode} has been injected at {component}.")
        (self.hidden.add if hidden else self.hidden.discard)((component, mode))

    def undo(self) -> Act:
        """Takes the trainer's last act back, as if it had never been done.

        Raises
        ------
        InputError
            When there is none.
        """
        self.go_to_newest()
        for place in range(len(self.journal) - 1, -1, -1):
            act = self.journal[place]
            if act.seat == "trainer":
                del self.journal[place]
                self._undone.append(_Undone(place, act))
                self._replay_from(place, act.entered)
                return act
        raise InputError("There is nothing to undo.")

    def redo(self) -> Act:
        """Does again what was taken back last.

        Raises
        ------
        InputError
            When nothing was.
        """
        if not self._undone:
            raise InputError("There is nothing to redo.")
        self.go_to_newest()
        last = self._undone.pop()
        self.journal.insert(last.place, last.act)
        self._replay_from(last.place, last.act.entered)
        return last.act

    def shelve(self, zone: str, alarm: str, seconds: float | None) -> None:
        """Shelves an alarm, see `AlarmList.shelve`."""
        self._alarms.shelve(self.shown, zone, alarm, seconds)

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
        journal = [act._replace(sentence=renewed(act.sentence)) for act in acts]
        for act in journal:
            self._action(act)
        self.leave_check()
        self._newest = None
        self._undone.clear()
        self.journal = journal
        faults = [self._fault(act) for act in journal if act.hidden]
        self.hidden = {(fault.component, fault.mode) for fault in faults if fault is not None}
        self.opened = name
        self._begins = begins
        self._alarms = AlarmList()
        self._begin(Play(self.compiled))
        # an act is part of the ride even when the time after it was never recorded
        self._replay(max([until, begins, *(act.entered + MOMENT for act in journal)]))

    def fall_back(self) -> float:
        """The simulation could not go on: back to the last state stored, what came after is
        dropped; the time there [s]. Asked again, one state further back, but never before the
        start of a drill."""
        self.check = None
        self._newest = None
        last = self._stored.pop() if len(self._stored) > 1 else self._stored[0]
        self.play, self._known = last.play.snapshot(), last.acts
        kept = sum(act.entered <= self._begins for act in self.journal) if self._begins else 0
        self.journal = self.journal[: max(last.acts, kept)]
        self._undone.clear()
        self._alarms.branch(last.time)
        if self._recorded is not None:
            self.recorder, self._recorded = self._recorded, None
        self.recorder.cut(last.time, self.play.plant.log.events)
        if self._known < len(self.journal) or last.time < self._begins:
            self._replay(max(self._begins, last.time))  # it has come so far before
        return self.play.now

    # a check beside the ride

    def begin_check(self, zone: str, loss: str) -> None:
        """Plays a loss on a copy of the ride from the instant shown.

        Raises
        ------
        InputError
            When there is no such zone or loss.
        """
        self.leave_check()
        self.check = begin(self.play, zone, loss)
        self._recorded = self.recorder
        self.recorder = self.recorder.forked(
            self.check.play.plant.log.events, self.recorder.epoch + 1
        )

    def leave_check(self) -> None:
        """Back to the ride, which nothing has happened to."""
        if self.check is None:
            return
        self.check = None
        assert self._recorded is not None
        epoch = self.recorder.epoch
        self.recorder, self._recorded = self._recorded, None
        self.recorder.epoch = epoch
        self.recorder.follow(self.play.plant.log.events)

    def outcomes(self, zone: str) -> Iterator[dict[str, object]]:
        """What the circuit does wrong without any fault, and what every loss would do to a zone
        from the instant shown: piece by piece, each with all that was found before it."""
        found: list[tuple[str, Outcome]] = []
        loss = "" if self.check is None else self.check.loss.name
        play = self.play.snapshot()  # the ride may have been run on before all is found
        if self.unsound is None:
            wrong: tuple[Unsound, ...] = ()
            for wrong in Campaign(self.circuit).unsound_by_condition():
                yield answer_data(zone, loss, found, wrong)
            self.unsound = wrong
        for each, outcome in each_outcome(play, zone):
            found.append((each.name, outcome))
            yield answer_data(zone, loss, found, self.unsound)

    # inside

    def _trainers(self) -> Iterator[Act]:
        return (act for act in self.journal if act.seat == "trainer")

    def _begin(self, play: Play) -> None:
        self.play = play
        self._known = 0
        self._stored = []
        self._store()
        self.recorder.cut(-1.0, play.plant.log.events)
        self._row(play)

    def _run(self, play: Play, until: float, advance: object) -> None:
        """Advances from row to row of the record."""
        assert callable(advance)
        while play.now < until:
            try:
                advance(min(until, max(self.recorder.due, play.now + MOMENT)))
            except SimulationError:
                raise
            except InputError as error:
                self._leave_out(play.now, error)
                continue
            if play.now >= self.recorder.due:
                self._row(play)
            if self.check is None and play.now >= self._stored[-1].time + STORE_EVERY:
                self._store()

    def _leave_out(self, time: float, error: InputError) -> None:
        """What was said ahead cannot be done now that its time has come; it is off the agenda, so
        that the run goes on without it, and every replay does the same."""
        self._left_out.setdefault(f"{time:.3f} s: {error}")

    def _row(self, play: Play) -> None:
        self.recorder.add(play.now, self._capture.row(play))

    def _swap(self, play: Play) -> None:
        """Another run stands at the instant shown."""
        self.play = play
        self.recorder.follow(play.plant.log.events)

    def _branch(self) -> None:
        """From an earlier instant that is shown a new future begins."""
        if self._newest is None:
            return
        self._newest = None
        now = self.play.now
        self.journal = [act for act in self.journal if act.entered <= now]
        self._known = len(self.journal)
        self._undone.clear()
        faults = [self._fault(act) for act in self.journal]
        self.hidden &= {(fault.component, fault.mode) for fault in faults if fault is not None}
        self._stored = [s for s in self._stored if s.time <= now and s.acts <= self._known]
        self._alarms.branch(now)
        self.recorder.cut(now, self.play.plant.log.events)

    def _at(self, time: float) -> tuple[Play, int]:
        """The ride at an earlier time [s], and the acts it knows."""
        place = bisect_right(self._stored, time, key=lambda stored: stored.time) - 1
        stored = self._stored[place]
        play, known = stored.play.snapshot(), stored.acts
        while known < len(self.journal) and self.journal[known].entered <= time:
            play.schedule([self._event(self.journal[known])])
            known += 1
        while play.now < time:
            try:
                play.advance(time)
            except SimulationError:
                raise
            except InputError as error:
                self._leave_out(play.now, error)
        return play, known

    def _replay_from(self, place: int, time: float) -> None:
        """The journal has changed at a place and time [s]: what came after comes about anew."""
        until = self.play.now
        self._stored = [s for s in self._stored if s.acts <= place and s.time <= time]
        last = self._stored[-1]
        self.play, self._known = last.play.snapshot(), last.acts
        self._alarms.forget(last.time)
        self.recorder.cut(last.time, self.play.plant.log.events)
        self._replay(until)

    def _replay(self, until: float) -> None:
        """Does the rest of the journal and runs to a time [s]."""
        while self._known < len(self.journal):
            act = self.journal[self._known]
            if act.entered > until:
                break
            if act.entered > self.play.now:
                self._run(self.play, act.entered, self.play.advance)
            self.play.schedule([self._event(act)])
            self._known += 1
        self._run(self.play, until, self.play.advance)

    def _store(self) -> None:
        before = self._stored[-1].play if self._stored else None
        self._stored.append(_Stored(self.play.now, self.play.kept(before), self._known))
        kept = thinned([stored.time for stored in self._stored])
        self._stored = [self._stored[place] for place in kept]

    def _coming(self) -> tuple[FaultFrame, ...]:
        now = self.shown.now
        found: list[FaultFrame] = []
        for act in self.journal[: self._known]:
            fault = self._fault(act)
            if fault is None or act.time <= now:
                continue
            found.append(
                FaultFrame(fault.component, fault.mode, fault.sentence, act.time, False, act.hidden)
            )
        return tuple(found)


def thinned(times: Sequence[float]) -> list[int]:
    """Which of the states stored at some times [s], ascending, are kept: places of them."""
    last = len(times) - 1
    kept = [0]
    for place in range(1, last):
        if times[place] - times[kept[-1]] >= _spacing(times[last] - times[place]) - 1e-3:
            kept.append(place)
    return [*kept, last] if last > 0 else kept


def _spacing(back: float) -> float:
    """Between the states that are kept so far back [s]."""
    near = next((gap for reach, gap in SPACINGS if back <= reach), None)
    reach, gap = FARTHER
    return near or gap * 2.0 ** floor(log2(back / reach))
