"""A seat in the process of its ride."""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

from pneumo.live.frame import Frame
from pneumo.live.link import Past
from pneumo.live.plant import Plant
from pneumo.live.request import Answer, Request, Seat
from pneumo.live.seat import SeenPast
from pneumo.live.work import Work

if TYPE_CHECKING:
    from pneumo.live.driver import Driver

STOPPED = "The simulation stopped; the trainer is informed."
"""What the trainee hears of a failure, which may be due to what is hidden."""


class LocalSeat:
    """A seat in this process: `link.Link`."""

    def __init__(self, driver: Driver, seat: Seat, keeps_time: bool) -> None:
        self.plant: Plant = driver.session.plant
        self.seat: Seat = seat
        self.keeps_time = keeps_time
        self._driver = driver
        self._answers: deque[Answer] = deque()
        self._past = SeenPast(self.plant) if seat == "trainee" else None

    @property
    def frame(self) -> Frame:
        """The latest frame of this seat."""
        return self._driver.frames[self.seat]

    @property
    def past(self) -> Past:
        """What has been recorded, as this seat may see it."""
        past = self._driver.past
        return past if self._past is None else self._past(past, self._driver.hidden_acts)

    @property
    def drill(self) -> str:
        """Title of the drill that is practised; "" = none."""
        return self._driver.session.drill

    @property
    def work(self) -> Work | None:
        """The drill that is worked on."""
        return self._driver.work

    @property
    def thought(self) -> tuple[str, ...]:
        """What a diagnostician thinks; not for a trainee."""
        return self._driver.thought if self.seat == "trainer" else ()

    @property
    def trouble(self) -> str:
        """Why the ride is gone; "" = it is not."""
        trouble = self._driver.trouble
        return trouble if self.seat == "trainer" or not trouble else STOPPED

    def send(self, request: Request) -> int:
        """Hands a request over."""
        return self._driver.hand_over(self, request)

    def answers(self) -> list[Answer]:
        """Answers that have come since this was last asked."""
        found: list[Answer] = []
        while self._answers:
            found.append(self._answers.popleft())
        return found

    def tell(self, answer: Answer) -> None:
        """Called by the driver's thread."""
        self._answers.append(answer)

    def close(self) -> None:
        """The host leaves: the ride ends."""
        if self.keeps_time:
            self._driver.stop()
