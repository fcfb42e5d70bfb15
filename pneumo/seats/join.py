"""The trainee's side: a link to a ride that runs in another terminal.

One thread of its own carries the network and puts frames and records where the screen reads them.
When the connection is cut it tries to come back, and says so as `trouble`.
"""

from __future__ import annotations

import asyncio
import logging
import os
import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from socket import gaierror
from threading import Event, Thread
from typing import Any

from websockets.asyncio.client import ClientConnection, connect
from websockets.exceptions import ConnectionClosed, WebSocketException

from pneumo.circuit.validate import load_text
from pneumo.errors import DocumentError, InputError
from pneumo.live.frame import Frame
from pneumo.live.link import Past
from pneumo.live.plant import Plant, plant_of
from pneumo.live.request import Answer, Request, Seat
from pneumo.live.work import Work
from pneumo.packing import PackingError, unpack
from pneumo.seats.wire import (
    LARGEST_TOLD,
    PING,
    PING_WAIT,
    RESUME_FOR,
    VERSION,
    PastReader,
    decode,
    encode,
    pack_request,
    unpack_answer,
    unpack_frame,
    unpack_work,
)

PATIENCE = 10.0
"""How long a connection may take, and the first frame [s]."""

OPENING = 120.0
"""How long a ride may take that is opened for whoever joins; others may be opened before [s]."""

GOODBYE = 3.0
"""How long leaving waits for the other side to hear of it [s]."""

DELAYS = (0.5, 1.0, 2.0, 4.0)
"""Before the first and the next attempts to come back; the last one repeats [s]."""

MOST_ASKED = 100
"""Requests that may wait to be sent."""

CUT = "The connection to the trainer is cut; trying to come back."
GONE = "The connection to the trainer is lost. Leave, and ask the trainer for a new code."

_LOG = logging.getLogger("pneumo.seats")
_LOG.addHandler(logging.NullHandler())
_LOG.propagate = False  # it would write over the screen


class _EndedError(Exception):
    """The other side does not let us in, or has ended the ride; its text is a sentence."""


class _BusyError(Exception):
    """The other side asks us to come back later; its text is a sentence."""


class RemoteLink:
    """A trainee's seat at a ride in another terminal. See `join`."""

    plant: Plant
    seat: Seat = "trainee"
    keeps_time: bool
    drill: str

    def __init__(self, address: str, port: int, code: str, name: str) -> None:
        self._where = (address, port)
        self._code, self._name = code, name
        self._token = ""
        self._frame: Frame
        self._reader: PastReader
        self._trouble = ""
        self._epoch = 0
        """Epochs of the records before the last cut."""
        self._past: Past
        self._work: Work | None = None
        self._answers: deque[Answer] = deque()
        self._asked: set[int] = set()
        """Requests that were sent and have no answer yet."""
        self._number = 0
        self._loop: asyncio.AbstractEventLoop
        self._outbox: asyncio.Queue[str]
        self._leave: asyncio.Event
        self._leaving = False
        self._ready = Event()
        self._problem = ""
        self._thread = Thread(target=self._run, name="pneumo ride elsewhere", daemon=True)

    # the seat

    @property
    def frame(self) -> Frame:
        return self._frame

    @property
    def past(self) -> Past:
        return self._past

    @property
    def work(self) -> Work | None:
        return self._work

    @property
    def thought(self) -> tuple[str, ...]:
        """Nothing of it comes here."""
        return ()

    @property
    def trouble(self) -> str:
        return self._trouble

    def send(self, request: Request) -> int:
        self._number += 1
        number = self._number
        body = pack_request(number, request)
        if body is None:
            self._answers.append(Answer(number, False, "Only the trainer can do that."))
        elif self._trouble:
            self._answers.append(Answer(number, False, self._trouble))
        elif len(self._asked) >= MOST_ASKED:
            self._answers.append(Answer(number, False, "Too many requests at once; wait a moment."))
        else:
            self._asked.add(number)
            self._call(self._outbox.put_nowait, encode("ask", body))
        return number

    def answers(self) -> list[Answer]:
        came: list[Answer] = []
        with suppress(IndexError):
            while True:
                came.append(self._answers.popleft())
        return came

    def close(self) -> None:
        self._leaving = True
        self._call(self._leave.set)
        self._thread.join(GOODBYE)

    def _call(self, function: Callable[..., object], *arguments: object) -> None:
        """Has something done by the network's thread, if that still runs."""
        with suppress(RuntimeError):
            self._loop.call_soon_threadsafe(function, *arguments)

    # joining

    def _join(self) -> None:
        self._thread.start()
        self._ready.wait()
        if self._problem:
            self._thread.join()
            raise InputError(self._problem)

    # the network's thread

    def _run(self) -> None:
        try:
            asyncio.run(self._stay())
        finally:
            self._ready.set()

    async def _stay(self) -> None:
        """Joins, and comes back after every cut, until somebody ends it."""
        self._loop = asyncio.get_running_loop()
        self._outbox, self._leave = asyncio.Queue(), asyncio.Event()
        await self._try("join", self._code, self._name)
        cut_at, tries = 0.0, 0
        while self._token and not self._leaving and self._trouble in ("", CUT):
            if not self._trouble:
                cut_at, tries = time.monotonic(), 0
                self._cut()
            elif time.monotonic() - cut_at > RESUME_FOR:
                self._trouble = GONE
                break
            with suppress(TimeoutError):
                delay = DELAYS[min(tries, len(DELAYS) - 1)]
                await asyncio.wait_for(self._leave.wait(), delay)
                break
            tries += 1
            await self._try("resume", self._token)

    async def _try(self, kind: str, *secrets: str) -> None:
        """One visit; ends everything when it makes no sense to come back."""
        where = f"{self._where[0]}, port {self._where[1]}"
        try:
            await self._visit(kind, *secrets)
        except _EndedError as ended:
            self._end(str(ended))
        except _BusyError as busy:
            if kind == "join":
                self._end(str(busy))
        except (OSError, ValueError, WebSocketException) as error:
            if kind == "join":
                self._end(
                    f"No trainer offers a seat at {where}: {_reason(error)}. Check the address, "
                    "and that the trainer's terminal was started with --host."
                )
        except PackingError as error:
            self._end(f"What answers at {where} is not understood: {error}")
        except DocumentError as error:
            first = str(error).splitlines()[0]
            self._end(f"The circuit that the trainer sent cannot be used: {first}")

    def _end(self, sentence: str) -> None:
        """Ends for good, before joining (a problem) or after (a trouble)."""
        if self._ready.is_set():
            self._trouble = sentence
            self._asked.clear()
        else:
            self._problem = sentence
            self._token = ""

    def _cut(self) -> None:
        """The connection is gone: nobody knows what came of the last requests."""
        self._trouble = CUT
        while not self._outbox.empty():
            self._outbox.get_nowait()
        for number in sorted(self._asked):
            text = "The connection was cut; check whether it was carried out."
            self._answers.append(Answer(number, False, text))
        self._asked.clear()

    async def _visit(self, kind: str, *secrets: str) -> None:
        """One connection from its first word to its end."""
        address, port = self._where
        # no proxy: the two terminals are on one machine or one network
        async with connect(
            f"ws://{f'[{address}]' if ':' in address else address}:{port}", proxy=None,
            max_size=LARGEST_TOLD, max_queue=16, ping_interval=PING, ping_timeout=PING_WAIT,
            open_timeout=PATIENCE, close_timeout=2.0, user_agent_header=None, logger=_LOG,
        ) as connection:  # fmt: skip
            with suppress(ConnectionClosed):  # who refuses at once has said why
                await connection.send(encode(kind, [VERSION, *secrets]))
            await self._sit_down(connection)
            others = [
                asyncio.create_task(self._send_all(connection)),
                asyncio.create_task(self._take_leave(connection)),
            ]
            try:
                async for message in connection:
                    self._take(*decode(message))
            except ConnectionClosed:
                pass
            finally:
                for other in others:
                    other.cancel()
                await asyncio.gather(*others, return_exceptions=True)

    async def _sit_down(self, connection: ClientConnection) -> None:
        """Takes the welcome and the first frame."""
        kind, body = await _next(connection, OPENING)
        if kind != "welcome" or not isinstance(body, list) or len(body) != 5:
            raise PackingError("It sent no welcome.")
        token, keeps_time = unpack(str, body[0]), unpack(bool, body[1])
        self.drill = unpack(str, body[3])
        self._work = None if body[4] is None else unpack_work(body[4])
        if not isinstance(body[2], str):
            raise PackingError("It has sent no circuit.")
        if not self._token:
            self.plant = plant_of(load_text(body[2], "the trainer's circuit"))
        self._reader = PastReader(self.plant)
        kind, body = await _next(connection, PATIENCE)
        if kind != "frame":
            raise PackingError("It has sent no frame.")
        self._frame = unpack_frame(body, self.plant)
        if self._token:
            self._epoch = self._past.epoch + 1
        self._token, self.keeps_time = token, keeps_time
        self._keep_past()
        self._trouble = ""
        self._ready.set()

    async def _send_all(self, connection: ClientConnection) -> None:
        while True:
            await connection.send(await self._outbox.get())

    async def _take_leave(self, connection: ClientConnection) -> None:
        await self._leave.wait()
        await connection.send(encode("leave", None))
        await connection.close()

    def _take(self, kind: str, body: Any) -> None:
        if kind == "frame":
            self._frame = unpack_frame(body, self.plant)
        elif kind == "work":
            self._work = unpack_work(body)
        elif kind == "past":
            self._reader.add(body)
            self._keep_past()
        elif kind == "answer":
            answer = unpack_answer(body)
            self._asked.discard(answer.to)
            self._answers.append(answer)
        elif kind in ("end", "refused"):
            raise _EndedError(unpack(str, body))
        else:
            raise PackingError("A message of an unknown kind.")

    def _keep_past(self) -> None:
        past = self._reader.past
        self._past = past._replace(epoch=self._epoch + past.epoch)


def _reason(error: Exception) -> str:
    """Why joining failed, as part of a sentence."""
    if isinstance(error, TimeoutError):
        return f"no answer within {PATIENCE:g} s"
    if isinstance(error, ConnectionClosed):
        return "the connection was closed without an answer"
    if isinstance(error, WebSocketException):
        return "what answers there is not a trainer's terminal"
    if isinstance(error, gaierror):
        return "this address is not known"
    if isinstance(error, OSError) and error.errno:
        return os.strerror(error.errno).lower()
    return "the connection failed"


async def _next(connection: ClientConnection, patience: float) -> tuple[str, Any]:
    kind, body = decode(await asyncio.wait_for(connection.recv(), patience))
    if kind in ("refused", "end"):
        raise _EndedError(unpack(str, body))
    if kind == "busy":
        raise _BusyError(unpack(str, body))
    return kind, body


def join(address: str, port: int, code: str, name: str = "") -> RemoteLink:
    """Takes a trainee's seat at a ride; `name`: in a class.

    Raises
    ------
    InputError
        When nobody offers one there, or the code is refused.
    """
    link = RemoteLink(address, port, code, name)
    link._join()
    return link
