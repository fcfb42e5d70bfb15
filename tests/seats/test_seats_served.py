"""One connection that goes away while it is told and heard: nothing of it reaches the screen."""

from __future__ import annotations

import asyncio
import gc
from typing import Any

import pytest
from seats_bench import FakeSeat
from websockets.exceptions import ConnectionClosed, ConnectionClosedError

from pneumo.seats.served import Served


class Gone:
    """A connection whose other end is gone, for whoever sends and whoever receives."""

    async def send(self, message: str) -> None:
        raise ConnectionClosedError(None, None)

    def __aiter__(self) -> Gone:
        return self

    async def __anext__(self) -> str:
        raise ConnectionClosedError(None, None)


async def test_a_connection_that_goes_away_leaves_no_failure_behind() -> None:
    left: list[dict[str, Any]] = []
    asyncio.get_running_loop().set_exception_handler(lambda loop, context: left.append(context))
    served = Served(FakeSeat(), Gone(), lambda words: None, lambda: None)  # type: ignore[arg-type]
    with pytest.raises(ConnectionClosed):
        await served.serve()
    gc.collect()  # a failure that nobody has looked at is told when its task goes
    await asyncio.sleep(0)
    assert left == []
