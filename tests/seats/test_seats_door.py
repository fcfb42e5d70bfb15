"""Who may take the trainee's seat, without a network."""

from __future__ import annotations

import pytest
from seats_bench import DOCUMENT, FakeSeat

from pneumo.packing import PackingError
from pneumo.seats.code import MOST_OF_ONE
from pneumo.seats.door import BusyError, Door
from pneumo.seats.wire import RESUME_FOR


class Clock:
    """Time that a test sets [s]."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


def test_a_code_lets_one_in_and_the_next_one_waits_for_the_seat(clock: Clock) -> None:
    door = Door(FakeSeat(), DOCUMENT, lambda sentence: None, clock)
    code = door.code
    assert "has joined" in door.join(code.lower().replace("-", " "), "", "10.0.0.2")[1]
    with pytest.raises(PackingError, match="somebody has used it already"):
        door.join(code, "", "10.0.0.3")
    with pytest.raises(PackingError, match="Another trainee has the seat"):
        door.join(door.code, "", "10.0.0.3")


def test_a_seat_that_was_cut_is_kept_for_its_token_and_then_freed(clock: Clock) -> None:
    said: list[str] = []
    door = Door(FakeSeat(), DOCUMENT, said.append, clock)
    place, _ = door.join(door.code, "", "10.0.0.2")
    door.cut(place)
    clock.now = RESUME_FOR - 61.0
    with pytest.raises(PackingError, match="at the latest in 2 min"):
        door.join(door.code, "", "10.0.0.3")
    assert "is back" in door.resume(place.token, "10.0.0.2")[1]
    door.look()
    assert door.trainee == "joined"
    door.cut(place)
    door.look()
    assert door.trainee == "cut off"
    clock.now += RESUME_FOR + 1.0
    door.look()
    assert door.trainee == "not joined" and door.code in said[-1]
    assert "has joined" in door.join(door.code, "", "10.0.0.3")[1]


def test_wrong_codes_are_told_and_end_in_a_wait_that_spares_the_token(clock: Clock) -> None:
    said: list[str] = []
    door = Door(FakeSeat(), DOCUMENT, said.append, clock)
    place, _ = door.join(door.code, "", "10.0.0.2")
    for _ in range(MOST_OF_ONE):
        with pytest.raises(PackingError):
            door.join("000-000-000", "", "10.0.0.3")
    assert len(said) == MOST_OF_ONE
    with pytest.raises(BusyError):
        door.join(door.code, "", "10.0.0.3")
    with pytest.raises(BusyError):
        door.resume("not the token", "10.0.0.3")
    assert "is back" in door.resume(place.token, "10.0.0.3")[1]
