"""Who may take the trainee's seat: the code, the token of whoever has it, and wrong guesses.

It knows no network. One trainee at a time; one whose connection was cut keeps the seat for a while.
"""

from __future__ import annotations

from collections.abc import Callable
from math import ceil

from pneumo.packing import PackingError
from pneumo.seats.code import Guesses, new_code, new_token, plain, same
from pneumo.seats.wire import RESUME_FOR


class BusyError(Exception):
    """Not now; its text is a sentence."""


class Door:
    """The seat and what opens it.

    Parameters
    ----------
    clock
        Time that only goes forward [s].
    say
        Called with a sentence for the trainer.
    """

    def __init__(self, clock: Callable[[], float], say: Callable[[str], None]) -> None:
        self.code = new_code()
        """Lets one trainee in; then it is used up."""
        self.token = ""
        """Of the trainee who has the seat; "": nobody has."""
        self._lost_at: float | None = None
        """When the trainee's connection was cut [s]."""
        self._clock = clock
        self._say = say
        self._guesses = Guesses(clock)

    def join(self, code: str, address: str) -> str:
        """Gives the seat to whoever shows the code; returns what the trainer is told.

        Raises
        ------
        BusyError
            After too many wrong codes.
        PackingError
            When the code is wrong, or another trainee has the seat.
        """
        if self._guesses.must_wait(address):
            raise BusyError("Too many wrong codes; wait a minute.")
        if not same(plain(code), plain(self.code)):
            self._wrong(address)
            raise PackingError("The code is wrong, or somebody has used it already.")
        if self.token:
            raise PackingError(self._taken())
        self.token, self.code = new_token(), new_code()
        self._lost_at = None
        return f"A trainee at {address} has joined."

    def resume(self, token: str, address: str) -> str:
        """Lets the trainee back whose connection was cut; returns and raises like `join`."""
        # nobody guesses a token, so the limit of guesses does not keep the trainee from its seat
        if not (same(token, self.token) and self.token):
            if self._guesses.must_wait(address):
                raise BusyError("Too many wrong codes; wait a minute.")
            self._wrong(address)
            raise PackingError("The seat is no longer kept; ask the trainer for a new code.")
        self._lost_at = None
        return f"The trainee at {address} is back."

    def cut(self) -> None:
        """The trainee's connection is gone; the seat is kept for a while."""
        if self.token:
            self._lost_at = self._clock()
            minutes = RESUME_FOR / 60.0
            self._say(
                f"The trainee's connection is cut; it may come back within {minutes:g} minutes."
            )

    @property
    def overdue(self) -> bool:
        """The trainee has not come back in time."""
        return self._lost_at is not None and self._clock() - self._lost_at > RESUME_FOR

    def free(self, why: str) -> None:
        """The seat is for another trainee."""
        self.token, self._lost_at = "", None
        self._say(f"{why}; the code for another one is {self.code}.")

    def _wrong(self, address: str) -> None:
        self._guesses.wrong(address)
        self._say(f"Somebody at {address} tried to join with a wrong code, or a used one.")

    def _taken(self) -> str:
        """Why a code that is right does not count yet."""
        if self._lost_at is None:
            return "Another trainee has the seat; the code counts when that one has left."
        left = max(self._lost_at + RESUME_FOR - self._clock(), 0.0)
        return (
            "The seat is kept for a trainee whose connection was cut; the code counts when that "
            f"one has left, at the latest in {ceil(left / 60.0)} min."
        )
