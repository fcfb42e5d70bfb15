"""Plays a walkthrough of the documents at the dashboard, key by key.

A walkthrough is a table: what is pressed, and what the screen says then. In the first column words
in back quotes are keys, or text that is typed; in the second they are words that have to stand on
the screen, all at once. Before each row its reader takes time to read, in which a ride that runs
goes on.
"""

from __future__ import annotations

import asyncio
import shlex
from typing import NamedTuple

from docs_blocks import rows, words
from textual.pilot import Pilot

from pneumo.circuit.shipped import find_document
from pneumo.circuit.validate import load_text
from pneumo.cli import build_parser
from pneumo.drill.practice import Practice
from pneumo.live.drill import is_drill, read_drill
from pneumo.live.driver import FRAME, Driver
from pneumo.live.local_seat import LocalSeat
from pneumo.live.request import Seat
from pneumo.live.session import Session
from pneumo.live.working import Working
from tui.app import DashboardApp

SIZE = (120, 40)
"""Columns and lines of the screen that the documents are written for."""

READING = 1.5
"""From what the screen says to the next key [s on the wall]."""

PATIENCE = 30.0
"""How long it may take until the screen says what is promised [s on the wall]."""

TURN = 2 * FRAME
"""From one frame to the next on a slow machine [s on the wall]."""

LOOK = 4 * TURN
"""From one look at the screen to the next meanwhile [s on the wall]."""

KEYS = {
    "space": "space", "Enter": "enter", "Esc": "escape", "Backspace": "backspace", "down": "down",
    "up": "up", "<": "less_than_sign", ":": "colon", "[": "left_square_bracket",
    "]": "right_square_bracket", "F2": "f2", "F3": "f3", "F4": "f4", "F6": "f6",
}  # fmt: skip
"""Keys as a reader and as the toolkit calls them; any other word is typed letter by letter."""


class Step(NamedTuple):
    """A row of a walkthrough."""

    pressed: tuple[str, ...]
    """Keys, and text that is typed."""
    shown: tuple[str, ...]
    """Words that are then on the screen."""


def steps(section: str) -> list[Step]:
    """The rows of the table of a section."""
    return [Step(tuple(words(pressed)), tuple(words(shown))) for pressed, shown in rows(section)]


class Walker:
    """Somebody at the dashboard, opened by a command line of the documents.

    The ride has no thread: it goes on by the walker's turns, which no clock decides.
    """

    def __init__(self, command: str) -> None:
        options = build_parser().parse_args(shlex.split(command)[1:])
        place = find_document(options.file)
        if is_drill(place):
            drill = read_drill(place)
            session = Session(drill.circuit, drill.document)
            session.drill = drill.title
            session.restart(drill.acts, drill.start, begins=drill.start)
        else:
            text = place.read_text(encoding="utf-8")
            session = Session(load_text(text, options.file), text)
        working = None
        if is_drill(place):
            working = Working(session, Practice(session, drill.brief), drill.title)
        kept_for: Seat = "trainee" if session.drill else "trainer"
        self.driver = Driver(session, kept_for=kept_for, working=working)
        seat = self.driver.seat("trainee" if session.drill else "trainer", keeps_time=True)
        self.trainee: LocalSeat = seat if session.drill else self.driver.seat("trainee")
        self.app = DashboardApp(seat)

    async def play(self, walk: list[Step]) -> None:
        """Goes through all of it.

        Raises
        ------
        AssertionError
            With the screen, when it does not say what is promised.
        """
        async with self.app.run_test(size=SIZE) as pilot:
            await pilot.pause()
            for step in walk:
                self.go_on(READING)
                await pilot.pause()
                for word in step.pressed:
                    await self.press(pilot, word)
                await self.wait(pilot, step)

    async def press(self, pilot: Pilot[None], word: str) -> None:
        """A key, or the letters of a word, until all that it began is done."""
        letters = ["space" if letter == " " else letter for letter in word]
        await pilot.press(*([KEYS[word]] if word in KEYS else letters))
        while not self.app.keyboard.at_rest:
            await asyncio.sleep(0.001)
        self.go_on(0.0)
        await pilot.pause()

    async def wait(self, pilot: Pilot[None], step: Step) -> None:
        """The ride goes on until the screen says what is promised."""
        waited = 0.0
        while True:
            await pilot.pause()
            screen = self.screen()
            missing = [said for said in step.shown if said not in screen]
            if not missing:
                return
            assert self.driver.running and waited < PATIENCE, (
                f"after {step.pressed} the screen does not say {missing}:\n{screen}"
            )
            self.go_on(LOOK)
            waited += LOOK

    def go_on(self, passed: float) -> None:
        """Time passes on the wall [s], in as many frames as it takes; the screen looks once."""
        self.driver._turn(0.0)
        while self.driver._busy:  # the minutes of a drill pass as fast as they can
            self.driver._turn(0.0)
        for _ in range(round(passed / TURN)):
            if self.driver.running:
                self.driver._turn(TURN)
        self.app.tick()

    def screen(self) -> str:
        """All that stands there."""
        strips = self.app.screen._compositor.render_strips(self.app.screen.size)
        return "\n".join("".join(part.text for part in strip).rstrip() for strip in strips)
