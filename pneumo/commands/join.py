"""`pneumo join`: the trainee's seat of a ride that runs in another terminal."""

from __future__ import annotations

import argparse
from importlib import import_module

from pneumo.commands.console import error_console
from pneumo.commands.dashboard import check_terminal, show
from pneumo.errors import InputError
from pneumo.record.store import runs_folder
from pneumo.seats.address import parse_address
from pneumo.seats.wire import PORT


def main(options: argparse.Namespace) -> int:
    """Asks for the code, joins, and shows the seat until it is left."""
    check_terminal("The trainee's seat")
    address, port = parse_address(options.address, PORT)
    code = _asked()
    from pneumo.seats.join import join

    with error_console().status(f"Joining the ride at {address}"):
        link = join(address, port, code)
    try:
        return show(import_module("tui.app").DashboardApp(link), runs_folder().parent)
    finally:
        link.close()


def _asked() -> str:
    """The code, typed: as an argument it could be read in the list of programs that run."""
    try:
        code = input("Code that the trainer's screen shows: ").strip()
    except EOFError:
        code = ""
    if not code:
        raise InputError("No code was given; the trainer's screen shows it.")
    return code
