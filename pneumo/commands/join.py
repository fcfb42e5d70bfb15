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


def main(options: argparse.Namespace) -> int:
    """Asks for the code, joins, and shows the seat until it is left."""
    check_terminal("The trainee's seat")
    address, port = parse_address(options.address, PORT)
    code = _asked()

    def joined(preparation: Preparation[Link]) -> Link:
        preparation.say("loading the program")
        from pneumo.seats.join import join

        preparation.say(f"joining at {address}")
        link = join(address, port, code)
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


def _asked() -> str:
    """The code, typed: as an argument it could be read in the list of programs that run."""
    starting.done()
    try:
        code = input("Code that the trainer's screen shows: ").strip()
    except EOFError:
        code = ""
    if not code:
        raise InputError("No code was given; the trainer's screen shows it.")
    return code
