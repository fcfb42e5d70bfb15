"""Saving the situation: what for, under which name, where."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path
from typing import ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Button, Input, Static

from pneumo.live.request import Save
from tui.screens.dialog import Dialog


def free_path(stem: str) -> Path:
    """ "situation_1.yaml": the first of its row that is not taken."""
    number = 1
    while (path := Path(f"{stem}_{number}.yaml")).exists():
        number += 1
    return path


class SaveSituation(Dialog[Save]):
    """Two names: of the file, and of the situation in it. Neither gives the fault away."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+s", "save('scenario')", show=False),
        Binding("ctrl+d", "save('drill')", show=False, priority=True),
    ]

    def __init__(self) -> None:
        super().__init__("Save the situation")

    def body(self) -> Iterable[Widget]:
        path = free_path("situation")
        yield Static(
            "Actions so far are saved with time and operator, so that they can be replayed. "
            "A scenario replays them; a drill keeps the faults from the trainee."
        )
        yield Static("File", classes="label")
        yield Input(str(path), id="path", compact=True)
        yield Static("Name (the trainee may read it: do not name the fault)", classes="label")
        yield Input(path.stem.replace("_", " "), id="name", compact=True)
        yield Static(id="problem", markup=False)

    def buttons(self) -> Iterable[Widget]:
        yield Button("Scenario (^s)", id="scenario", compact=True, action="screen.save('scenario')")
        yield Button("Drill (^d)", id="drill", compact=True, action="screen.save('drill')")
        yield Button("Cancel (esc)", compact=True, action="screen.leave")

    @on(Input.Submitted)
    def _entered(self, event: Input.Submitted) -> None:
        if event.input.id == "path":
            self.query_one("#name", Input).focus()
        else:
            self.query_one("#scenario", Button).focus()

    def action_save(self, what: str) -> None:
        path = self.query_one("#path", Input).value.strip()
        name = " ".join(self.query_one("#name", Input).value.split())
        if problem := _problem(path, name):
            self.query_one("#problem", Static).update(Content(problem))
            return
        self.dismiss(Save("drill" if what == "drill" else "scenario", path, name))


def _problem(path: str, name: str) -> str:
    if not path:
        return "The file has no name. Write one like situation_1.yaml."
    if not name:
        return "The situation has no name. Write a few words."
    if Path(path).suffix not in (".yaml", ".yml"):
        return f"{path} does not end in .yaml. Write it like {Path(path).stem}.yaml."
    if not os.path.isdir(Path(path).absolute().parent):
        return f"There is no folder {Path(path).parent}. Write a path in one that exists."
    return ""
