"""Where a ride is offered: "pier.local", "192.0.2.7:8470", "[::1]:8470", ":8470"."""

from __future__ import annotations

import ipaddress
import re
import socket

from pneumo.errors import InputError
from pneumo.harmless import first_acting

PORT = 8470
"""Where a ride is offered when nobody says."""

LONGEST_NAME = 253
"""Letters of the longest name that a machine can have (RFC 1035)."""

LONGEST = 60
"""So much of a text that names no address is shown."""

_ADDRESS = re.compile(
    r"(?:\[(?P<six>[0-9a-fA-F:.]+)\]|(?P<name>[^:\s\[\]/]*))(?::(?P<port>\d{1,5}))?"
)


def parse_address(text: str, port: int, address: str = "127.0.0.1") -> tuple[str, int]:
    """Address and port that a text names; what it leaves out is as given.

    Raises
    ------
    InputError
        When it names neither.
    """
    written = text.strip()
    if first_acting(written) < 0 and _is_ip(written):  # the newer addresses hold colons themselves
        return written, port
    match = _ADDRESS.fullmatch(written) if first_acting(written) < 0 else None
    number = int(match["port"]) if match and match["port"] else port
    if (
        match is None
        or (match["six"] and not _is_ip(match["six"]))
        or number > 65535
        or len(match["name"] or "") > LONGEST_NAME
    ):
        shown = text if len(text) <= LONGEST else f"{text[:LONGEST]}…"
        raise InputError(
            f"{shown!r} is no address of a terminal; write it like 192.0.2.7, pier.local:{port} or "
            f"[::1]:{port}, with a port up to 65535."
        )
    return match["six"] or match["name"] or address, number


def is_loopback(address: str) -> bool:
    """True when only this machine can reach an address."""
    if address == "localhost":
        return True
    return _is_ip(address) and ipaddress.ip_address(address).is_loopback


def invited_to(address: str, port: int) -> str:
    """What somebody at another terminal writes to reach an address that is listened at."""
    if _is_ip(address) and ipaddress.ip_address(address).is_unspecified:
        address = socket.gethostname()
    return f"[{address}]:{port}" if ":" in address else f"{address}:{port}"


def _is_ip(text: str) -> bool:
    try:
        ipaddress.ip_address(text)
    except ValueError:
        return False
    return True
