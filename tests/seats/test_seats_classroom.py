"""The entrance to a class on loopback: names, who comes back to which ride, rides that fail."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from time import monotonic

import pytest
from seats_bench import DOCUMENT, FakeSeat, Wire, knock, raw, until
from tui_drills import STAGES

from pneumo.errors import InputError
from pneumo.live.request import Do
from pneumo.packing import PackingError
from pneumo.seats import join as join_module
from pneumo.seats.classroom import LONGEST_NAME, Classroom, Room, check_name
from pneumo.seats.code import MOST_OF_ONE, is_of_class, new_code
from pneumo.seats.door import Place
from pneumo.seats.host import MOST_WAITING_OF_ONE, Host
from pneumo.seats.join import RemoteLink, join
from pneumo.seats.wire import VERSION, decode, encode


class Lesson:
    """A class with rides by hand."""

    def __init__(self, size: int = 3) -> None:
        self.said: list[str] = []
        self.reached: list[tuple[str, bool]] = []
        """Of whom it was told, and whether the drill was over then."""
        self.seats: dict[str, FakeSeat] = {}
        self.fail = ""
        """Why no ride can be opened."""
        self.hold = threading.Event()
        """Rides are opened while it is set."""
        self.hold.set()
        self.room = Classroom(
            size, DOCUMENT, "Sand Martin", open_room=self._open, reached=self._told,
            say=self.said.append, clock=monotonic,
        )  # fmt: skip
        self.host = Host(self.room)
        self.host.start()

    def _open(self, name: str) -> Room:
        assert self.hold.wait(10)
        if self.fail:
            raise ValueError(self.fail)
        self.seats[name] = FakeSeat()
        return Room(self.seats[name], FakeSeat("trainer"), f"{name}.run")

    def _told(self, place: Place) -> None:
        self.reached.append((place.name, place.is_over))

    def join(self, name: str) -> RemoteLink:
        return join("127.0.0.1", self.host.port, self.room.code, name)

    def place(self, name: str) -> Place:
        return next(place for place in self.room.places if place.name == name)


@pytest.fixture
def lesson() -> Iterator[Lesson]:
    lesson = Lesson()
    yield lesson
    lesson.host.stop()


# names


@pytest.mark.parametrize(
    ("name", "kept"),
    [("A. Miller", "A. Miller"), ("  Zoë \n O'Neill-Çelik ", "Zoë O'Neill-Çelik"), ("7", "7"),
     ("李小龙", "李小龙"), ("नमस्ते", "नमस्ते"), ("Ze\u0301", "Zé")],
)  # fmt: skip
def test_names(name: str, kept: str) -> None:
    assert check_name(name) == kept


@pytest.mark.parametrize(
    "name",
    ["", "  ", "=1+2", "@SUM(A1)", "-5", "+x", "[red]x[/red]", "<b>x</b>", "a/b", "..", "a\\b",
     "a\x1b[2J", "\u202eabc", "a\u200bb", "🙂", "a\u0301\u0302\u0303b\u0301\u0302\u0303",
     "x" * (LONGEST_NAME + 1)],
)  # fmt: skip
def test_what_cannot_be_a_name(name: str) -> None:
    with pytest.raises(PackingError, match="cannot be a name here") as refused:
        check_name(name)
    assert str(refused.value).isprintable()


def test_the_code_of_a_class_is_longer_and_tells_that_a_name_is_asked_for(lesson: Lesson) -> None:
    assert is_of_class(lesson.room.code.lower().replace("-", " "))
    assert not is_of_class(new_code())


# who is let in


def test_each_has_a_ride_and_the_code_is_good_for_all(lesson: Lesson) -> None:
    links = {name: lesson.join(name) for name in ("Ann", "Ben", "Cem")}
    assert [place.name for place in lesson.room.places] == ["Ann", "Ben", "Cem"]
    assert [place.trainee for place in lesson.room.places] == ["joined"] * 3
    links["Ben"].send(Do("close trim"))
    until(lambda: lesson.seats["Ben"].sent == [Do("close trim")])
    assert lesson.seats["Ann"].sent == lesson.seats["Cem"].sent == []
    lesson.seats["Cem"].give(time=77.0)
    until(lambda: links["Cem"].frame.time == 77.0)
    assert links["Ann"].frame.time != 77.0
    with pytest.raises(InputError, match="The class is full: it is for 3"):
        lesson.join("Dan")
    for link in links.values():
        link.close()


def test_a_name_that_is_there_is_refused_however_it_is_written(lesson: Lesson) -> None:
    link = lesson.join("Ann")
    for name in ("Ann", " ANN ", "Ａnn"):
        with pytest.raises(InputError, match="Ann is in the class already, from another terminal"):
            lesson.join(name)
    assert len(lesson.room.places) == 1
    link.close()


def test_a_name_that_cannot_be_one_is_refused_with_the_reason(lesson: Lesson) -> None:
    for name in ("", "=HYPERLINK()", "[bold]x"):
        with pytest.raises(InputError, match="cannot be a name here"):
            lesson.join(name)
    assert lesson.room.places == ()


def test_a_wrong_code_is_refused_and_guessing_has_to_wait(lesson: Lesson) -> None:
    for _ in range(MOST_OF_ONE):
        assert knock(lesson.host, "join", "000-000-000-000") == ("refused", "The code is wrong.")
    assert knock(lesson.host, "join", lesson.room.code)[0] == "busy"
    assert lesson.room.places == ()


def test_whoever_leaves_comes_back_by_name_to_the_same_ride(lesson: Lesson) -> None:
    lesson.join("Ann").close()
    until(lambda: lesson.place("Ann").trainee == "left")
    seat = lesson.seats["Ann"]
    again = lesson.join("ann")
    assert lesson.seats == {"Ann": seat} and lesson.place("Ann").trainee == "joined"
    assert "Ann is back, from 127.0.0.1." in lesson.said
    again.close()


def test_after_a_cut_a_terminal_comes_back_by_itself(
    lesson: Lesson, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(join_module, "DELAYS", (0.05,))
    wire = Wire(lesson.host.port)
    ann = join("127.0.0.1", wire.port, lesson.room.code, "Ann")
    ben = lesson.join("Ben")
    wire.cut()
    until(lambda: lesson.place("Ann").trainee == "cut off")
    assert lesson.place("Ben").trainee == "joined"
    wire.mend()
    until(lambda: not ann.trouble and lesson.place("Ann").trainee == "joined")
    ann.send(Do("close trim"))
    until(lambda: lesson.seats["Ann"].sent == [Do("close trim")])
    ann.close()
    ben.close()
    wire.close()


def test_whoever_was_cut_off_may_come_by_name_and_the_old_terminal_is_out(lesson: Lesson) -> None:
    with raw(lesson.host) as old:
        old.send(encode("join", [VERSION, lesson.room.code, "Ann"]))
        token = decode(old.recv(10))[1][0]
    until(lambda: lesson.place("Ann").trainee == "cut off")
    link = lesson.join("Ann")
    assert knock(lesson.host, "resume", token)[0] == "refused"
    assert lesson.place("Ann").trainee == "joined"
    link.close()


def test_a_whole_class_from_one_address_joins_at_one_time() -> None:
    """Those who wait for their ride are not at the door any more."""
    half = MOST_WAITING_OF_ONE // 2 + 1
    many = 2 * half
    lesson = Lesson(many)
    lesson.hold.clear()
    links: list[RemoteLink] = []
    threads = [
        threading.Thread(target=lambda k=k: links.append(lesson.join(f"T{k}"))) for k in range(many)
    ]
    for first in (0, half):
        for thread in threads[first : first + half]:
            thread.start()
        until(lambda first=first: len(lesson.room.places) == first + half)
    lesson.hold.set()
    for thread in threads:
        thread.join(30)
    assert len(links) == many
    assert {place.trainee for place in lesson.room.places} == {"joined"}
    for link in links:
        link.close()
    lesson.host.stop()


# rides that fail, and that end


def test_a_ride_that_cannot_be_opened_hurts_nobody_else(lesson: Lesson) -> None:
    ann = lesson.join("Ann")
    lesson.fail = "block_hose_1 leak: no step is short enough"
    with pytest.raises(InputError, match="Your ride could not be opened") as refused:
        lesson.join("Ben")
    assert "leak" not in str(refused.value)
    assert any("The ride of Ben could not be opened: block_hose_1" in said for said in lesson.said)
    assert [place.name for place in lesson.room.places] == ["Ann"]
    ann.send(Do("close trim"))
    until(lambda: lesson.seats["Ann"].sent)
    lesson.fail = ""
    ben = lesson.join("Ben")
    ann.close()
    ben.close()


def test_a_ride_that_is_lost_ends_for_one_alone(lesson: Lesson) -> None:
    ann, ben = lesson.join("Ann"), lesson.join("Ben")
    lesson.seats["Ann"].trouble = "block_hose_1 leak"
    until(lambda: ann.trouble)
    assert "leak" not in ann.trouble and ben.trouble == ""
    lesson.seats["Ben"].give(time=5.5)
    until(lambda: ben.frame.time == 5.5)
    ann.close()
    ben.close()


def test_the_trainer_makes_room_of_a_ride_that_was_left(lesson: Lesson) -> None:
    link = lesson.join("Amm")
    place = lesson.place("Amm")
    assert not lesson.room.remove(place), "its trainee is there"
    link.close()
    until(lambda: place.trainee == "left")
    assert lesson.room.remove(place) and lesson.room.places == ()
    assert isinstance(place.trainer, FakeSeat) and place.trainer.closed


def test_of_a_drill_it_is_told_once_that_it_began_and_once_that_it_is_over(lesson: Lesson) -> None:
    links = [lesson.join("Ann"), lesson.join("Ben")]
    ann, ben = lesson.seats["Ann"], lesson.seats["Ben"]
    ann.work = ben.work = STAGES["briefing"]
    lesson.room.look()
    ann.work = STAGES["work"]
    until(lambda: lesson.reached == [("Ann", False)])
    ann.work = STAGES["debrief"]
    until(lambda: lesson.reached == [("Ann", False), ("Ann", True)])
    going_on = FakeSeat()
    going_on.work = STAGES["work"]
    lesson.room.reopened("Eve", Room(going_on, FakeSeat("trainer"), "Eve.run"))
    ben.work = STAGES["debrief"]  # within one look
    for link in links:
        link.close()
    lesson.host.stop()
    going_on.work = STAGES["debrief"]
    lesson.room.end()
    assert lesson.reached[2:] == [("Ben", True), ("Eve", True)]


def test_the_end_of_the_class_is_told_to_all(lesson: Lesson) -> None:
    links = [lesson.join("Ann"), lesson.join("Ben")]
    lesson.host.stop()
    for link in links:
        until(lambda link=link: link.trouble == "The trainer has ended the ride.")
    lesson.room.end()
    for place in lesson.room.places:
        assert isinstance(place.trainer, FakeSeat) and place.trainer.closed
