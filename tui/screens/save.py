"""Saving the situation: what for, under which name, where, and by which passphrase."""

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
from pneumo.live.seal import SHORTEST_PASSPHRASE
from tui.screens.dialog import Dialog


def free_path(stem: str, suffix: str = ".yaml") -> Path:
    """ "situation_1.yaml": the first of its row that is not taken."""
    number = 1
    while (path := Path(f"{stem}_{number}{suffix}")).exists():
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
        yield Static(
            "Passphrase, twice, to encrypt a drill (empty: obscured, not encrypted)",
            classes="label",
        )
        yield Input(id="passphrase", password=True, compact=True)
        yield Input(id="again", password=True, compact=True)
        yield Static(id="problem", markup=False)

    def buttons(self) -> Iterable[Widget]:
        yield Button("Scenario (^s)", id="scenario", compact=True, action="screen.save('scenario')")
        yield Button("Drill (^d)", id="drill", compact=True, action="screen.save('drill')")
        yield Button("Cancel (esc)", compact=True, action="screen.leave")

    @on(Input.Submitted)
    def _entered(self, event: Input.Submitted) -> None:
        following = {"path": "#name", "name": "#passphrase", "passphrase": "#again"}
        self.query_one(following.get(str(event.input.id), "#scenario")).focus()

    def action_save(self, what: str) -> None:
        path, name, passphrase, again = (
            self.query_one(f"#{field}", Input).value
            for field in ("path", "name", "passphrase", "again")
        )
        path, name = path.strip(), " ".join(name.split())
        problem = _problem(path, name) or _problem_of_passphrase(what, passphrase, again)
        if problem:
            self.query_one("#problem", Static).update(Content(problem))
            return
        self.dismiss(Save("drill" if what == "drill" else "scenario", path, name, passphrase))


def _problem_of_passphrase(what: str, passphrase: str, again: str) -> str:
    if passphrase != again:
        return "The two passphrases differ. Write the same twice."
    if passphrase and what == "scenario":
        return "A scenario is not encrypted. Save a drill, or leave the passphrase empty."
    if passphrase and len(passphrase) < SHORTEST_PASSPHRASE:
        return f"The passphrase is too short. Write {SHORTEST_PASSPHRASE} letters or more."
    return ""


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
