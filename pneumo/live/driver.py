"""The thread that keeps a ride running, and the seats at it.

Screens hand requests over and read the latest frame; neither ever waits for the other. Wall-clock
time decides how far the ride is advanced before the next frame, and nothing else.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path
from time import monotonic
from typing import Any

from pneumo.circuit.action import Action
from pneumo.circuit.verbs import row_of
from pneumo.drill.arc import WORKING
from pneumo.drill.entry import Entry, Stepped
from pneumo.drill.telling import entry_lines
from pneumo.errors import InputError
from pneumo.inspection.examine import examine
from pneumo.inspection.telling import told as evidence_told
from pneumo.live.cautions import act_cautions, test_cautions
from pneumo.live.check import stopped_words
from pneumo.live.drill import save_drill
from pneumo.live.frame import Frame
from pneumo.live.going import to_next_event, to_next_scan
from pneumo.live.journal import Act, read_act
from pneumo.live.keeping import Keeping
from pneumo.live.link import Past
from pneumo.live.local_seat import STOPPED, LocalSeat
from pneumo.live.request import (
    FASTEST,
    SLOWEST,
    Answer,
    Check,
    Do,
    GoTo,
    Hand,
    Hide,
    Line,
    Newest,
    NextEvent,
    OpenCase,
    Pause,
    Redo,
    Request,
    Run,
    Save,
    Scan,
    Seat,
    Shelve,
    Speed,
    Tell,
    Undo,
)
from pneumo.live.scenario_file import save_scenario
from pneumo.live.seal import OBSCURED, new_seal
from pneumo.live.seat import SEEN_EVENTS, seen
from pneumo.live.session import Session
from pneumo.live.work import Work, line_of, refusal
from pneumo.live.working import Working
from pneumo.report.unsound import unsound_words
from pneumo.scenario.plant import SimulationError
from pneumo.scenario.telling import told
from pneumo.verification.campaign import what_stopped
from pneumo.verification.verdict import UNSOUND
from pneumo.zone.event import Refused

FRAME = 1.0 / 15.0
"""From one frame to the next [s]."""

SLICE = 0.05
"""The ride is advanced for so long at most before requests are looked at [s of wall time]."""

WORKED = 5.0
"""While somebody is at work the ride is run on for so long at a time [s of the ride]."""

TIME = (Run, Pause, Speed, Scan, NextEvent, GoTo, Newest)
"""Requests of a seat that keeps the time."""

TRAINER = (Undo, Redo, Hide, Check, OpenCase, Save)
"""Requests of the trainer's seat only."""


class Driver:
    """Runs a session in a thread of its own."""

    def __init__(
        self,
        session: Session,
        record: Any = None,
        rescue: Path | None = None,
        *,
        kept_for: Seat = "trainer",
        working: Working | None = None,
    ) -> None:
        """`record`, `kept_for`: see `Keeping`. `rescue`: folder in which the situation is saved
        when the simulation fails. `working`: the drill that is worked on."""
        self.session = session
        self.trouble = ""
        self.running = False
        self.speed = 1.0
        self.past: Past = session.recorder.past
        self.hidden_acts: frozenset[tuple[float, Action]] = frozenset()
        self.frames: dict[Seat, Frame] = {}
        self._kept, self._rescue = Keeping(record, session.plant, kept_for, self.say), rescue
        self._seats: list[LocalSeat] = []
        self._requests: deque[tuple[int, LocalSeat, Request]] = deque()
        self._numbers = count(1)
        self._frame_number = 0
        self._wake = threading.Event()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._loop, name="ride", daemon=True)
        self._pace = 0.0
        self._note = ""
        self._heard = (session.recorder.past.epoch, len(session.recorder.past.events))
        """Epoch of the record, and how many of its events have been looked at."""
        self._outcomes: tuple[int, LocalSeat, Iterator[dict[str, object]]] | None = None
        self._found: dict[str, object] = {}
        """What is known of the losses of a check so far."""
        self._working = working
        self._reviewed = None if working is None else working.review
        """That is in the record."""
        self.work: Work | None = None
        self._publish()

    def start(self) -> None:
        """Starts the thread."""
        self._thread.start()

    def stop(self) -> None:
        """Ends the thread and waits for it."""
        self._ending.set()
        self._wake.set()
        if self._working is not None:
            self._working.close()
        if self._thread.is_alive() and self._thread is not threading.current_thread():
            self._thread.join()

    @property
    def thought(self) -> tuple[str, ...]:
        """See `link.Link`."""
        adviser = None if self._working is None else self._working.practice.adviser
        return () if adviser is None else adviser.thought

    def seat(self, seat: Seat, *, keeps_time: bool | None = None) -> LocalSeat:
        """A seat at the ride. `keeps_time`: whether it may run, pause and go back; left out: the
        trainer may."""
        own = LocalSeat(self, seat, seat == "trainer" if keeps_time is None else keeps_time)
        self._seats.append(own)
        return own

    def hand_over(self, seat: LocalSeat, request: Request) -> int:
        """Called from any thread; returns the number that the answer will carry."""
        number = next(self._numbers)
        self._requests.append((number, seat, request))
        self._wake.set()
        return number

    def say(self, text: str, done: bool = True) -> None:
        """A sentence for the trainer that nobody asked for; from any thread."""
        for seat in self._seats:
            if seat.seat == "trainer":
                seat.tell(Answer(0, done, text))

    # the thread

    def _loop(self) -> None:
        last = monotonic()
        while not self._ending.is_set():
            began = monotonic()
            passed, last = began - last, began
            try:
                self._turn(passed)
            except Exception as error:
                self._give_up(error)
                break
            rest = FRAME - (monotonic() - began)
            if self.running or self._busy:
                # requests wait for the next frame at most
                if rest > 0.0:
                    self._ending.wait(rest)
            elif self._outcomes is None:
                self._wake.wait(1.0)
                self._wake.clear()
                last = monotonic()
        self._kept.close()

    def _turn(self, passed: float) -> None:
        """What is done between two frames, and the frame; `passed` on the wall [s]."""
        changed = self._obey() or (self._working is not None and self._working.is_news)
        answers: list[tuple[LocalSeat, Answer]] = []
        if self._busy:
            answers = self._do_work()
            changed = True
        elif self.running and not self._looks_first:
            self._advance(min(passed, 2 * FRAME))
            changed = True
        self._judge_losses()
        if changed:
            self._publish()
        for seat, answer in answers:  # whoever hears it sees it in the frame, too
            seat.tell(answer)

    @property
    def _looks_first(self) -> bool:
        """What the circuit does wrong without any fault is known before a check is played."""
        session = self.session
        return session.check is not None and session.unsound is None and self._outcomes is not None

    def _advance(self, passed: float) -> None:
        """Runs on for the time that has passed on the wall, as far as a slice allows."""
        session = self.session
        start, began = session.now, monotonic()
        target = start + passed * self.speed
        try:
            while session.now < target and monotonic() - began < SLICE:
                session.advance(min(target, session.now + 0.5))
        except Exception as error:
            self._fail(error)
            return
        reached = (session.now - start) / passed if passed > 0.0 else self.speed
        self._pace += 0.2 * (reached - self._pace)
        if session.check is not None and session.check.decided:
            self.running = False
            self._tell_check()

    def _obey(self) -> bool:
        changed = False
        while self._requests:
            number, seat, request = self._requests.popleft()
            changed = True
            try:
                answer = self._answer(number, seat, request)
            except Exception as error:
                if isinstance(error, InputError) and not isinstance(error, SimulationError):
                    answer = Answer(number, False, str(error))
                else:
                    self._fail(error)
                    answer = Answer(number, False, "" if seat.seat == "trainer" else STOPPED)
            if answer is not None:
                seat.tell(answer)
        return changed

    # a drill that is worked on

    @property
    def _busy(self) -> bool:
        """Somebody is at work at the ride: it runs on to where that ends, as fast as it can; not
        while a trainer has stopped the clock."""
        working = self._working
        return working is not None and working.busy and not self._is_stopped(working)

    def _is_stopped(self, working: Working) -> bool:
        return not self.running and working.practice.arc.state in WORKING

    def _do_work(self) -> list[tuple[LocalSeat, Answer]]:
        """Goes on with what is being done, as far as a slice allows; what is to be answered."""
        working = self._working
        assert working is not None
        answers: list[tuple[LocalSeat, Answer]] = []
        began = monotonic()
        while self._busy and monotonic() - began < SLICE:
            try:
                done = working.turn(WORKED)
            except Exception as error:
                self._fail(error)
                for number, seat in working.drop():
                    words = "" if seat.seat == "trainer" else STOPPED
                    answers.append((seat, Answer(number, False, words)))
                break
            if done is not None:
                (number, seat), came = done
                answers.append((seat, self._came_of_work(number, came)))
        return answers

    def _came_of_work(self, number: int, came: Entry | InputError) -> Answer:
        """What came of a line, kept and told; the clock runs once the drill has begun."""
        assert self._working is not None
        if isinstance(came, InputError):
            return Answer(number, False, str(came))
        if isinstance(came.result, Stepped) and came.state == "at work":
            self._start()
        if self._working.practice.arc.over:
            self.running = False
        self._keep_acts()
        self._kept.work(came)
        hurt = any(danger.injures for danger in came.dangers)
        return Answer(number, not hurt, " ".join(entry_lines(came)))

    def _answer(self, number: int, seat: LocalSeat, request: Request) -> Answer | None:
        if self._working is not None and self._takes_line(number, seat, request):
            return None
        if isinstance(request, Tell) and self._working is not None and seat.seat == "trainer":
            self._working.note(request.text)
            return Answer(number, True, "The note is sent.")
        if isinstance(request, Line | Tell):
            raise InputError("No drill is worked on here.")
        if isinstance(request, TIME) and not seat.keeps_time:
            raise InputError("Only the trainer can change the time of this ride.")
        if isinstance(request, TRAINER) and seat.seat != "trainer":
            raise InputError("Only the trainer can do that.")
        if isinstance(request, Check):
            self.session.begin_check(request.zone, request.loss)
            self._start()
            self._outcomes = (number, seat, self.session.outcomes(request.zone))
            return None
        return Answer(number, True, *_CARRIED_OUT[type(request)](self, seat.seat, request))

    def _takes_line(self, number: int, seat: LocalSeat, request: Request) -> bool:
        """Whether a request is a line of the drill, which is answered when it is done.

        Raises
        ------
        InputError
            When the drill refuses it.
        """
        working, line = self._working, line_of(request)
        assert working is not None
        if why := refusal(working.practice.arc.state, seat.seat, request):
            raise InputError(why)
        works = seat.seat == "trainee" or line == "hint"
        if line is None or working.practice.arc.over or not works:
            return False
        if seat.seat == "trainee" and self._is_stopped(working):
            if not seat.keeps_time:
                raise InputError("The trainer has stopped the clock.")
            self._start()  # a run that was continued stands still until then
        working.say((number, seat), line, seat.seat)
        return True

    def _start(self) -> None:
        self.running = True
        self._pace = self.speed

    # checks

    def _judge_losses(self) -> None:
        """One piece of a check between two frames."""
        if self._outcomes is None:
            return
        number, seat, rest = self._outcomes
        try:
            data = next(rest, None)
        except Exception as error:
            self._outcomes = None
            said = f"The check could not be finished. {what_stopped(error)}"
            seat.tell(Answer(number, False, said))
            return
        if data is not None:
            self._found = data
            return
        self._outcomes = None
        seat.tell(Answer(number, True, "", data=self._found))

    def _tell_check(self) -> None:
        session = self.session
        assert session.check is not None
        wrong = "".join(
            f"{UNSOUND} {unsound_words(each)}. " for each in (session.unsound or ())[:1]
        )
        self.say(f"{wrong}{session.check.frame.note}")

    # frames, record, failure

    def _publish(self) -> None:
        session = self.session
        self._frame_number += 1
        frame = session.frame(
            self._frame_number,
            running=self.running,
            speed=self.speed,
            pace=self._pace if self.running else 0.0,
            note=self._note,
        )
        if self._working is not None:
            self.work = self._working.shown()
            if (review := self.work.review) is not self._reviewed and review is not None:
                self._reviewed = review
                self._kept.review(review)
        self.hidden_acts = session.acts.hidden_actions()
        self.past = session.recorder.past
        self.frames = {"trainer": frame, "trainee": seen(frame, session.plant)}
        for sentence in session.left_out.fresh():
            self.say(f"A planned action could not be carried out at {sentence}", done=False)
        self._tell_refusals()
        if session.check is None:
            self._kept.rows(self.past, self.hidden_acts, session.newest)

    def _tell_refusals(self) -> None:
        """A command is obeyed or refused at the controller's next scan, not when it is given."""
        epoch, looked = self._heard
        events = self.past.events
        if epoch == self.past.epoch:
            for event in events[looked:]:
                if isinstance(event.what, Refused):
                    about = f"{event.subject}: " if event.subject else ""
                    words, command = about + told(event.what), event.what.command
                    for seat in self._seats:
                        seat.tell(Answer(0, True, words, refused=command))
        self._heard = (self.past.epoch, len(events))

    def _keep_acts(self) -> None:
        self._kept.acts(self.session.acts.journal)

    def _fail(self, error: Exception) -> None:
        """The simulation cannot go on: what was done is saved, the ride stands still a little
        earlier, and the screen stays. A check that cannot go on costs itself alone: it is a copy
        that is played there."""
        self.running = False
        check = self.session.check
        if check is not None:
            self.session.leave_check()
            stands = f"The ride is as it was, at {self.session.now:.1f} s."
            self.say(f"{stopped_words(check, error)} {stands}", done=False)
            return
        saved = _rescued(self.session, self._rescue)
        stopped = self.session.newest
        back = self.session.fall_back()
        self._outcomes = None
        self._keep_acts()
        if self._working is not None and (told := self._working.set_back(stopped - back)):
            self._kept.work(told)
        self.say(
            f"The simulation of the ride could not go on. {what_stopped(error)} {saved} "
            f"The ride was set back to {back:.1f} s and paused.",
            done=False,
        )

    def _give_up(self, error: Exception) -> None:
        """Not even a frame can be made: the ride is gone, the screens stay and say so."""
        self.running = False
        saved = _rescued(self.session, self._rescue)
        self.trouble = f"The ride cannot be shown any more. {what_stopped(error)} {saved}"


def _rescued(session: Session, folder: Path | None) -> str:
    """Saves the situation in which the simulation failed; what came of it, in a sentence."""
    if folder is None:
        return "Nothing was saved."
    ride = (session.document, session.circuit, session.acts.journal, session.newest)
    path = folder / f"stopped_{session.newest:.3f}_s.yaml"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if session.drill:  # a scenario would name what is to be found
            return save_drill(*ride, path, f"{session.drill[:60]} stopped", session.seal)
        return save_scenario(*ride, path, "before it stopped")
    except (InputError, OSError) as error:
        return f"The situation could not be saved: {error}"


# what each request does; what is said of it, and cautions

Said = tuple[str] | tuple[str, tuple[str, ...]]


def _run(driver: Driver, seat: Seat, request: Run) -> Said:
    driver.session.check_branch(seat)
    driver._start()
    return ("",)


def _pause(driver: Driver, seat: Seat, request: Pause) -> Said:
    driver.running = False
    return ("",)


def _speed(driver: Driver, seat: Seat, request: Speed) -> Said:
    if not SLOWEST <= request.factor <= FASTEST:
        raise InputError(f"The speed must be from {SLOWEST:g} to {FASTEST:g} times real time.")
    driver.speed = request.factor
    return ("",)


def _scan(driver: Driver, seat: Seat, request: Scan) -> Said:
    driver.session.check_branch(seat)
    driver.running = False
    to_next_scan(driver.session)
    return ("",)


def _next_event(driver: Driver, seat: Seat, request: NextEvent) -> Said:
    driver.session.check_branch(seat)
    driver.running = False
    found = to_next_event(driver.session, SEEN_EVENTS if seat == "trainee" else ())
    return ("" if found else "No event within 60 s.",)


def _go_to(driver: Driver, seat: Seat, request: GoTo) -> Said:
    driver.running = False
    session = driver.session
    session.go_to(request.time, seat)
    if request.time >= session.earliest(seat):
        return ("",)
    if session.drill:
        return ("The drill begins here: you cannot go back further.",)
    return ("This seat cannot go back further.",)


def _newest(driver: Driver, seat: Seat, request: Newest) -> Said:
    left = driver.session.check is not None
    driver.session.go_to_newest()
    return ("Back at the ride; the check has not changed it." if left else "",)


def _do(driver: Driver, seat: Seat, request: Do) -> Said:
    # by what it does: how it is written tells nothing
    _, action = read_act(driver.session.circuit, request.sentence, driver.session.play.now)
    if not row_of(action).is_for(seat):
        raise InputError("Only the trainer can do that.")
    act = driver.session.do(seat, request.sentence, request.hidden and seat == "trainer")
    driver._keep_acts()
    return _done(act), act_cautions(act.sentence)


def _undo(driver: Driver, seat: Seat, request: Undo) -> Said:
    text = f"Undone: {driver.session.undo().sentence}"
    driver._keep_acts()
    return (text,)


def _redo(driver: Driver, seat: Seat, request: Redo) -> Said:
    text = f"Done again: {driver.session.redo().sentence}"
    driver._keep_acts()
    return (text,)


def _hide(driver: Driver, seat: Seat, request: Hide) -> Said:
    driver.session.acts.hide(request.component, request.mode, request.hidden)
    driver._keep_acts()
    return ("",)


def _shelve(driver: Driver, seat: Seat, request: Shelve) -> Said:
    driver.session.alarms.shelve(driver.session.shown, request.zone, request.alarm, request.seconds)
    return ("",)


def _hand(driver: Driver, seat: Seat, request: Hand) -> Said:
    session = driver.session
    found = examine(session.shown, request.test, request.target)
    return evidence_told(found), test_cautions(request.test)


def _open_case(driver: Driver, seat: Seat, request: OpenCase) -> Said:
    driver.running = False
    acts = [Act(time, "trainer", text, False, 0.0) for time, text in request.events]
    driver.session.restart(acts, request.at, request.name)
    driver._keep_acts()
    return (f"Paused just before {request.name}.",)


def _save(driver: Driver, seat: Seat, request: Save) -> Said:
    session = driver.session
    ride = (session.document, session.circuit, session.acts.journal, session.now)
    path, name = Path(request.path), request.name
    if request.what == "scenario":
        told = save_scenario(*ride, path, name)
        hidden = any(act.hidden for act in session.acts.journal)
        return (
            f"{told} What is hidden from the trainee stands in it in clear." if hidden else told,
        )
    seal = new_seal(request.passphrase) if request.passphrase else OBSCURED
    return (save_drill(*ride, path, name, seal),)


_CARRIED_OUT: dict[type[Any], Callable[[Driver, Seat, Any], Said]] = {
    Run: _run, Pause: _pause, Speed: _speed, Scan: _scan, NextEvent: _next_event, GoTo: _go_to,
    Newest: _newest, Do: _do, Undo: _undo, Redo: _redo, Hide: _hide, Shelve: _shelve, Hand: _hand,
    OpenCase: _open_case, Save: _save,
}  # fmt: skip


def _done(act: Act) -> str:
    return act.sentence if act.time <= act.entered else f"at {act.time:.1f} s: {act.sentence}"
