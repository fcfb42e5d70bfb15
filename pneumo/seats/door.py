"""Who may take a trainee's seat: the code, the token of whoever has it, and wrong guesses.

It knows no network. One trainee at a time; one whose connection was cut keeps the seat for a while.
"""

from __future__ import annotations

from collections.abc import Callable
from math import ceil
from typing import Protocol

from pneumo.live.link import Link
from pneumo.packing import PackingError
from pneumo.seats.code import Guesses, new_code, new_token, plain, same
from pneumo.seats.wire import RESUME_FOR, bare_document

_WRONG = "The code is wrong, or somebody has used it already."


class BusyError(Exception):
    """Not now; its text is a sentence."""


class Place:
    """A trainee's seat that is offered, and whether somebody has it."""

    def __init__(self, link: Link | None = None, name: str = "") -> None:
        self.link = link
        """None: its ride is not opened yet."""
        self.name = name
        """Of the trainee in a class; "" = there is one seat alone."""
        self.trainer: Link | None = None
        """In a class, the trainer's seat at the same ride; None: it is not opened yet."""
        self.record = ""
        """In a class, the file in which the run is kept; "" = it is not."""
        self.present = False
        """The trainee is connected."""
        self.token = ""
        """Of the trainee who has the seat; "": nobody has."""
        self.was_taken = False
        """Somebody has had it."""

    def take(self) -> None:
        """A trainee takes it; whoever had it before cannot come back."""
        self.token, self.present, self.was_taken = new_token(), True, True

    @property
    def trainee(self) -> str:
        """ "joined", "cut off" (and may come back), "left" or "not joined"."""
        if self.present:
            return "joined"
        if self.token:
            return "cut off"
        return "left" if self.was_taken else "not joined"

    @property
    def has_begun(self) -> bool:
        """Somebody works, or has worked, on the drill there."""
        work = None if self.link is None else self.link.work
        return work is not None and work.state != "briefing"

    @property
    def is_over(self) -> bool:
        """The drill there has come to its end."""
        work = None if self.link is None else self.link.work
        return work is not None and work.debrief is not None


class Entrance(Protocol):
    """Lets trainees in to the seats that are offered at one address."""

    say: Callable[[str], None]
    """Called with a sentence for the trainer."""
    document: str
    """Of the ride, as a trainee gets it."""

    def join(self, code: str, name: str, address: str) -> tuple[Place, str]:
        """The seat for whoever shows the code, and what the trainer is told.

        Raises
        ------
        BusyError
            After too many wrong codes.
        PackingError
            When the code is wrong, or there is no seat.
        """

    def resume(self, token: str, address: str) -> tuple[Place, str]:
        """The seat of a trainee whose connection was cut; returns and raises like `join`."""

    def prepare(self, place: Place) -> None:
        """Opens the ride of a seat that was taken, in a thread of its own. Raises InputError."""

    def cut(self, place: Place) -> None:
        """The connection of whoever has a seat is gone."""

    def leave(self, place: Place) -> None:
        """Whoever has a seat gives it back."""

    def look(self) -> None:
        """Sees to what is due, about once a second."""


class Lock:
    """Looks at codes and tokens, and counts the wrong ones.

    Parameters
    ----------
    clock
        Time that only goes forward [s].
    say
        Called with a sentence for the trainer.
    """

    def __init__(self, clock: Callable[[], float], say: Callable[[str], None]) -> None:
        self._guesses = Guesses(clock)
        self._say = say

    def check(self, code: str, wanted: str, address: str, wrong: str) -> None:
        """Raises BusyError after too many wrong codes, PackingError with the sentence `wrong` when
        the code is."""
        if self._guesses.must_wait(address):
            raise BusyError("Too many wrong codes; wait a minute.")
        if not same(plain(code), plain(wanted)):
            self._wrong(address)
            raise PackingError(wrong)

    def of_token(self, token: str, places: tuple[Place, ...], address: str) -> Place:
        """The seat that a token belongs to; raises like `check`."""
        found = [place for place in places if same(token, place.token) and place.token]
        # nobody guesses a token, so the limit of guesses does not keep a trainee from the seat
        if not found:
            if self._guesses.must_wait(address):
                raise BusyError("Too many wrong codes; wait a minute.")
            self._wrong(address)
            raise PackingError("The seat is no longer kept; ask the trainer for a new code.")
        return found[0]

    def _wrong(self, address: str) -> None:
        self._guesses.wrong(address)
        self._say(f"Somebody at {address} tried to join with a wrong code, or a used one.")


class Door:
    """The entrance to the one seat of a ride.

    Parameters
    ----------
    link
        A trainee's seat of the ride that runs here.
    document
        Text of the circuit document; what tells of the exercise is taken out.
    say
        Called with a sentence for the trainer.
    clock
        Time that only goes forward [s].
    """

    def __init__(
        self, link: Link, document: str, say: Callable[[str], None], clock: Callable[[], float]
    ) -> None:
        if link.seat != "trainee":
            raise ValueError("only a trainee's seat is offered to others")
        self.place = Place(link)
        self.document = bare_document(document, link.plant.circuit.ride.name)
        self.say = say
        self.code = new_code()
        """Lets one trainee in; then it is used up."""
        self._lock = Lock(clock, say)
        self._lost_at: float | None = None
        """When the trainee's connection was cut [s]."""
        self._clock = clock

    @property
    def trainee(self) -> str:
        """Where the trainee is: "joined", "cut off" (and may come back) or "not joined"."""
        found = self.place.trainee
        return "not joined" if found == "left" else found

    def join(self, code: str, name: str, address: str) -> tuple[Place, str]:
        """See `Entrance`."""
        self.look()
        self._lock.check(code, self.code, address, _WRONG)
        if self.place.token:
            raise PackingError(self._taken())
        self.place.take()
        self.code, self._lost_at = new_code(), None
        return self.place, f"A trainee at {address} has joined."

    def resume(self, token: str, address: str) -> tuple[Place, str]:
        """See `Entrance`."""
        self.look()
        place = self._lock.of_token(token, (self.place,), address)
        place.present, self._lost_at = True, None
        return place, f"The trainee at {address} is back."

    def prepare(self, place: Place) -> None:
        """Its ride runs already."""

    def cut(self, place: Place) -> None:
        """The seat is kept for a while."""
        place.present, self._lost_at = False, self._clock()
        minutes = RESUME_FOR / 60.0
        self.say(f"The trainee's connection is cut; it may come back within {minutes:g} minutes.")

    def leave(self, place: Place) -> None:
        """The seat is for another trainee."""
        self._free("The trainee has left")

    def look(self) -> None:
        """Frees the seat of a trainee who has not come back in time."""
        if self._lost_at is not None and self._clock() - self._lost_at > RESUME_FOR:
            self._free("The trainee has not come back")

    def _free(self, why: str) -> None:
        self.place.token, self.place.present, self._lost_at = "", False, None
        self.say(f"{why}; the code for another one is {self.code}.")

    def _taken(self) -> str:
        """Why a code that is right does not count yet."""
        if self._lost_at is None:
            return "Another trainee has the seat; the code counts when that one has left."
        left = max(self._lost_at + RESUME_FOR - self._clock(), 0.0)
        return (
            "The seat is kept for a trainee whose connection was cut; the code counts when that "
            f"one has left, at the latest in {ceil(left / 60.0)} min."
        )
