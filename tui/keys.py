"""The keys that work in every view, and the help about them."""

from __future__ import annotations

from textual.binding import Binding, BindingType

from pneumo.live.request import Seat
from tui.bar import Key

SPEEDS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
"""Steps of [ and ]."""

BINDINGS: list[BindingType] = [
    *(Binding(str(n), f"digit({n})", show=False) for n in range(10)),
    Binding("space", "ask('run')", "run or pause"),
    Binding("left_square_bracket", "ask('slower')", "slower"),
    Binding("right_square_bracket", "ask('faster')", "faster"),
    Binding("full_stop", "ask('scan')", "one scan"),
    Binding("n", "ask('next event')", "next event"),
    Binding("ctrl+left", "go(-1)", "back 1 s"),
    Binding("ctrl+right", "go(1)", "on 1 s"),
    Binding("less_than_sign,ctrl+shift+left", "go(-10)", "back 10 s"),
    Binding("greater_than_sign,ctrl+shift+right", "go(10)", "on 10 s"),
    Binding("h", "ask('newest')", "newest"),
    Binding("s", "ask('stop')", "ride stop"),
    Binding("a", "ask('acknowledge')", "acknowledge all"),
    Binding("r", "ask('reset')", "reset all"),
    Binding("f", "inject", "inject a fault"),
    Binding("x", "inject(True)", "inject a fault here"),
    Binding("t", "tests", "tests"),
    Binding("u", "ask('undo')", "undo"),
    Binding("U", "ask('redo')", "redo"),
    Binding("N", "normal", "back to normal"),
    Binding("k", "offer('check')", "fail-safe check"),
    Binding("w", "offer('save')", "save the situation"),
    Binding("I", "offer('invite')", "invite a trainee"),
    Binding("colon", "offer('say')", "type a sentence"),
    Binding("question_mark,f1", "offer('help')", "help"),
    Binding("q,ctrl+q", "leave", "leave"),
]
"""Of the app; what `ask` asks for stands in `tui.requests.KEYS`."""

_ANSWERS = (
    Key(1, "s", "RIDE STOP", "ask('stop')", "STOP"),
    Key(2, "a", "acknowledge", "ask('acknowledge')", "ack"),
    Key(3, "r", "reset", "ask('reset')"),
    Key(4, "N", "back to normal", "normal", "normal"),
)
_ALWAYS = (
    Key(6, "?", "help", "offer('help')"),
    Key(10, ":", "say", "offer('say')"),
    Key(8, "^p", "all acts", "command_palette", "acts"),
    Key(7, "q", "leave", "leave"),
)

WHILE_TYPING = (
    Key(0, "Type", "to filter or fill in", "", "to filter"),
    Key(2, "Enter", "selects", ""),
    Key(3, "Tab", "next field", ""),
    Key(1, "Esc", "closes", ""),
)
"""For the bottom line, while a line to type in has the keyboard."""

NEWEST = Key(0, "h", "newest", "ask('newest')")
"""The way back from an earlier instant or a check."""


def keys_for(seat: Seat, keeps_time: bool, drill: bool = False) -> tuple[Key, ...]:
    """The most needed keys of a seat, for the bottom line; `drill`: one is under way, in which
    nothing goes back."""
    if drill:
        return _in_drill(seat)
    first = Key(0, "f", "fault", "inject") if seat == "trainer" else Key(0, "t", "tests", "tests")
    time = (
        (
            Key(9, "space", "run/pause", "ask('run')", "run"),
            Key(5, "^←", "back", "go(-1)"),
            Key(12, "n", "next event", "ask('next event')"),
        )
        if keeps_time
        else ()
    )
    check = (Key(11, "k", "check", "offer('check')"),) if seat == "trainer" else ()
    return (first, *_ANSWERS, *time, *check, *_ALWAYS)


def _in_drill(seat: Seat) -> tuple[Key, ...]:
    drill = Key(0, "0", "drill", "open_view('drill')")
    if seat == "trainee":
        return (drill, Key(5, "t", "tests", "tests"), *_ANSWERS[:3], *_ALWAYS)
    clock = Key(1, "space", "stops/starts the clock", "ask('run')", "clock")
    return (drill, clock, Key(5, "f", "fault", "inject"), *_ANSWERS, *_ALWAYS)


def first_steps(seat: Seat, drill: bool = False) -> str:
    """Markdown: what somebody should find in the first minute; `drill`: one is under way."""
    third = (
        "- **How to get back to normal:** `N` lists what is needed, with its cautions, and does it."
    )
    if drill:
        third = (
            "- **How a drill ends:** a finding, a repair, a function test, and the ride is handed "
            "back, all on page `0`."
        )
    if seat == "trainer":
        second = (
            "- **How to inject a fault:** `f`, type a part of the component and of the fault "
            "(`trim valve stuck`), Enter, Enter, Enter."
        )
    else:
        second = (
            "- **How to find a fault:** `t` opens the tests: read a pressure, listen, look at the "
            "jaws, measure a coil. What is found stays in the notebook."
        )
    return "\n".join(
        (
            "## Three things to find first",
            "- **Which zone is not safe, and why:** the second line of the screen says it in "
            "words. A click on it opens the zones.",
            second,
            third,
        )
    )


def every_key(seat: Seat, keeps_time: bool, drill: bool = False) -> tuple[tuple[str, str], ...]:
    """The keys that work in every view, with what they do; `drill`: one is under way."""
    trainer: tuple[tuple[str, str], ...] = (
        ("f", "inject a fault"),
        ("x", "inject a fault into the component picked last"),
        ("u U", "undo the last act, do it again"),
        ("k", "fail-safe check: a loss played beside the ride"),
        ("w", "save the situation as a scenario or a drill"),
        ("I", "how a trainee joins"),
    )
    time: tuple[tuple[str, str], ...] = (
        ("space", "run or pause"),
        ("[ ]", "slower, faster"),
        (".", "one scan of the controller"),
        ("n", "run to the next event"),
        ("Ctrl+← →", "go back, go on, by 1 s"),
        ("< >", "the same by 10 s"),
        ("h", "to the newest instant; leaves a check"),
    )
    if drill:
        trainer = tuple(row for row in trainer if row[0] not in ("u U", "k"))
        time = (("space", "stop or start the clock"),) if seat == "trainer" else ()
    return (
        *((("0", "the drill"),) if drill else ()),
        ("1 … 9", "open a view"),
        ("s", "ride stop"),
        ("a r", "acknowledge all, reset all"),
        *(() if drill and seat == "trainee" else (("N", "back to normal"),)),
        *(trainer if seat == "trainer" else ()),
        ("t", "tests by hand, and the notebook"),
        *(time if keeps_time else ()),
        (":", "type a sentence, Tab completes it"),
        ("Ctrl+P", "all acts, found by name"),
        ("? F1", "this help"),
        ("q", "leave"),
    )


MARKS = (
    ("!", "waits for acknowledgement"),
    ("x", "faulted, or not safe"),
    ("·", "normal"),
    ("F", "forced: the controller reads or commands what a person has set"),
    ("~", "trapped pressure"),
    ("–", "not seen from this seat"),
)
"""Marks in every view. Colour only repeats what a mark or a word says."""
