"""The trainer's side: offers one trainee's seat to another terminal.

One thread of its own carries the network; it reads the trainee's link and never waits for the
ride. Nothing is encrypted: what a trainee may see, and the code until it is used, can be read by
whoever can read the network.
"""

from __future__ import annotations

import asyncio
import logging
import time
from collections import Counter, deque
from collections.abc import Callable
from contextlib import suppress
from threading import Event, Thread
from typing import Any

from websockets.asyncio.server import Server, ServerConnection, serve
from websockets.exceptions import ConnectionClosed

from pneumo.errors import InputError
from pneumo.live.link import Link
from pneumo.live.request import Answer, Request
from pneumo.packing import PackingError, unpack
from pneumo.seats.door import BusyError, Door
from pneumo.seats.wire import (
    LARGEST_ASKED,
    PING,
    PING_WAIT,
    TIME,
    VERSION,
    PastSender,
    bare_document,
    decode,
    encode,
    pack_answer,
    pack_frame,
    pack_work,
    unpack_request,
)

PERIOD = 0.1
"""Between two looks at the ride [s]: at most ten frames a second leave."""

FIRST_WORD = 10.0
"""A connection that has not said its code by then is closed [s]."""

MOST_WAITING, MOST_WAITING_OF_ONE = 32, 4
"""Connections without a seat at one time: of all, and from one address, so that nobody alone keeps
the others out."""

BREATH = 0.02
"""Between two requests of the trainee [s]; more are left waiting on the network."""

_LOG = logging.getLogger("pneumo.seats")
_LOG.addHandler(logging.NullHandler())
_LOG.propagate = False  # it would write over the screen


class Host:
    """Offers a trainee's seat at one address.

    Parameters
    ----------
    link
        A trainee's seat of the ride that runs here.
    document
        Text of the circuit document; what tells of the exercise is taken out.
    address, port
        Where to listen; port 0: any that is free.
    say
        Called with every sentence for the trainer, from the network's thread.
    clock
        Time that only goes forward [s].
    """

    def __init__(
        self,
        link: Link,
        document: str,
        *,
        address: str = "127.0.0.1",
        port: int = 0,
        say: Callable[[str], None] | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        if link.seat != "trainee":
            raise ValueError("only a trainee's seat is offered to others")
        self.address = address
        self.port = port
        self._link = link
        self._document = bare_document(document, link.plant.circuit.ride.name)
        self._door = Door(clock, self._say)
        self._told = say
        self._said: deque[str] = deque(maxlen=200)
        self._connection: ServerConnection | None = None
        self._waiting: Counter[str] = Counter()
        """Address -> connections from there that have no seat yet."""
        self._numbers: dict[int, int] = {}
        """Number of a request here -> its number at the trainee's."""
        self._loop: asyncio.AbstractEventLoop | None = None
        self._ready = Event()
        self._stop: asyncio.Event | None = None
        self._problem = ""
        self._thread = Thread(target=self._run, name="pneumo trainee's seat", daemon=True)

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
        """Tells the trainee that the ride has ended, and closes."""
        if self._loop is not None and self._stop is not None:
            with suppress(RuntimeError):  # its loop has ended already
                self._loop.call_soon_threadsafe(self._stop.set)
            self._thread.join()

    @property
    def code(self) -> str:
        """Lets one trainee in; then it is used up."""
        return self._door.code

    @property
    def joined(self) -> bool:
        """True while a trainee is connected."""
        return self._connection is not None

    @property
    def trainee(self) -> str:
        """Where the trainee is: "joined", "cut off" (and may come back) or "not joined"."""
        if self.joined:
            return "joined"
        return "cut off" if self._door.token else "not joined"

    def messages(self) -> list[str]:
        """What has happened at the door since this was last asked, a sentence each."""
        said: list[str] = []
        with suppress(IndexError):
            while True:
                said.append(self._said.popleft())
        return said

    def _say(self, sentence: str) -> None:
        self._said.append(sentence)
        if self._told is not None:
            self._told(sentence)

    # the network's thread

    def _run(self) -> None:
        try:
            asyncio.run(self._listen())
        finally:
            self._ready.set()

    async def _listen(self) -> None:
        self._loop, self._stop = asyncio.get_running_loop(), asyncio.Event()
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
                self._free_the_seat_in_time()
                with suppress(TimeoutError):
                    await asyncio.wait_for(self._stop.wait(), 1.0)
            if self._connection is not None:
                with suppress(ConnectionClosed):
                    await self._connection.send(encode("end", "The trainer has ended the ride."))

    async def _meet(self, connection: ServerConnection) -> None:
        address = str(connection.remote_address[0])
        if self._waiting[address] >= MOST_WAITING_OF_ONE:
            sentence = "Too many connections from this address are waiting; try again in a minute."
            await _refuse(connection, sentence, "busy")
            return
        if self._waiting.total() >= MOST_WAITING:
            sentence = "Too many connections are waiting; try again in a minute."
            await _refuse(connection, sentence, "busy")
            return
        self._waiting[address] += 1
        try:
            welcome, sentence = await self._let_in(connection, address)
        except ConnectionClosed:
            return
        except TimeoutError:
            await _refuse(connection, f"No code came within {FIRST_WORD:g} s.")
            return
        except BusyError as error:
            await _refuse(connection, str(error), "busy")
            return
        except PackingError as error:
            await _refuse(connection, str(error))
            return
        finally:
            self._waiting[address] -= 1
            self._waiting += Counter()  # forgets the addresses from which nobody waits
        before, self._connection = self._connection, connection
        self._numbers.clear()
        self._say(sentence)
        if before is not None:
            await before.close()
        try:
            await connection.send(welcome)
            await self._serve(connection)
        except ConnectionClosed:
            pass
        finally:
            self._part(connection)

    async def _let_in(self, connection: ServerConnection, address: str) -> tuple[str, str]:
        """The welcome for a connection that shows the code or the token, and what the trainer is
        told; else PackingError."""
        kind, body = decode(await asyncio.wait_for(connection.recv(), FIRST_WORD))
        if kind not in ("join", "resume") or not isinstance(body, list) or len(body) != 2:
            raise PackingError("A seat is joined with a code.")
        version, secret = unpack(int, body[0]), unpack(str, body[1])
        if version != VERSION:
            raise PackingError(
                "The two terminals have versions of pneumo that do not fit together."
            )
        self._free_the_seat_in_time()
        let_in = self._door.join if kind == "join" else self._door.resume
        sentence = let_in(secret, address)
        document = self._document if kind == "join" else ""
        work = None if self._link.work is None else pack_work(self._link.work)
        welcome = [self._door.token, self._link.keeps_time, document, self._link.drill, work]
        return encode("welcome", welcome), sentence

    def _part(self, connection: ServerConnection) -> None:
        """Notes that a connection is gone, unless another one has taken its place."""
        if self._connection is not connection:
            return
        self._connection = None
        self._numbers.clear()
        self._door.cut()

    def _free_the_seat_in_time(self) -> None:
        if self._door.overdue:
            self._free_the_seat("The trainee has not come back")

    def _free_the_seat(self, why: str) -> None:
        self._connection = None
        self._numbers.clear()
        self._door.free(why)

    # a trainee in the seat

    async def _serve(self, connection: ServerConnection) -> None:
        """Tells and listens until one of the two ends."""
        tasks = [
            asyncio.create_task(self._tell(connection)),
            asyncio.create_task(self._hear(connection)),
        ]
        done, left = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        for task in left:
            task.cancel()
        await asyncio.gather(*left, return_exceptions=True)
        for task in done:
            task.result()

    async def _tell(self, connection: ServerConnection) -> None:
        plant, record = self._link.plant, PastSender(self._link.plant)
        looked_at, last, work = None, list[Any](), None
        while True:
            if (frame := self._link.frame) is not looked_at:
                looked_at, packed = frame, pack_frame(frame, plant)
                # a number that changes alone says only that something is not seen
                if packed[1:] != last:
                    last = packed[1:]
                    await connection.send(encode("frame", packed))
            while (piece := record.next(self._link.past)) is not None:
                await connection.send(encode("past", piece))
            if (now := self._link.work) is not work and now is not None:
                work = now
                await connection.send(encode("work", pack_work(now)))
            for answer in self._link.answers():
                to = self._numbers.pop(answer.to, None) if answer.to else 0
                if to is not None:
                    await connection.send(encode("answer", pack_answer(answer, to)))
            if self._link.trouble:
                await connection.send(encode("end", "The trainer's ride has ended."))
                return
            await asyncio.sleep(PERIOD)

    async def _hear(self, connection: ServerConnection) -> None:
        try:
            async for message in connection:
                kind, body = decode(message)
                if kind == "leave":
                    self._free_the_seat("The trainee has left")
                    return
                if kind != "ask":
                    raise PackingError("Only requests are accepted here.")
                number, request = unpack_request(body)
                refusal = self._refusal(request)
                if refusal:
                    told = pack_answer(Answer(number, False, refusal), number)
                    await connection.send(encode("answer", told))
                else:
                    self._numbers[self._link.send(request)] = number
                await asyncio.sleep(BREATH)
        except PackingError as error:
            self._say(f"The trainee's terminal sent an invalid message: {error}")
            await _refuse(connection, str(error))

    def _refusal(self, request: Request) -> str:
        """Why a trainee may not ask this; "" = it may."""
        if isinstance(request, TIME) and not self._link.keeps_time:
            return "Only the trainer can change the time of this ride."
        return ""


async def _refuse(connection: ServerConnection, sentence: str, kind: str = "refused") -> None:
    """One sentence, then the connection is closed. "busy": it may try again later."""
    with suppress(ConnectionClosed):
        await connection.send(encode(kind, sentence))
    await connection.close()


def _port_of(server: Server) -> int:
    return int(next(iter(server.sockets)).getsockname()[1])
