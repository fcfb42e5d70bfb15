"""A class under way, as the trainer's board needs it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from pneumo.report.class_page import Member
    from pneumo.seats.door import Place


class Lesson(Protocol):
    """A class under way, as the board needs it."""

    title: str
    """Of the drill."""
    level: int
    par: float
    """[s]; 0 = not told."""
    size: int
    invitation: str
    """What to type in another terminal."""
    code: str
    only_here: bool
    """False: it is offered on the network."""
    notice: str
    """What is to be known before anybody has joined; "" = nothing."""
    kept: str
    """File from which the class goes on; "" = nothing is kept."""

    @property
    def places(self) -> tuple[Place, ...]:
        """In the order of the rows."""

    def told(self) -> list[str]:
        """What has happened since this was last asked, a sentence each."""

    def remove(self, place: Place) -> bool:
        """Ends a ride; False when its trainee is there."""

    def write(self, path: str, members: Sequence[Member]) -> str:
        """Writes the results; what is told of it. Raises InputError or UnfinishedError."""
