"""A diagnostician beside a drill: hints from what the trainee's seat knows, nothing else."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from diagnosis_rides import DAY, library, work
from drill_rides import document

from pneumo.circuit.validate import load_text
from pneumo.diagnosis.choice import Reason
from pneumo.diagnosis.library import Library
from pneumo.diagnosis.marks import NEVER
from pneumo.diagnosis.opinion import Answer, Opinion
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.questions import Question
from pneumo.diagnosis.reasons import Case, Sign
from pneumo.diagnosis.recommendation import Recommendation
from pneumo.diagnosis.record import Record, stretches
from pneumo.diagnosis.store import LostError
from pneumo.diagnosis.suspects import Spot
from pneumo.diagnosis.telling import hint_lines
from pneumo.drill.brief import Brief
from pneumo.drill.entry import SAME_HINT, Answered
from pneumo.drill.practice import Practice
from pneumo.errors import InputError, UnfinishedError
from pneumo.live.cautions import CAUTIONS
from pneumo.live.dialogue import Dialogue
from pneumo.live.driver import Driver
from pneumo.live.known import Known
from pneumo.live.request import Line
from pneumo.live.session import Session
from pneumo.live.thinking import TRIES, Adviser, Thinking, Thought, goes_on, shared, standing_still
from pneumo.live.working import Working

PARTS = ("feed", "supply")

HINTS = Brief(complaint="It does not open.", hints=("Use your ears.",), test_hints=True)

VALVE = Spot("valve", "")

ALIKE = ("valve coil-open", "valve output-stuck-off")
"""No air and no switch tells these two apart."""


def fetch(*_: Any, **__: Any) -> Library:
    return library(*PARTS)


@contextmanager
def drill(
    *hidden: str, brief: Brief = HINTS, fetch: Any = fetch, day: tuple[str, ...] = DAY[:3]
) -> Iterator[Practice]:
    """A drill in which a fault came after the first command of a day; hints take 5 s."""
    text, of = work()
    text += "\ndowntime: {hint: 5 s, cycle: 5 s, listen: 5 s, read: 5 s, command: 8 s}\n"
    session = Session(load_text(text, "drill"), text)
    session.advance(2.0)
    session.do("trainee", day[0])
    session.advance(10.0)
    for fault in hidden:
        session.do("trainer", f"fault {fault}", hidden=True)
    for sentence in day[1:]:
        session.do("trainee", sentence)
        session.advance(session.now + 8.0)
    practice = Practice(session, brief)
    thinking = Thinking(session, fetch)
    adviser = practice.adviser = Adviser(session, practice, thinking)
    thinking.start()
    try:
        yield practice
    finally:
        adviser.close()
        assert of.circuit.components.keys() == session.circuit.components.keys()


def until(what: Callable[[], object], why: str) -> None:
    """Waits for something that a thread does."""
    end = time.monotonic() + 60.0
    while not what():
        assert time.monotonic() < end, why
        time.sleep(0.005)


def ready(practice: Practice) -> Practice:
    adviser = practice.adviser
    assert isinstance(adviser, Adviser)
    assert adviser.thinking.wait(1, 60.0) is not None, adviser.thinking.trouble
    return practice


def said(practice: Practice) -> tuple[str, ...]:
    result = practice.entries[-1].result
    assert isinstance(result, Answered) and result.by == "hint"
    return result.lines


def test_written_hints_come_first_then_the_next_test_with_its_reason_and_its_price() -> None:
    with drill(ALIKE[0]) as at:
        at.do("begin")
        ready(at)
        at.do("hint")
        assert said(at) == ("Use your ears.",)
        before = at.spent
        at.do("hint")
        assert at.spent - before == pytest.approx(5.0)
        test, reason, *more = said(at)
        assert test.startswith("Next: ") and "in question" in reason
        assert more and all(each.removeprefix("CAUTION: ") in CAUTIONS.values() for each in more)
        # it can be done as it is said
        for line in test.removeprefix("Next: ").rpartition(" (")[0].split(", then "):
            at.do(line)


def test_a_hint_never_says_what_may_be_wrong() -> None:
    """No mode of any part, and no share of any."""
    with drill(ALIKE[0]) as at:
        at.do("begin")
        ready(at)
        for _ in range(4):
            at.do("hint")
            words = " ".join(said(at)).replace("-", " ").split()
            modes = {mode.name for part in at.ride.circuit.components.values()
                     for mode in part.fault_modes()}  # fmt: skip
            assert not modes & set(words) and "%" not in words
            if said(at)[0].startswith("Next: "):
                for line in said(at)[0].removeprefix("Next: ").rpartition(" (")[0].split(", then "):
                    at.do(line)


def test_two_rides_that_look_the_same_so_far_give_the_same_hint() -> None:
    """Byte for byte, whatever is hidden: two faults of one coil, each with another one that
    nothing has shown yet, or that takes no part in it."""
    told = []
    for hidden in (
        (ALIKE[0], "main blocked"),
        (ALIKE[1], "main blocked"),
        (ALIKE[0], "main stuck"),
    ):
        with drill(*hidden, brief=Brief(test_hints=True)) as at:
            at.do("begin")
            ready(at)
            at.do("hint")
            told.append(repr(at.entries[-1]).encode())
    assert told[0] == told[1] == told[2]
    assert b"Next: " in told[0]


def _parts(record: Record) -> tuple[Any, ...]:
    kept = standing_still(record)
    shown = [kept.shown(stretch.ended) for stretch in stretches(kept)]
    told = [(each.contacts.tolist(), each.readings.tolist()) for each in shown]
    return kept.now, tuple(kept.done), kept.events, told, tuple(kept.made), tuple(kept.fitted)


def test_what_the_seat_does_not_see_is_not_in_the_record() -> None:
    with drill(ALIKE[0]) as at, drill(ALIKE[1]) as other:
        for each in (at, other):
            each.do("begin")
            each.do("listen valve")
        session, panel = at.ride, Panel(at.ride.compiled)  # type: ignore[attr-defined]
        whole = _parts(Known(session, panel).record(at.entries))  # type: ignore[arg-type]
        assert whole == _parts(Known(other.ride, panel).record(other.entries))  # type: ignore[arg-type]
        # other air, other jaws, other forces: the same record
        unseen = [k for k, c in enumerate(session.plant.channels) if not c.instrument]  # type: ignore[attr-defined]
        assert unseen
        past = session.recorder.past  # type: ignore[attr-defined]
        past.values[:, unseen] += np.float32(1e5)
        assert whole == _parts(Known(session, panel).record(at.entries))  # type: ignore[arg-type]
        # a seen one changes it
        seen = [k for k, c in enumerate(session.plant.channels) if c.name.endswith(" contact")]  # type: ignore[attr-defined]
        past.values[:, seen] = 1.0 - past.values[:, seen]
        assert whole != _parts(Known(session, panel).record(at.entries))  # type: ignore[arg-type]


def test_before_the_library_is_there_a_hint_is_refused_at_no_price() -> None:
    go = threading.Event()

    def slow(circuit: object, say: Any, helped_by: object, compiled: object) -> Library:
        say(12, 380)
        go.wait(60.0)
        return library(*PARTS)

    with drill(ALIKE[0], brief=Brief(test_hints=True), fetch=slow) as at:
        at.do("begin")
        adviser = at.adviser
        assert isinstance(adviser, Adviser)
        until(lambda: adviser.thinking.progress[1] > 0, "nothing is said")
        spent, entries = at.spent, len(at.entries)
        with pytest.raises(InputError, match=r"still being calculated \(12 of 380\)"):
            at.do("hint")
        assert (at.spent, len(at.entries)) == (spent, entries)
        go.set()
        ready(at).do("hint")
        assert said(at)[0].startswith("Next: ")


def test_who_cannot_get_the_library_says_why() -> None:
    def fails(*_: Any) -> Library:
        raise UnfinishedError("The disk is full.")

    with drill(ALIKE[0], brief=Brief(test_hints=True), fetch=fails) as at:
        at.do("begin")
        adviser = at.adviser
        assert isinstance(adviser, Adviser)
        adviser.thinking.wait(1, 60.0)
        with pytest.raises(InputError, match=r"The disk is full\."):
            at.do("hint")
        at.do("give up")
        assert Working(at.ride, at, "Late").shown().no_review == (  # type: ignore[arg-type]
            "There is no review by a diagnostician. The disk is full."
        )


def lost_times(number: int) -> Callable[..., Library]:
    """Gets the library after its process was killed so often."""
    left = [number]

    def fetch(circuit: object, say: Any, *_: object) -> Library:
        say(12, 380)
        if left[0]:
            left[0] -= 1
            raise LostError("killed by signal 9")
        return library(*PARTS)

    return fetch


def test_when_the_process_that_calculates_is_killed_it_is_begun_anew() -> None:
    with drill(ALIKE[0], fetch=lost_times(TRIES - 1)) as at:
        ready(at)
        at.do("begin")
        at.do("hint")
        at.do("hint")
        assert said(at)[0].startswith("Next: ")


def test_meanwhile_both_seats_are_told_that_it_was() -> None:
    go, told = threading.Event(), []
    lost = lost_times(1)

    def held(*which: Any) -> Library:
        if len(told):
            which[1](15, 380)
            go.wait(60.0)
        told.append(1)
        return lost(*which)

    with drill(ALIKE[0], brief=Brief(test_hints=True), fetch=held) as at:
        at.do("begin")
        adviser = at.adviser
        assert isinstance(adviser, Adviser)
        anew = r"(15 of 380; begun anew: its process ended (killed by signal 9))"
        until(lambda: anew in adviser.refusal, "it is not told")
        assert adviser.thought == (f"not yet: what each fault would show {anew}",)
        go.set()
        ready(at)
        assert len(adviser.thought) > 1


def test_that_it_was_killed_for_good_is_told_in_both_seats() -> None:
    with drill(ALIKE[0], brief=Brief(test_hints=True), fetch=lost_times(TRIES)) as at:
        at.do("begin")
        adviser = at.adviser
        assert isinstance(adviser, Adviser)
        adviser.thinking.wait(1, 60.0)
        with pytest.raises(InputError, match=r"killed by signal 9.*begun 3 times.*goes on there"):
            at.do("hint")
        (told,) = adviser.thought
        assert "killed by signal 9" in told


def test_a_drill_that_does_not_allow_it_has_no_further_hint() -> None:
    with drill(ALIKE[0], brief=Brief(hints=("Use your ears.",))) as at:
        at.do("begin")
        ready(at)
        at.do("hint")
        with pytest.raises(InputError, match="no further hint"):
            at.do("hint")


def test_of_a_ride_that_shows_nothing_odd_the_hint_is_to_operate_it() -> None:
    with drill(brief=Brief(test_hints=True)) as at:
        at.do("begin")
        ready(at).do("hint")
        (only,) = said(at)
        assert only.startswith("Nothing so far is other than on a ride without a fault.")


def test_the_zone_that_the_complaint_names_is_told_with_the_hint() -> None:
    brief = Brief(complaint="Block is slow.", test_hints=True)
    with drill(brief=brief) as at:
        at.do("begin")
        ready(at).do("hint")
        assert said(at)[-1].startswith("The complaint names block: operate that again")
    question = Question(("listen valve",), 60.0, (), ())
    advice = Recommendation(Reason.ASK, question, (), VALVE, 0.1, 0.0)
    nothing = Opinion((), 1.0, 0.0, ())
    told = list(hint_lines(nothing, advice, (), 0.0, ("block", "trim")))
    assert told[-1] == "The complaint names block and trim: what may be wrong there comes first."


def test_what_a_hint_reminds_of_is_what_tells_the_leader_from_its_rival() -> None:
    """Not what any trip of the zone would have shown."""
    case = Case(*(None,) * 7)  # type: ignore[arg-type]
    any_trip, own = (
        Sign(0.0, (), name, None, None, 0.0, "first ON", NEVER, NEVER, 0.3, 9.0, ())
        for name in ("closed_1", "open_2")
    )
    case = replace(case, shown=(any_trip,), for_it=(own,))
    opinion = Opinion((Answer(VALVE, 0.9, "replace", ()),), 0.01, 0.01, ())
    advice = Recommendation(Reason.SURE, None, (), VALVE, 0.9, 0.0)
    told = list(hint_lines(opinion, advice, (case,), 0.0))
    assert told[-1] == "Think of this: before anything was done: open_2 did not come ON."
    told = list(hint_lines(opinion, advice, (replace(case, for_it=()),), 0.0))
    assert "closed_1" in told[-1]


def test_when_the_ride_was_set_back_thinking_starts_anew() -> None:
    with drill(ALIKE[0]) as at:
        at.do("begin")
        known = Known(at.ride, Panel(at.ride.compiled))  # type: ignore[arg-type, attr-defined]
        first = standing_still(known.record(at.entries))
        at.do("listen valve")
        second = standing_still(known.record(at.entries))
        assert goes_on(first, second) and not goes_on(second, first)
        assert not goes_on(first, replace(second, done=second.done[1:]))


def test_a_hint_that_is_asked_for_again_is_the_same_and_costs_nothing() -> None:
    """Notes and suspects are nothing that was done; a test is, and so is an alarm."""
    with drill(ALIKE[0]) as at:
        at.do("begin")
        ready(at)
        at.do("hint")
        at.do("hint")
        first = said(at)
        assert first[0].startswith("Next: ")  # a written one is never the same
        spent = at.spent
        at.do("write it may be the coil")
        for _ in range(2):
            at.do("hint")
            assert said(at) == (SAME_HINT, *first)
        assert at.spent == spent
        at.do("listen valve")
        spent = at.spent
        at.do("hint")
        assert at.spent - spent == pytest.approx(5.0) and said(at)[0] != SAME_HINT
        at.ride.do("trainer", "close all")  # the panel tells of it
        at.ride.pass_time(at.play.now + 2.0)
        spent = at.spent
        at.do("hint")
        assert at.spent - spent == pytest.approx(5.0) and said(at)[0] != SAME_HINT


def test_what_the_trainer_hides_makes_no_hint_another_one() -> None:
    """Neither its words nor its price tell that a fault has struck."""
    with drill(ALIKE[0], brief=Brief(test_hints=True)) as at:
        at.do("begin")
        ready(at).do("hint")
        at.ride.do("trainer", "fault main blocked", hidden=True)  # type: ignore[call-arg]
        at.do("hint")
        assert said(at)[0] == SAME_HINT


def test_in_the_plain_dialogue_a_hint_is_answered_like_any_other_line() -> None:
    with drill(ALIKE[0], brief=Brief(test_hints=True)) as at:
        dialogue = Dialogue(at.ride, at, "Late")  # type: ignore[arg-type]
        list(dialogue.say("begin"))
        ready(at)
        lines = list(dialogue.say("hint"))
        assert lines[0].startswith("Next: ") and any(line.startswith("CAUTION") for line in lines)


def test_beside_a_running_ride_the_frames_go_on_while_a_hint_is_worked_out() -> None:
    """The library is handed over only when frames have come after the line was under way."""
    with drill(ALIKE[0], brief=Brief(test_hints=True)) as at:
        session = at.ride
        ready(at)
        held = threading.Event()
        adviser = at.adviser
        assert isinstance(adviser, Adviser)
        wait = adviser.thinking.wait
        waited: list[int] = []

        def slow(record: int, seconds: float) -> Thought | None:
            waited.append(record)
            return wait(record, seconds) if held.wait(seconds) else None

        adviser.thinking.wait = slow  # type: ignore[method-assign]
        driver = Driver(session, working=Working(session, at, "Late"))  # type: ignore[arg-type]
        seat = driver.seat("trainee", keeps_time=True)
        driver.start()

        def doing() -> str:
            assert not driver.trouble and seat.work is not None
            return seat.work.doing

        try:
            seat.send(Line("begin"))
            number = seat.send(Line("hint"))
            until(lambda: doing() == "hint", "it is not begun")
            until(lambda: waited, "it is not asked")
            shown = seat.frame.number
            until(lambda: seat.frame.number >= shown + 10, "no frames come")
            assert doing() == "hint"
            held.set()
            until(lambda: doing() != "hint", "no answer comes")
            answer = next(a for a in seat.answers() if a.to == number)
            assert answer.done and answer.text.startswith("Next: ")
            assert seat.work is not None and seat.work.has_hint and seat.work.hints == 0
        finally:
            driver.stop()


def test_the_trainers_seat_shows_what_is_thought_and_the_trainees_does_not() -> None:
    with drill(ALIKE[0], brief=Brief()) as at:
        ready(at)
        driver = Driver(at.ride, working=Working(at.ride, at, "Late"))  # type: ignore[arg-type]
        trainer, trainee = driver.seat("trainer"), driver.seat("trainee", keeps_time=True)
        driver.start()
        try:
            first = trainer.thought
            assert "feed" in first[0] and " %" in first[0] and len(first) > 1
            trainee.send(Line("begin"))
            trainee.send(Line("cycle valve.14"))
            # what the lamp and the coil told is another reason
            until(lambda: trainer.thought != first, "nothing new is thought")
            until(
                lambda: any("valve.14 on and off" in line for line in trainer.thought), "no reason"
            )
            assert trainee.thought == ()
        finally:
            driver.stop()
    with drill(ALIKE[0], brief=Brief()) as at:
        at.adviser = None
        driver = Driver(at.ride, working=Working(at.ride, at, "Late"))  # type: ignore[arg-type]
        assert driver.seat("trainer").thought == ()


def test_the_rides_of_a_class_get_their_library_once() -> None:
    _, of = work()
    other = load_text(document("01_spring_open_single"), "other")
    got: list[str] = []

    def slowly(circuit: Any, say: Any, *_: Any) -> Any:
        got.append(circuit.ride.name)
        until(lambda: say(2, 7) or len(told) == seats, "not everybody is told how far it is")
        return object()

    fetched, found = shared(slowly), []
    told: dict[int, tuple[int, int]] = {}
    seats = 4

    def ask(seat: int) -> None:
        found.append(fetched(of.circuit, lambda *far: told.update({seat: far}), print, None))  # type: ignore[arg-type]

    threads = [threading.Thread(target=ask, args=(seat,)) for seat in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(got) == 1 and len({id(each) for each in found}) == 1 and len(found) == 4
    # who waits for another is told how far it is
    assert told == dict.fromkeys(range(4), (2, 7))
    assert fetched(other, print, print, None) is not found[0]  # type: ignore[arg-type]
    assert len(got) == 2
