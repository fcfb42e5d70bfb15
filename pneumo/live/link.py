"""What a screen knows of a running ride, whether it runs here or in another terminal."""

from __future__ import annotations

from math import inf
from typing import TYPE_CHECKING, NamedTuple, Protocol

# a screen that knows this is to stand before anything of the ride is loaded
if TYPE_CHECKING:
    from pneumo.live.frame import Frame
    from pneumo.live.plant import Plant
    from pneumo.live.request import Answer, Request, Seat
    from pneumo.live.work import Work
    from pneumo.network.network import Array
    from pneumo.scenario.event import RunEvent


class Past(NamedTuple):
    """What has been recorded. An `epoch` that differs from before: read everything anew."""

    epoch: int
    times: Array
    """(n,) [s], ascending."""
    values: Array
    """(n, channels) float32; NaN where this seat does not see."""
    events: list[RunEvent]
    """In order of time. Read only; within one epoch it only grows."""
    thinned: int = 0
    """How often rows of long ago have been thinned out; another number: read the rows anew."""
    whole_from: float = -inf
    """Rows before this time [s] are not the recorded ones: of each stretch the least and the
    greatest value of every channel are left, in two rows, in the order in which they came."""


class Link(Protocol):
    """A seat at a running ride. Called from the screen's thread; nothing here waits."""

    plant: Plant
    seat: Seat
    keeps_time: bool
    """True: this seat may run, pause and go back."""

    @property
    def drill(self) -> str:
        """Title of the drill that is practised; "" = none."""

    @property
    def frame(self) -> Frame:
        """The latest frame."""

    @property
    def past(self) -> Past:
        """What has been recorded so far."""

    @property
    def work(self) -> Work | None:
        """The drill that is worked on, as far as this seat knows it; a new one whenever something
        of it changes. None: there is none."""

    @property
    def thought(self) -> tuple[str, ...]:
        """What a diagnostician thinks who knows what the trainee knows: in short, then line by
        line. () of a trainee's seat, and while nothing is known."""

    @property
    def trouble(self) -> str:
        """Why the ride is gone, in one sentence; "" = it is not."""

    def send(self, request: Request) -> int:
        """Hands a request over; its answer carries the number returned."""

    def answers(self) -> list[Answer]:
        """Answers that have come since this was last asked."""

    def close(self) -> None:
        """Leaves the ride; ends it when this seat is its host."""
