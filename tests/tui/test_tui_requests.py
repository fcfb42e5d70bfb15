"""What a key asks for, what is asked before it and said of the answer, without a screen."""

from __future__ import annotations

import pytest
from tui_toys import FakeLink

from pneumo.live.request import Answer, Check, Do, GoTo, Newest, OpenCase, Pause, Run, Speed
from tui.requests import KEYS, Pending, moved, needs_no_word, question_before, refusal, said_of


def test_keys_of_time_ask_for_the_next_step(trainer: FakeLink) -> None:
    trainer.give(time=4.0, newest=9.0, speed=1.0, running=True)
    frame = trainer.frame
    assert KEYS["run"].make(frame) == Pause()
    assert KEYS["slower"].make(frame) == Speed(0.5) and KEYS["faster"].make(frame) == Speed(2.0)
    assert KEYS["slower"].make(frame._replace(speed=0.1)) == Speed(0.1)
    assert KEYS["faster"].make(frame._replace(speed=50.0)) == Speed(50.0)
    assert moved(frame, -10.0) == GoTo(0.0) and moved(frame, 1.0) == GoTo(5.0)
    assert moved(frame, 5.0) == Newest()


@pytest.mark.parametrize("name", KEYS)
def test_a_key_says_who_may(name: str, trainer: FakeLink, trainee: FakeLink) -> None:
    key = KEYS[name]
    assert refusal(trainer, key.needs, key.what) == ""
    assert (refusal(trainee, key.needs, key.what) == "") == (key.needs == "")


def test_an_act_at_the_machine_and_the_end_of_a_future_are_asked_first(trainer: FakeLink) -> None:
    frame = trainer.frame
    assert question_before(Do("close trim"), frame) is None
    asked = question_before(Do("isolate trim_shut_off"), frame)
    assert asked is not None and asked.cautions
    earlier = frame._replace(mode="earlier", time=1.0, newest=9.0)
    for request in (Run(), Do("close trim"), OpenCase("a case", (), 1.0)):
        asked = question_before(request, earlier)
        assert asked is not None and "live is 0:09.000" in asked.lines[0]
    assert question_before(Newest(), earlier) is None


def test_a_check_is_answered_more_than_once(trainer: FakeLink) -> None:
    pending = Pending(trainer)
    pending.send(Check("trim", ""), sure=False)
    pending.send(Do("reset all"), sure=True, quiet=True)
    for _ in range(2):
        assert pending.take(Answer(1, True, "")) == (Check("trim", ""), False, False)
    assert pending.take(Answer(2, True, "")) == (Do("reset all"), True, True)
    assert pending.take(Answer(2, True, "")) == (None, False, False)


def test_of_a_fault_the_trainer_is_told_who_sees_it(trainer: FakeLink, trainee: FakeLink) -> None:
    done = Answer(1, True, "Faulty")
    shown, hidden = Do("in 5 s: fault trim_hose_1 leak 2 mm"), Do("fault trim_hose_1 burst", True)
    assert said_of(shown, done, trainer).endswith("shown to the trainee")
    assert "hidden from the trainee" in said_of(hidden, done, trainer)
    assert said_of(Do("close trim"), done, trainer) == said_of(shown, done, trainee) == "Faulty"


def test_a_reset_that_was_asked_for_needs_no_word_but_one_that_failed_does() -> None:
    done, failed = Answer(1, True, "asked"), Answer(1, False, "no")
    assert needs_no_word(Do("reset trim"), done, quiet=False, returning=False)
    assert not needs_no_word(Do("reset trim"), failed, quiet=True, returning=True)
    assert not needs_no_word(Do("close trim"), done, quiet=False, returning=False)
