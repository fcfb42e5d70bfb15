"""What views tell the app. One message for one thing; the app alone talks to the ride."""

from __future__ import annotations

from textual.message import Message

from pneumo.live.request import Request


class Ask(Message):
    """A view wants something of the ride."""

    def __init__(self, request: Request, sure: bool = False) -> None:
        self.request = request
        self.sure = sure
        """True: the person has seen the cautions and confirmed."""
        super().__init__()


class Pick(Message):
    """A component was picked: other views show the same one."""

    def __init__(self, component: str) -> None:
        self.component = component
        super().__init__()


class Moved(Message):
    """Another row of the board of a class is chosen, or there is another room for it."""
