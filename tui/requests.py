"""Requests of a seat: what a key asks for, what is asked before it, what is said of the answer."""

from __future__ import annotations

from collections.abc import Callable, Collection
from typing import TYPE_CHECKING, Literal, NamedTuple

from pneumo.circuit.verbs import parted
from pneumo.live.request import (
    Answer,
    Check,
    Do,
    GoTo,
    Hand,
    Line,
    Newest,
    NextEvent,
    OpenCase,
    Pause,
    Redo,
    Request,
    Run,
    Scan,
    Speed,
    Undo,
)
from tui import text
from tui.drilling import under_way
from tui.keys import SPEEDS
from tui.normal import ACKNOWLEDGE, RESET
from tui.physical import caution_keys, cautions_for, fresh_cautions, needs_confirming
from tui.screens.confirm import Confirm

if TYPE_CHECKING:
    from pneumo.live.frame import Frame
    from pneumo.live.link import Link

Needs = Literal["", "time", "trainer"]
"""Who may: every seat, the one that keeps the time, the trainer's."""


def refusal(link: Link, needs: Needs, what: str = "") -> str:
    """Why this seat may not; "" = it may."""
    if needs == "time" and not link.keeps_time:
        return "Only the trainer can change the time of this ride."
    if needs == "trainer" and link.seat != "trainer":
        return f"{what} is for the trainer's seat."
    return ""


class Key(NamedTuple):
    """What a key asks the ride for."""

    make: Callable[[Frame], Request]
    needs: Needs = ""
    what: str = ""
    """What is for the trainer only, at the beginning of a sentence."""


def moved(frame: Frame, seconds: float) -> Request:
    """The instant so many seconds from the one that is shown."""
    wanted = max(frame.time + seconds, 0.0)
    return Newest() if wanted >= frame.newest else GoTo(wanted)


def _slower(frame: Frame) -> Request:
    return Speed(max((s for s in SPEEDS if s < frame.speed * 0.999), default=SPEEDS[0]))


def _faster(frame: Frame) -> Request:
    return Speed(min((s for s in SPEEDS if s > frame.speed * 1.001), default=SPEEDS[-1]))


KEYS: dict[str, Key] = {
    "run": Key(lambda frame: Pause() if frame.running else Run(), "time"),
    "slower": Key(_slower, "time"),
    "faster": Key(_faster, "time"),
    "scan": Key(lambda frame: Scan(), "time"),
    "next event": Key(lambda frame: NextEvent(), "time"),
    "newest": Key(lambda frame: Newest(), "time"),
    "stop": Key(lambda frame: Do("ride stop")),
    "acknowledge": Key(lambda frame: Do(ACKNOWLEDGE)),
    "reset": Key(lambda frame: Do(RESET)),
    "undo": Key(lambda frame: Undo(), "trainer", "Undo"),
    "redo": Key(lambda frame: Redo(), "trainer", "Redo"),
}
"""Name in the action `ask` -> request; `go` takes the seconds."""


def question_before(
    request: Request, frame: Frame, shown: Collection[str] | None = None
) -> Confirm | None:
    """Asked when it is a physical act or ends a kept future; None: nothing is. `shown`: keys of the
    cautions that were confirmed in the drill under way, None = there is none."""
    if shown is not None:
        cautions = fresh_cautions(request, shown)
        if not cautions:
            return None
        return Confirm(title_of(request), [f"{_in_words(request)}?"], cautions)
    if needs_confirming(request):
        return Confirm(title_of(request), [f"{_in_words(request)}?"], cautions_for(request))
    if frame.mode == "earlier" and isinstance(request, Run | Do | OpenCase):
        lines = [
            f"History at {text.clock(frame.time)}; live is {text.clock(frame.newest)}.",
            f"{_in_words(request)} from here starts a new branch: what came after is dropped.",
        ]
        return Confirm(title_of(request), lines, yes="Go on from here")
    return None


class Pending:
    """Requests under way."""

    def __init__(self, link: Link) -> None:
        self._link = link
        self._asked: dict[int, tuple[Request, bool]] = {}
        """By number; whether their cautions have been read."""
        self._confirmed: set[str] = set()
        """Keys of cautions that were read and confirmed."""
        self._quiet: set[int] = set()
        """Of a way back to normal: done they need no word, line 2 says what is left."""

    def question(self, request: Request) -> Confirm | None:
        """What is asked before it; in a drill each caution comes once."""
        works = self._link.seat == "trainee" and under_way(self._link) is not None
        return question_before(request, self._link.frame, self._confirmed if works else None)

    def send(self, request: Request, *, sure: bool, quiet: bool = False) -> None:
        """Passes a request on; `sure`: its cautions have been read; `quiet`: done, it needs no
        word."""
        if sure:
            self._confirmed.update(caution_keys(request))
        number = self._link.send(request)
        self._asked[number] = (request, sure)
        if quiet:
            self._quiet.add(number)

    def take(self, answer: Answer) -> tuple[Request | None, bool, bool]:
        """The request that an answer is to, whether its cautions have been read, whether it was
        quiet; a check is answered loss by loss and stays."""
        request, sure = self._asked.get(answer.to, (None, False))
        quiet = answer.to in self._quiet
        if not isinstance(request, Check):
            self._asked.pop(answer.to, None)
            self._quiet.discard(answer.to)
        return request, sure, quiet


def needs_no_word(request: Request | None, answer: Answer, *, quiet: bool, returning: bool) -> bool:
    """An acknowledgement or a reset is only asked for: the controller does or refuses it at its
    next scan, and says so then. Line 2 tells what a way back to normal waits for (`returning`)."""
    if not answer.done:
        return False
    if request is None:
        return returning and answer.refused == "reset"
    asked = isinstance(request, Do) and _says(request.sentence, "acknowledge", "reset")
    return quiet or (asked and not answer.cautions)


def _says(sentence: str, *verbs: str) -> bool:
    verb, _ = parted(sentence)
    return verb is not None and verb.word in verbs


def is_fault(sentence: str) -> bool:
    """True for the injection of a fault, perhaps later ("in 5 s: fault …")."""
    return _says(sentence, "fault")


def said_of(request: Request | None, answer: Answer, link: Link) -> str:
    """The words of an answer; of a fault that the trainer has set also who is told of it."""
    if not answer.done or not isinstance(request, Do):
        return answer.text
    if request.hidden:
        return f"{answer.text}, hidden from the trainee (v in view 8 shows it)"
    shown = is_fault(request.sentence) and link.seat == "trainer"
    return f"{answer.text}{', shown to the trainee' if shown else ''}"


def _in_words(request: Request) -> str:
    if isinstance(request, Do):
        return request.sentence
    if isinstance(request, Line):
        return request.text
    if isinstance(request, Hand):
        return f"{request.test} {request.target}"
    return "Go on" if isinstance(request, Run) else "Open the case"


def title_of(request: Request | None) -> str:
    """Over a dialog about a request."""
    if isinstance(request, Hand):
        return "A test by hand"
    if isinstance(request, Do | Line):
        return "An act on the ride"
    return "History" if isinstance(request, Run | OpenCase) else "The ride says"
