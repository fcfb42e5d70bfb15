"""Dialogs about a verification's result: its file, and what it does not say."""

from __future__ import annotations

import os
from collections.abc import Iterable
from typing import ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Button, Input, Static

from pneumo.report.cautions import CAUTIONS, LIMITS
from pneumo.report.unsound import unsound_words, why_words
from pneumo.verification.verdict import UNSOUND, Verification
from tui.screens.dialog import Dialog, caution_lines


class FileName(Dialog[str]):
    """Asks for the name of a file."""

    def __init__(self, title: str, about: str, start: str, *, new: bool) -> None:
        super().__init__(title)
        self.about, self.start, self.new = about, start, new

    def body(self) -> Iterable[Widget]:
        yield Static(Content(self.about))
        yield Input(self.start, compact=True, id="file-name")
        yield Static("", id="problem", markup=False)

    def buttons(self) -> Iterable[Widget]:
        word = "Save" if self.new else "Open"
        yield Button(f"{word} (enter)", compact=True, action="screen.take")
        yield Button("Cancel (esc)", compact=True, action="screen.leave")

    @on(Input.Submitted)
    def _entered(self) -> None:
        self.action_take()

    def action_take(self) -> None:
        name = self.query_one("#file-name", Input).value.strip()
        said = ""
        if not name:
            said = f"The file has no name. Write one like {self.start}."
        elif self.new and os.path.lexists(name):
            said = f"{name} exists already. Write another name: nothing is overwritten."
        elif not self.new and not os.path.isfile(name):
            said = f"There is no file {name}."
        if said:
            self.query_one("#problem", Static).update(Content(said))
        else:
            self.dismiss(name)


class WhatItDoesNotSay(Dialog[None]):
    """Cautions, what was not tried, assumptions and limits."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter,q,i", "leave", "close", show=False),
        Binding("down", "scroll(1)", show=False),
        Binding("up", "scroll(-1)", show=False),
        Binding("pagedown,space", "scroll(10)", show=False),
        Binding("pageup", "scroll(-10)", show=False),
    ]

    def __init__(
        self, results: Verification | None, unsound: Iterable[tuple[str, str]] = ()
    ) -> None:
        """`unsound`: what a check has found wrong without any fault: what is seen, its cause."""
        super().__init__("What a result does not say")
        wrong = dict.fromkeys(f"{seen}. {cause}" for seen, cause in unsound)
        untried: tuple[str, ...] = ()
        assumed: tuple[str, ...] = ()
        if results is not None:
            wrong |= dict.fromkeys(
                f"{unsound_words(each)}. {why_words(each)}" for each in results.unsound
            )
            untried, assumed = results.untested, results.assumptions
        parts = {
            UNSOUND: tuple(wrong),
            "Not tried": untried,
            "Assumed in this verification": assumed,
            "Limits of the calculation": LIMITS,
        }
        self.parts = {title: sentences for title, sentences in parts.items() if sentences}

    def body(self) -> Iterable[Widget]:
        yield from caution_lines(CAUTIONS)
        for title, sentences in self.parts.items():
            yield Static(Content.styled(title, "bold"), classes="label")
            for sentence in sentences:
                yield Static(Content(f"– {sentence}"))

    def action_scroll(self, lines: int) -> None:
        self.query_one("#body").scroll_relative(y=lines, animate=False)
