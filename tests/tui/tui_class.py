"""A class by hand: eight trainees in every situation that the board knows. Nothing is simulated."""

from __future__ import annotations

from dataclasses import replace

from tui_drills import ENTRIES, OVER, STAGES
from tui_toys import FakeLink, plant_of

from pneumo.drill.danger import Danger
from pneumo.errors import InputError
from pneumo.live.work import Note, Work
from pneumo.report.class_page import Member
from pneumo.seats.door import Place

BEGUN = STAGES["work"]._replace(
    state="at work", entries=ENTRIES[:3], notes=(), doing="", until=0.0, waiting=0, locked=(),
    proved=(),
)  # fmt: skip
HURT = replace(ENTRIES[-1], dangers=(Danger("pressure", "hose_1", 4.5e5),), state="stopped")
STOPPED = STAGES["debrief"]._replace(
    state="stopped", entries=(*ENTRIES[:-1], HURT),
    debrief=replace(OVER, state="stopped", verdict="wrong", reasons=("hurt",), spent=755.0),
)  # fmt: skip


class FakeLesson:
    """A class at no ride."""

    title, level, par, size = "It hisses", 2, 2700.0, 8
    invitation, code, only_here = "pneumo join 192.0.2.7:8470", "8FQ-YTQ-6HT-2ZB", False
    kept, notice = "sand_martin_1.class", ""

    def __init__(self, *places: Place) -> None:
        self.places: tuple[Place, ...] = places
        self.said: list[str] = []
        self.written: list[tuple[str, list[Member]]] = []
        self.refuses = ""
        """Why results cannot be written."""

    def told(self) -> list[str]:
        said, self.said = self.said, []
        return said

    def remove(self, place: Place) -> bool:
        self.places = tuple(each for each in self.places if each is not place)
        return True

    def write(self, path: str, members: list[Member]) -> str:
        if self.refuses:
            raise InputError(self.refuses)
        self.written.append((path, members))
        return f"The results are written: {path}"


def place(
    name: str, work: Work | None = STAGES["briefing"], spent: float = 0.0, *,
    running: bool = True, trainee: str = "joined", trouble: str = "",
) -> Place:  # fmt: skip
    """A trainee somewhere; `work` None: the ride is being opened."""
    made = Place(name=name)
    made.present, made.was_taken = trainee == "joined", trainee != "not joined"
    made.token = "a token" if trainee in ("joined", "cut off") else ""
    if work is not None:
        link = FakeLink(plant_of("01_spring_open_single"), "trainer")
        link.work, link.trouble = work, trouble
        link.give(time=work.began + spent, running=running)
        made.trainer = made.link = link
        made.record = f"{name}.run"
    return made


def link_of(of: Place) -> FakeLink:
    """The trainer's seat at a ride."""
    assert isinstance(of.trainer, FakeLink)
    return of.trainer


def whole() -> FakeLesson:
    """A class in which everything happens at one time."""
    return FakeLesson(
        place("Ann Sorley", STAGES["work"], 760.0),
        place("B. Rossi", BEGUN, 310.0, trainee="cut off"),
        place("Çelik O'Neill-Farquharson", BEGUN._replace(notes=(Note(20.0, "Listen."),)), 255.0,
              running=False),
        place("Dan", trainee="left"),
        place("Ebele", STAGES["debrief"]),
        place("李小龙", STOPPED),
        place("Gry", BEGUN, 400.0, running=False, trouble="The ride cannot be shown any more."),
        place("Hal", None),
    )  # fmt: skip
