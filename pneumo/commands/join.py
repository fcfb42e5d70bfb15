"""`pneumo join`: the trainee's seat of a ride that runs in another terminal."""

from __future__ import annotations

import argparse
from importlib import import_module

from pneumo.commands import starting
from pneumo.commands.dashboard import check_terminal, settle_memory, show
from pneumo.errors import InputError
from pneumo.live.link import Link
from pneumo.live.preparation import Preparation
from pneumo.seats.address import PORT, parse_address
from pneumo.seats.code import is_of_class


def main(options: argparse.Namespace) -> int:
    """Asks for the code, and in a class for a name; joins, and shows the seat until it is left."""
    check_terminal("The trainee's seat")
    address, port = parse_address(options.address, PORT)
    code = _asked(
        "Code that the trainer's screen shows", "No code was given; the trainer's screen shows it."
    )
    name = ""
    if is_of_class(code):
        name = _asked("Your name in the class", "A class is joined with a name.")

    def joined(preparation: Preparation[Link]) -> Link:
        preparation.say("loading the program")
        from pneumo.seats.join import join

        preparation.say(f"joining at {address}")
        link = join(address, port, code, name)
        preparation.name = link.plant.circuit.ride.name
        preparation.say("drawing the screen")
        settle_memory()
        return link

    preparation = Preparation(f"The ride at {address}", joined)
    try:
        return show(import_module("tui.app").DashboardApp(preparation=preparation), preparation)
    finally:
        if preparation.made is not None:
            preparation.made.close()


def _asked(what: str, without: str) -> str:
    """What is typed: a code given as an argument could be read in the list of programs that run.

    Raises
    ------
    InputError
        `without`, when nothing was.
    """
    starting.done()
    try:
        typed = input(f"{what}: ").strip()
    except EOFError:
        typed = ""
    if not typed:
        raise InputError(without)
    return typed
