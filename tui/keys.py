"""The keys that work in every view, and the help about them."""

from __future__ import annotations

from pneumo.live.request import Seat
from tui.bar import Key

SPEEDS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
"""Steps of [ and ]."""

_ANSWERS = (
    Key(1, "s", "RIDE STOP", "stop"),
    Key(2, "a", "acknowledge", "acknowledge"),
    Key(3, "r", "reset", "reset"),
    Key(4, "N", "back to normal", "normal"),
)
_ALWAYS = (
    Key(5, "?", "help", "help"),
    Key(8, ":", "say", "say"),
    Key(11, "^p", "all acts", "command_palette"),
    Key(12, "q", "leave", "leave"),
)


def keys_for(seat: Seat, keeps_time: bool) -> tuple[Key, ...]:
    """The most needed keys of a seat, for the bottom line."""
    first = (
        Key(0, "f", "inject fault", "inject")
        if seat == "trainer"
        else Key(0, "t", "tests", "tests")
    )
    time = (
        (
            Key(6, "space", "run/pause", "toggle_run"),
            Key(9, "^←", "go back", "go(-1)"),
            Key(10, "n", "next event", "next_event"),
        )
        if keeps_time
        else ()
    )
    check = (Key(7, "k", "check", "check"),) if seat == "trainer" else ()
    return (first, *_ANSWERS, *time, *check, *_ALWAYS)


def help_text(seat: Seat, keeps_time: bool) -> str:
    """Markdown about the keys of a seat."""
    return "\n".join(
        (
            "## Three things to find first",
            "- **Which zone is not safe, and why:** the second line of the screen says it in "
            "words. A click on it opens the zones.",
            *(
                (
                    "- **How to inject a fault:** `f`, type a part of the component's name "
                    "(`valve`), Enter, choose how it fails (`stuck`), Enter twice.",
                )
                if seat == "trainer"
                else (
                    "- **How to find a fault:** `t` opens the tests: read a pressure, listen, "
                    "look at the jaws, measure a coil. Results stay in the notebook.",
                )
            ),
            "- **How to get back to normal:** `N` lists what is needed, with its cautions, and "
            "does it.",
            "",
            "## Keys everywhere",
            "| key | what it does |",
            "|---|---|",
            "| `1` … `9` | opens a view |",
            "| `s` `a` `r` | ride stop, acknowledge all, reset all |",
            "| `N` | back to normal |",
            *(
                (
                    "| `f` | inject a fault |",
                    "| `u` `U` | undo the last act, do it again |",
                    "| `k` | fail-safe check beside the ride |",
                    "| `w` | save the situation as a scenario or a drill |",
                )
                if seat == "trainer"
                else ("| `t` | the technician's tests |",)
            ),
            *(
                (
                    "| space | run or pause |",
                    "| `[` `]` | slower, faster |",
                    "| `.` | one scan of the controller |",
                    "| `n` | run to the next event |",
                    "| Ctrl+← Ctrl+→ | go back, go on, by 1 s |",
                    "| `<` `>` | the same by 10 s |",
                    "| `h` | to the newest instant; leaves a check |",
                )
                if keeps_time
                else ()
            ),
            "| `:` | type a sentence, Tab completes it |",
            "| Ctrl+P | all acts, found by name |",
            "| `?` F1 | this help |",
            "| `q` | leave |",
            "",
            "## Marks",
            "`!` waits for acknowledgement · `x` not safe or faulted · `·` normal · `F` forced · "
            "`–` not seen from this seat. Colour repeats what a mark or a word says already.",
            "",
            "This is a calculation about an invented description. It certifies nothing; local "
            "codes and licensed practice come first.",
        )
    )
