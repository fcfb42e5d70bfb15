"""One trainee's connection: what is told to it, and what it asks."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from websockets.asyncio.server import ServerConnection
from websockets.exceptions import ConnectionClosed

from pneumo.live.link import Link
from pneumo.live.request import Answer, Request
from pneumo.packing import PackingError
from pneumo.seats.wire import (
    TIME,
    PastSender,
    decode,
    encode,
    pack_answer,
    pack_frame,
    pack_work,
    unpack_request,
)

PERIOD = 0.1
"""Between two looks at the ride [s]: at most ten frames a second leave."""

BREATH = 0.02
"""Between two requests of the trainee [s]; more are left waiting on the network."""


class Served:
    """A trainee's seat at the end of a connection.

    Parameters
    ----------
    link, connection
        The seat, and who has it.
    say
        Called with a sentence for the trainer.
    leave
        Called when the trainee gives the seat back.
    """

    def __init__(
        self,
        link: Link,
        connection: ServerConnection,
        say: Callable[[str], None],
        leave: Callable[[], None],
    ) -> None:
        self._link, self._connection = link, connection
        self._say, self._leave = say, leave
        self._numbers: dict[int, int] = {}
        """Number of a request here -> its number at the trainee's."""

    async def serve(self) -> None:
        """Tells and listens until one of the two ends."""
        tasks = [asyncio.create_task(self._tell()), asyncio.create_task(self._hear())]
        done, left = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        for task in left:
            task.cancel()
        # of all: a failure that nobody has looked at would be told on the screen
        await asyncio.gather(*tasks, return_exceptions=True)
        for task in done:
            task.result()

    async def _send(self, kind: str, body: Any) -> None:
        await self._connection.send(encode(kind, body))

    async def _tell(self) -> None:
        link = self._link
        plant, record = link.plant, PastSender(link.plant)
        looked_at, last, work = None, list[Any](), None
        while True:
            if (frame := link.frame) is not looked_at:
                looked_at, packed = frame, pack_frame(frame, plant)
                # a number that changes alone says only that something is not seen
                if packed[1:] != last:
                    last = packed[1:]
                    await self._send("frame", packed)
            while (piece := record.next(link.past)) is not None:
                await self._send("past", piece)
            if (now := link.work) is not work and now is not None:
                work = now
                await self._send("work", pack_work(now))
            for answer in link.answers():
                to = self._numbers.pop(answer.to, None) if answer.to else 0
                if to is not None:
                    await self._send("answer", pack_answer(answer, to))
            if link.trouble:
                await self._send("end", "The trainer's ride has ended.")
                return
            await asyncio.sleep(PERIOD)

    async def _hear(self) -> None:
        try:
            async for message in self._connection:
                kind, body = decode(message)
                if kind == "leave":
                    self._leave()
                    return
                if kind != "ask":
                    raise PackingError("Only requests are accepted here.")
                number, request = unpack_request(body)
                refusal = self._refusal(request)
                if refusal:
                    await self._send("answer", pack_answer(Answer(number, False, refusal), number))
                else:
                    self._numbers[self._link.send(request)] = number
                await asyncio.sleep(BREATH)
        except PackingError as error:
            self._say(f"The trainee's terminal sent an invalid message: {error}")
            await refuse(self._connection, str(error))

    def _refusal(self, request: Request) -> str:
        """Why a trainee may not ask this; "" = it may."""
        if isinstance(request, TIME) and not self._link.keeps_time:
            return "Only the trainer can change the time of this ride."
        return ""


async def refuse(connection: ServerConnection, sentence: str, kind: str = "refused") -> None:
    """One sentence, then the connection is closed. "busy": it may try again later."""
    with suppress(ConnectionClosed):
        await connection.send(encode(kind, sentence))
    await connection.close()
