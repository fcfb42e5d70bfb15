"""The code that lets a trainee in, and how often it may be guessed."""

from __future__ import annotations

import secrets
from collections import deque
from collections.abc import Callable

_LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Five bits each; I, L, O and U are left out, since they are mistaken for others."""

_ALIKE = str.maketrans("ILO", "110", "- \t")

_LENGTH = 3
"""Letters of a group."""

SEAT, CLASS = 3, 4
"""Groups of a code: one that is used up by whoever joins has 45 bits, that of a class, which is
good as long as the class is, 60."""

WINDOW = 60.0
"""Wrong codes are counted over this time [s]."""

MOST_OF_ONE, MOST_OF_ALL = 5, 30
"""Wrong codes in that time from one address, and from all."""


def new_code(groups: int = SEAT) -> str:
    """ "7K2-QMX-4TD"."""
    words = ("".join(secrets.choice(_LETTERS) for _ in range(_LENGTH)) for _ in range(groups))
    return "-".join(words)


def is_of_class(code: str) -> bool:
    """Whether a code lets in to a class, where everybody has a name."""
    return len(plain(code)) == CLASS * _LENGTH


def new_token() -> str:
    """What lets a trainee whose connection was cut in again."""
    return secrets.token_urlsafe(24)


def plain(code: str) -> str:
    """A code as it is compared: however it was spaced, in whatever letters."""
    return code.upper().translate(_ALIKE)


def same(given: str, wanted: str) -> bool:
    """True for equal texts; takes the same time for all wrong ones."""
    return secrets.compare_digest(given.encode(), wanted.encode())


class Guesses:
    """Wrong codes of late, and whether an address has to wait.

    Parameters
    ----------
    clock
        Time that only goes forward [s].
    """

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._wrong: deque[tuple[float, str]] = deque()

    def wrong(self, address: str) -> None:
        """Notes a wrong code."""
        self._wrong.append((self._clock(), address))

    def must_wait(self, address: str) -> bool:
        """True when an address has to wait before it may try again."""
        while self._wrong and self._wrong[0][0] <= self._clock() - WINDOW:
            self._wrong.popleft()
        of_one = sum(1 for _, other in self._wrong if other == address)
        return of_one >= MOST_OF_ONE or len(self._wrong) >= MOST_OF_ALL
