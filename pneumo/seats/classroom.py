"""The entrance to a class: several trainees, each by name at a ride of their own.

One code lets everybody in, as often as they come. A name belongs to one ride: whoever comes back
under it, from whatever terminal, finds that ride as it is. It knows no network, and no ride but by
its seats.
"""

from __future__ import annotations

from collections.abc import Callable
from threading import Lock as Mutex
from threading import Thread
from typing import NamedTuple
from unicodedata import category, normalize

from pneumo.errors import InputError
from pneumo.harmless import quoted
from pneumo.live.link import Link
from pneumo.packing import PackingError
from pneumo.seats.code import CLASS, new_code
from pneumo.seats.door import Lock, Place
from pneumo.seats.wire import PING, PING_WAIT, bare_document

LONGEST_NAME = 24
"""Letters of a name, so that a row of the board has room for it."""

_BETWEEN = " .-'’"
"""What may stand in a name besides letters and digits."""

_WRONG = "The code is wrong."
_NOT_OPENED = "Your ride could not be opened; the trainer is informed."


class Room(NamedTuple):
    """A ride that was opened for a trainee."""

    trainee: Link
    trainer: Link
    record: str
    """File in which the run is kept; "" = it is not."""


def check_name(name: str) -> str:
    """A name as it is shown and kept: it comes over the network, and stands on screens, in files,
    in pages and in tables.

    Raises
    ------
    PackingError
        When it cannot be one.
    """
    found = " ".join(normalize("NFC", name).split())
    sorts = [category(letter)[0] for letter in found]
    plain = all(c.isalnum() or c in _BETWEEN or s == "M" for c, s in zip(found, sorts, strict=True))
    # marks pile up on one letter otherwise, over the rows above
    if not plain or not found[:1].isalnum() or "MMM" in "".join(sorts) or len(found) > LONGEST_NAME:
        raise PackingError(
            f"{quoted(name)} cannot be a name here. Write up to {LONGEST_NAME} letters or digits, "
            "with spaces, dots, hyphens or apostrophes between them."
        )
    return found


class Classroom:
    """The entrance to a class: `door.Entrance`.

    Parameters
    ----------
    size
        Trainees at most.
    document, ride
        Text of the circuit document, of which what tells of the exercise is taken out, and the
        name of the ride.
    open_room
        Opens the ride of a trainee by name; may take seconds.
    reached
        Called for every seat at which the drill has begun or come to its end, also before its
        ride was opened here; in a thread of its own.
    say
        Called with a sentence for the trainer.
    clock
        Time that only goes forward [s].
    """

    def __init__(
        self,
        size: int,
        document: str,
        ride: str,
        *,
        open_room: Callable[[str], Room],
        reached: Callable[[Place], None],
        say: Callable[[str], None],
        clock: Callable[[], float],
    ) -> None:
        self.size = size
        self.document = bare_document(document, ride)
        self.say = say
        self.code = new_code(CLASS)
        """Lets everybody in."""
        self.places: tuple[Place, ...] = ()
        """In the order in which they were taken; another tuple when one comes or goes."""
        self._open_room, self._reached = open_room, reached
        self._lock = Lock(clock, say)
        self._changing = Mutex()
        self._told: dict[Place, bool] = {}
        """Whether it was over when it was told last of a drill that has begun."""
        self._telling = Thread()
        """Tells of one after the other."""

    # at the door

    def join(self, code: str, name: str, address: str) -> tuple[Place, str]:
        """See `Entrance`; PackingError also for a name that cannot be one, or is in use."""
        self._lock.check(code, self.code, address, _WRONG)
        name = check_name(name)
        with self._changing:
            same = (place for place in self.places if _key(place.name) == _key(name))
            place = next(same, None)
            if place is None:
                if len(self.places) >= self.size:
                    raise PackingError(
                        f"The class is full: it is for {self.size}. Whoever comes back writes the "
                        "same name as before."
                    )
                place = Place(name=name)
                self.places = (*self.places, place)
            elif place.present:
                raise PackingError(
                    f"{place.name} is in the class already, from another terminal. Choose another "
                    "name; if it is you, and your connection was cut, try again in "
                    f"{PING + PING_WAIT:.0f} s."
                )
            word = "is back" if place.was_taken else "has joined"
            place.take()
        return place, f"{place.name} {word}, from {address}."

    def resume(self, token: str, address: str) -> tuple[Place, str]:
        """See `Entrance`."""
        place = self._lock.of_token(token, self.places, address)
        place.present = True
        return place, f"{place.name} is back, from {address}."

    def prepare(self, place: Place) -> None:
        """Opens the ride of a place that has none yet. Raises InputError when that fails."""
        if place.link is not None:
            return
        if place not in self.places:
            raise InputError(_NOT_OPENED)
        try:
            room = self._open_room(place.name)
        except Exception as error:
            self._without(place)
            # what is wrong with it may be due to what is hidden
            self.say(f"The ride of {place.name} could not be opened: {error}")
            raise InputError(_NOT_OPENED) from error
        with self._changing:
            self._enter(place, room)
            if place in self.places:
                return
        room.trainer.close()  # it was ended meanwhile
        raise InputError(_NOT_OPENED)

    def reopened(self, name: str, room: Room) -> None:
        """A ride that goes on: its trainee finds it by name. Raises InputError when that is none,
        or is there already."""
        try:
            place = Place(name=check_name(name))
        except PackingError as error:
            raise InputError(str(error)) from None
        if any(_key(other.name) == _key(name) for other in self.places):
            raise InputError("there is another one of this name.")
        self._enter(place, room)
        self.places = (*self.places, place)

    def cut(self, place: Place) -> None:
        """The ride goes on; whoever has it may come back."""
        place.present = False
        self.say(f"{place.name}: the connection is cut; the ride goes on.")

    def leave(self, place: Place) -> None:
        """The ride goes on; its trainee may come back by name."""
        place.present, place.token = False, ""
        self.say(f"{place.name} has left; the ride goes on.")

    def look(self) -> None:
        """Tells of the drills that have begun since, or come to their end."""
        if self._telling.is_alive():
            return
        fresh = [p for p in self.places if p.has_begun and self._told.get(p) != p.is_over]
        if fresh:
            self._told |= {place: place.is_over for place in fresh}
            self._telling = Thread(target=self._tell, args=(fresh,), name="results", daemon=True)
            self._telling.start()

    def _tell(self, fresh: list[Place]) -> None:
        for place in fresh:
            self._reached(place)

    # for the trainer

    def remove(self, place: Place) -> bool:
        """Ends the ride of somebody who is not there, and makes room; False when they are."""
        with self._changing:
            if place.present:
                return False
            self.places = tuple(each for each in self.places if each is not place)
        if place.trainer is not None:
            place.trainer.close()
        return True

    def end(self) -> None:
        """Ends all rides, once it was told of every drill that is over."""
        for _ in range(2):  # while it is told of some, others come to their end
            if self._telling.is_alive():
                self._telling.join()
            self.look()
        if self._telling.is_alive():
            self._telling.join()
        for place in self.places:
            if place.trainer is not None:
                place.trainer.close()

    def _enter(self, place: Place, room: Room) -> None:
        place.trainer, place.record, place.link = room.trainer, room.record, room.trainee

    def _without(self, place: Place) -> None:
        with self._changing:
            self.places = tuple(each for each in self.places if each is not place)


def _key(name: str) -> str:
    """What two ways to write one name share."""
    return normalize("NFKC", name).casefold()
