"""A trainee's seat by hand, a host to knock at, and a wire that can be cut and read."""

from __future__ import annotations

import socket
import threading
from collections import deque
from collections.abc import Callable
from time import monotonic, sleep
from typing import Any

from live_frames import fault, plant_of, whole_frame, whole_past
from websockets.sync.client import ClientConnection, connect

from pneumo.circuit.document import read_file
from pneumo.circuit.shipped import find_document
from pneumo.live.frame import Frame
from pneumo.live.link import Link, Past
from pneumo.live.plant import Plant
from pneumo.live.request import Answer, Request, Seat
from pneumo.live.seat import SeenPast, seen
from pneumo.live.work import Work
from pneumo.scenario.event import RunEvent
from pneumo.seats.door import Door
from pneumo.seats.host import Host
from pneumo.seats.wire import VERSION, decode, encode

DOCUMENT = read_file(find_document("sand_martin"))


class FakeSeat:
    """A trainee's seat at a whole ride by hand: it reduces as the ride's own seat does."""

    def __init__(self, seat: Seat = "trainee", *, keeps_time: bool = False) -> None:
        self.plant: Plant = plant_of()
        self.seat: Seat = seat
        self.keeps_time = keeps_time
        self.trouble = ""
        self.drill = ""
        self.work: Work | None = None
        self.sent: list[Request] = []
        self.closed = False
        self.whole: Frame = whole_frame(self.plant)
        self.record: Past = whole_past(self.plant, 0)
        self.waiting: deque[Answer] = deque()
        self._keeper = SeenPast(self.plant)

    @property
    def frame(self) -> Frame:
        return seen(self.whole, self.plant)

    @property
    def past(self) -> Past:
        return self._keeper(self.record)

    def give(self, **changes: object) -> None:
        """The next frame: as the last, but with these changes."""
        self.whole = self.whole._replace(number=self.whole.number + 1, **changes)

    def recorded(self, rows: int, *events: RunEvent, epoch: int = 0) -> None:
        """The record from now on."""
        self.record = whole_past(self.plant, rows, *events, epoch=epoch)

    def send(self, request: Request) -> int:
        self.sent.append(request)
        number = 1000 + len(self.sent)
        self.waiting.append(Answer(number, True, f"Done, {len(self.sent)}.", ("Lock out first.",)))
        return number

    def answers(self) -> list[Answer]:
        came = list(self.waiting)
        self.waiting.clear()
        return came

    def close(self) -> None:
        self.closed = True


def until(true: Callable[[], object], patience: float = 10.0) -> None:
    """Waits until something is true."""
    end = monotonic() + patience
    while not true():
        assert monotonic() < end, "it does not come"
        sleep(0.005)


class Hosted(Host):
    """One seat that is offered, with its door and what the trainer was told."""

    door: Door
    told: list[str]


def hosted(
    link: Link, clock: Callable[[], float] = monotonic, document: str = DOCUMENT, **where: Any
) -> Hosted:
    """Offers a seat, by default at any port of this machine that is free."""
    told: list[str] = []
    door = Door(link, document, told.append, clock)
    host = Hosted(door, **where)
    host.door, host.told = door, told
    host.start()
    return host


def knock(host: Host, kind: str, secret: str, version: int = VERSION) -> tuple[str, object]:
    """What the host says first to a connection with a code or token."""
    with raw(host) as connection:
        connection.send(encode(kind, [version, secret, *([""] * (kind == "join"))]))
        return decode(connection.recv(10))


def raw(host: Host, address: str = "127.0.0.1") -> ClientConnection:
    """A connection from an address of this machine that has said nothing yet."""
    return connect(
        f"ws://127.0.0.1:{host.port}", proxy=None, compression=None, max_size=None, close_timeout=1,
        source_address=(address, 0),
    )  # fmt: skip


class Wire:
    """A wire to a port that keeps what passes, and can be cut and mended."""

    def __init__(self, port: int) -> None:
        self._to = port
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._door.getsockname()[1]
        self.passed: list[bytes] = []
        self._open: list[socket.socket] = []
        self.whole = True
        threading.Thread(target=self._meet, daemon=True).start()

    def cut(self) -> None:
        """Cuts what is connected; nothing passes until `mend`."""
        self.whole = False
        for end in self._open:
            end.close()
        self._open.clear()

    def mend(self) -> None:
        """Lets new connections pass."""
        self.whole = True

    def close(self) -> None:
        """Closes everything."""
        self.cut()
        self._door.close()

    def _meet(self) -> None:
        while True:
            try:
                near, _ = self._door.accept()
            except OSError:
                return
            if not self.whole:
                near.close()
                continue
            far = socket.create_connection(("127.0.0.1", self._to))
            for one, other in ((near, far), (far, near)):
                # a thread of its own must not keep a socket open that is read in another
                one.settimeout(0.05)
                threading.Thread(target=self._pass, args=(one, other), daemon=True).start()
            self._open += [near, far]

    def _pass(self, one: socket.socket, other: socket.socket) -> None:
        while True:
            try:
                data = one.recv(65536)
                if not data:
                    break
                self.passed.append(data)
                other.sendall(data)
            except TimeoutError:
                continue
            except OSError:
                break
        for end in (one, other):
            end.close()


__all__ = [
    "DOCUMENT", "FakeSeat", "Wire", "fault", "knock", "plant_of", "raw", "until", "whole_frame",
    "whole_past",
]  # fmt: skip
