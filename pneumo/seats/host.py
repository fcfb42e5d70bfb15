"""The trainer's side: offers trainees' seats to other terminals.

One thread of its own carries the network; it reads the trainees' links and never waits for a ride.
Nothing is encrypted: what a trainee may see, and the code until it is used, can be read by whoever
can read the network.
"""

from __future__ import annotations

import asyncio
import logging
from collections import Counter
from contextlib import suppress
from threading import Event, Thread

from websockets.asyncio.server import Server, ServerConnection, serve
from websockets.exceptions import ConnectionClosed

from pneumo.errors import InputError
from pneumo.packing import PackingError, unpack
from pneumo.seats.door import BusyError, Entrance, Place
from pneumo.seats.served import Served, refuse
from pneumo.seats.wire import (
    LARGEST_ASKED,
    PING,
    PING_WAIT,
    VERSION,
    decode,
    encode,
    pack_work,
)

FIRST_WORD = 10.0
"""A connection that has not said its code by then is closed [s]."""

MOST_WAITING, MOST_WAITING_OF_ONE = 32, 8
"""Connections without a seat at one time: of all, and from one address, so that nobody alone keeps
the others out; a class may come from one address."""

UNKNOWN = "A seat is joined with a code."

_LOG = logging.getLogger("pneumo.seats")
_LOG.addHandler(logging.NullHandler())
_LOG.propagate = False  # it would write over the screen


class Host:
    """Offers trainees' seats at one address.

    Parameters
    ----------
    entrance
        Lets trainees in.
    address, port
        Where to listen; port 0: any that is free.
    """

    def __init__(self, entrance: Entrance, *, address: str = "127.0.0.1", port: int = 0) -> None:
        self.address = address
        self.port = port
        self._entrance = entrance
        self._connections: dict[Place, ServerConnection] = {}
        self._waiting: Counter[str] = Counter()
        """Address -> connections from there that have no seat yet."""
        self._opening: asyncio.Lock
        self._loop: asyncio.AbstractEventLoop | None = None
        self._ready = Event()
        self._stop: asyncio.Event | None = None
        self._problem = ""
        self._thread = Thread(target=self._run, name="pneumo trainees' seats", daemon=True)

    # what the trainer's side asks

    def start(self) -> None:
        """Begins to listen.

        Raises
        ------
        InputError
            When the address cannot be used.
        """
        self._thread.start()
        self._ready.wait()
        if self._problem:
            self._thread.join()
            raise InputError(
                f"The trainee's seat cannot be offered at {self.address}, port {self.port}: "
                f"{self._problem}. Give another address or port with --host."
            )

    def stop(self) -> None:
        """Tells the trainees that the ride has ended, and closes."""
        if self._loop is not None and self._stop is not None:
            with suppress(RuntimeError):  # its loop has ended already
                self._loop.call_soon_threadsafe(self._stop.set)
            self._thread.join()

    # the network's thread

    def _run(self) -> None:
        try:
            asyncio.run(self._listen())
        finally:
            self._ready.set()

    async def _listen(self) -> None:
        self._loop, self._stop = asyncio.get_running_loop(), asyncio.Event()
        self._opening = asyncio.Lock()
        try:
            # a page in a browser gives its origin: it has no business here
            server = await serve(
                self._meet, self.address, self.port, origins=[None], max_size=LARGEST_ASKED,
                max_queue=4, ping_interval=PING, ping_timeout=PING_WAIT, open_timeout=FIRST_WORD,
                close_timeout=2.0, server_header=None, logger=_LOG,
            )  # fmt: skip
        except (OSError, ValueError, OverflowError) as error:
            self._problem = getattr(error, "strerror", None) or str(error)
            return
        self.port = _port_of(server)
        self._ready.set()
        async with server:
            while not self._stop.is_set():
                self._entrance.look()
                with suppress(TimeoutError):
                    await asyncio.wait_for(self._stop.wait(), 1.0)
            for connection in tuple(self._connections.values()):
                with suppress(ConnectionClosed):
                    await connection.send(encode("end", "The trainer has ended the ride."))

    async def _meet(self, connection: ServerConnection) -> None:
        address = str(connection.remote_address[0])
        if self._waiting[address] >= MOST_WAITING_OF_ONE:
            sentence = "Too many connections from this address are waiting; try again in a minute."
            await refuse(connection, sentence, "busy")
            return
        if self._waiting.total() >= MOST_WAITING:
            sentence = "Too many connections are waiting; try again in a minute."
            await refuse(connection, sentence, "busy")
            return
        self._waiting[address] += 1
        try:
            kind, (place, sentence) = await self._let_in(connection, address)
        except ConnectionClosed:
            return
        except TimeoutError:
            await refuse(connection, f"No code came within {FIRST_WORD:g} s.")
            return
        except BusyError as error:
            await refuse(connection, str(error), "busy")
            return
        except PackingError as error:
            await refuse(connection, str(error))
            return
        finally:
            self._waiting[address] -= 1
            self._waiting += Counter()  # forgets the addresses from which nobody waits
        before, self._connections[place] = self._connections.get(place), connection
        self._entrance.say(sentence)
        if before is not None:
            await before.close()
        try:
            await self._seat(connection, place, kind)
        except ConnectionClosed:
            pass
        finally:
            self._part(connection, place)

    async def _let_in(
        self, connection: ServerConnection, address: str
    ) -> tuple[str, tuple[Place, str]]:
        """What a connection asks for, the seat that its code or token gives it, and what the
        trainer is told; else PackingError or BusyError."""
        kind, body = decode(await asyncio.wait_for(connection.recv(), FIRST_WORD))
        if not isinstance(body, list) or not body:
            raise PackingError(UNKNOWN)
        if unpack(int, body[0]) != VERSION:
            raise PackingError(
                "The two terminals have versions of pneumo that do not fit together."
            )
        match kind, [unpack(str, each) for each in body[1:]]:
            case "join", [code, name]:
                return kind, self._entrance.join(code, name, address)
            case "resume", [token]:
                return kind, self._entrance.resume(token, address)
        raise PackingError(UNKNOWN)

    async def _seat(self, connection: ServerConnection, place: Place, kind: str) -> None:
        """Opens the ride where it is not open yet, and serves the seat until somebody ends it."""
        try:
            async with self._opening:  # one after the other, each as fast as it can be
                await asyncio.to_thread(self._entrance.prepare, place)
        except InputError as error:
            self._connections.pop(place, None)
            await refuse(connection, str(error))
            return
        link, about = place.link, f"{place.name}: " if place.name else ""
        assert link is not None  # it was opened
        document = self._entrance.document if kind == "join" else ""
        work = None if link.work is None else pack_work(link.work)
        welcome = [place.token, link.keeps_time, document, link.drill, work]
        await connection.send(encode("welcome", welcome))
        await Served(
            link,
            connection,
            lambda sentence: self._entrance.say(f"{about}{sentence}"),
            lambda: self._leave(connection, place),
        ).serve()

    def _leave(self, connection: ServerConnection, place: Place) -> None:
        if self._connections.get(place) is connection:
            del self._connections[place]
            self._entrance.leave(place)

    def _part(self, connection: ServerConnection, place: Place) -> None:
        """Notes that a connection is gone, unless another one has taken its place."""
        if self._connections.get(place) is connection:
            del self._connections[place]
            self._entrance.cut(place)


def _port_of(server: Server) -> int:
    return int(next(iter(server.sockets)).getsockname()[1])
