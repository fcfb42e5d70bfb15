"""`pneumo serve`: the dashboard in a browser, one ride for every page that is opened."""

from __future__ import annotations

import argparse
import os
import shlex
import socket
import subprocess
import sys
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path

from pneumo.api import load
from pneumo.circuit.shipped import find_document
from pneumo.commands import passphrase
from pneumo.commands.console import error_console, kernels
from pneumo.errors import InputError
from pneumo.live.drill import is_drill, read_drill
from pneumo.seats.address import invited_to, is_loopback


def main(options: argparse.Namespace) -> int:
    """Serves until it is stopped."""
    if find_spec("textual_serve") is None:
        raise InputError(
            "The dashboard in a browser needs the library textual-serve: pip install "
            "'pneumo[serve]'. In a terminal, pneumo dashboard needs nothing more."
        )
    if not 1 <= options.port <= 65535:
        raise InputError(f"--port {options.port}: ports go from 1 to 65535.")
    place = find_document(options.file)
    name = load(options.file).ride.name if not is_drill(place) else _title(options, place)
    _check_free(options.host, options.port)
    kernels()
    console = error_console()
    console.print(
        f"{name}: the dashboard is at http://{invited_to(options.host, options.port)} and every "
        "page there runs a ride of its own. Ctrl+C ends it.",
        markup=False, soft_wrap=True,
    )  # fmt: skip
    if not is_loopback(options.host):
        console.print(
            f"Warning: {options.host} can be reached from the network. There is no password and "
            "nothing is encrypted: whoever opens the page can use the dashboard, and save files "
            "as you. Use a network you trust.",
            markup=False, soft_wrap=True,
        )  # fmt: skip
    # not at the top: an extra, and it takes a while to load
    door = import_module("tui.browser.door").Door
    door(_command(options.file), options.host, options.port, f"pneumo: {name}").serve()
    return 0


def _title(options: argparse.Namespace, place: Path) -> str:
    """The title of a drill that can be opened. What its passphrase was is handed to the dashboard
    of each page by the environment: nobody there is asked."""
    given = ""

    def ask() -> str:
        nonlocal given
        given = passphrase.asked(options, options.file)
        return given

    title = read_drill(place, ask).title
    if given:
        os.environ[passphrase.VARIABLE] = given
    return title


def _command(file: str) -> str:
    words = [sys.executable, "-m", "pneumo", "dashboard", "--", file]
    # no shell stays between the page and its dashboard
    return subprocess.list2cmdline(words) if os.name == "nt" else f"exec {shlex.join(words)}"


def _check_free(host: str, port: int) -> None:
    """Says what is wrong with an address before anything is served at it."""
    try:
        family, kind, *_, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        with socket.socket(family, kind) as probe:
            if os.name == "posix":
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(address)
    except (OSError, UnicodeError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"The page cannot be offered at {host}, port {port}: {reason}. Give another --host or "
            "--port."
        ) from None
