"""What is hidden in files: obscured, or sealed by a passphrase.

Obscured is hidden from a glance, no more: anyone can open it. Sealed is encrypted and guarded
against changes by AES-256-GCM (NIST SP 800-38D) under a key that scrypt (RFC 7914) makes from a
passphrase; without it a guess takes as long as making one key.
"""

from __future__ import annotations

import base64
import binascii
import hmac
import os
import re
import unicodedata
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Protocol

from pneumo.errors import InputError, UnfinishedError

Ask = Callable[[], str]
"""Gives the passphrase, once it is known that one is needed."""

LONGEST = 2_000_000
"""Bytes of text that a seal may hold; bounds what a small, forged seal unpacks to."""

COST = (2**17, 8, 1)
"""n, r and p of scrypt for a new passphrase: 128 MiB, and about half a second on a small machine.
The figures are those that OWASP's sheet on storing passwords recommends (from memory)."""

MOST_MEMORY, MOST_WORK = 2**29, 2**23
"""What a key may take: 128·n·r bytes, and n·r·p blocks. A forged file asks for no more than 512 MiB
and a few seconds."""

SHORTEST_PASSPHRASE, LONGEST_PASSPHRASE = 8, 1000
"""Letters of a new passphrase at least, of any at most."""

NONCE = 16
"""Letters at the beginning of what is sealed that are its nonce (12 bytes), drawn anew each time:
2^32 of them are allowed under one key."""

_SALT, _CHECK, _NONCE = 16, 8, 12
"""Bytes."""

_STEP = 1024
"""Texts are filled up to a multiple of so many bytes: their length tells nothing."""


class Seal(Protocol):
    """How texts are hidden."""

    @property
    def encrypts(self) -> bool:
        """Whether it takes a passphrase to read them."""

    def seal(self, text: str) -> str:
        """A text as one word of letters and digits that `unseal` gives back."""

    def unseal(self, sealed: str) -> str:
        """The text that was sealed; spaces and line ends in the seal do not matter.

        Raises
        ------
        InputError
            When the seal is damaged, or holds more than `LONGEST` bytes.
        """

    def bound(self, to: str) -> Seal:
        """The same, for texts that belong to another text; one that is sealed opens only beside
        the text that it was sealed with."""


class Obscured:
    """Anyone can open it, and nothing is guarded."""

    @property
    def encrypts(self) -> bool:
        """See `Seal`."""
        return False

    def seal(self, text: str) -> str:
        """See `Seal`."""
        return _word(zlib.compress(text.encode("utf-8"), 9))

    def unseal(self, sealed: str) -> str:
        """See `Seal`."""
        try:
            packed = _bytes(sealed)
            unpacker = zlib.decompressobj()
            data = unpacker.decompress(packed, LONGEST + 1)
            _check_length(data)
            if not unpacker.eof or unpacker.unused_data:
                raise ValueError("cut short, or something follows")
            return data.decode("utf-8")
        except (zlib.error, ValueError):
            raise InputError(
                "The hidden part is damaged; use an undamaged copy of the file."
            ) from None

    def bound(self, to: str) -> Obscured:
        """See `Seal`."""
        return self


OBSCURED = Obscured()


@dataclass(frozen=True)
class Sealed:
    """Only who knows the passphrase can open it."""

    lock: Lock
    """How its key is made, to be kept beside what is sealed."""
    key: bytes
    to: bytes = b""
    """What the texts belong to."""

    @property
    def encrypts(self) -> bool:
        """See `Seal`."""
        return True

    def __repr__(self) -> str:
        """Without the key."""
        return f"Sealed({self.lock})"

    @cached_property
    def _cipher(self) -> Any:
        from cryptography.hazmat.primitives.ciphers.aead import AESGCM

        return AESGCM(self.key)

    def seal(self, text: str) -> str:
        """See `Seal`."""
        nonce = os.urandom(_NONCE)
        data = text.encode("utf-8") + b"\x80"
        data += bytes(-len(data) % _STEP)
        return _word(nonce + self._cipher.encrypt(nonce, data, self.to))

    def unseal(self, sealed: str) -> str:
        """See `Seal`."""
        from cryptography.exceptions import InvalidTag

        try:
            packed = _bytes(sealed)
            _check_length(packed)
            data = self._cipher.decrypt(packed[:_NONCE], packed[_NONCE:], self.to)
            return bytes(data).rstrip(b"\0").removesuffix(b"\x80").decode("utf-8")
        except (InvalidTag, ValueError):
            raise InputError(
                "The passphrase is right, but this was edited or damaged after it was sealed; "
                "use the file as it was."
            ) from None

    def bound(self, to: str) -> Sealed:
        """See `Seal`."""
        return Sealed(self.lock, self.key, to.encode("utf-8"))


@dataclass(frozen=True)
class Lock:
    """What stands openly beside what is sealed: how its key is made from the passphrase."""

    n: int
    r: int
    p: int
    """Cost of scrypt."""
    salt: bytes
    check: bytes
    """Tells a wrong passphrase from an edited file; it says nothing of the key."""

    def opened(self, passphrase: str) -> Sealed:
        """The seal of a passphrase.

        Raises
        ------
        InputError
            When it is not the passphrase.
        UnfinishedError
            When there is not enough memory to make the key.
        """
        made = derived(_prepared(passphrase), self.salt, self.n, self.r, self.p)
        if not hmac.compare_digest(made[-_CHECK:], self.check):
            raise InputError(
                "The passphrase is wrong, or what the file says of how it is sealed was changed. "
                "Nothing was opened."
            )
        return Sealed(self, made[:32])

    def fields(self) -> dict[str, str]:
        """As texts, for a file; `read_lock` gives it back."""
        return {
            "cipher": CIPHER, "key": KEY, "n": str(self.n), "r": str(self.r), "p": str(self.p),
            "salt": _word(self.salt), "check": _word(self.check),
        }  # fmt: skip


CIPHER, KEY = "AES-256-GCM", "scrypt"
LOCK_FIELDS = ("cipher", "key", "n", "r", "p", "salt", "check")


def read_lock(fields: dict[str, Any]) -> Lock:
    """A lock from the texts in a file.

    Raises
    ------
    InputError
        When it is none, or its key would take too much.
    """
    if fields.get("cipher") != CIPHER or fields.get("key") != KEY:
        raise InputError(f"It is sealed in a way that is not known here; known is {CIPHER}, {KEY}.")
    numbers = [str(fields.get(name, "")) for name in ("n", "r", "p")]
    if not all(re.fullmatch("[0-9]{1,8}", number) for number in numbers):
        raise InputError("n, r and p of scrypt must be whole numbers, such as 131072, 8 and 1.")
    n, r, p = map(int, numbers)
    fits = n & (n - 1) == 0 and min(n - 1, r, p) > 0
    if not fits or 128 * n * r > MOST_MEMORY or n * r * p > MOST_WORK:
        raise InputError(
            f"n = {n}, r = {r}, p = {p} of scrypt are out of range: n is a power of two, "
            f"128·n·r at most {MOST_MEMORY}, n·r·p at most {MOST_WORK}."
        )
    try:
        salt, check = _bytes(str(fields.get("salt", ""))), _bytes(str(fields.get("check", "")))
    except ValueError:
        salt = check = b""
    if len(salt) != _SALT or len(check) != _CHECK:
        raise InputError(f"salt and check must be {_SALT} and {_CHECK} bytes in base64.")
    return Lock(n, r, p, salt, check)


def new_seal(passphrase: str, cost: tuple[int, int, int] | None = None) -> Sealed:
    """The seal of a new passphrase, with a salt of its own.

    Raises
    ------
    InputError
        When the passphrase is too short, or too long.
    """
    if len(passphrase) < SHORTEST_PASSPHRASE:
        raise InputError(
            f"The passphrase is too short: write {SHORTEST_PASSPHRASE} letters or more. Some words "
            "in a row are good."
        )
    salt = os.urandom(_SALT)
    n, r, p = COST if cost is None else cost
    made = derived(_prepared(passphrase), salt, n, r, p)
    return Sealed(Lock(n, r, p, salt, made[-_CHECK:]), made[:32])


def derived(passphrase: bytes, salt: bytes, n: int, r: int, p: int) -> bytes:
    """64 bytes of scrypt (RFC 7914): the first 32 are the key, of the last the check is taken."""
    from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

    try:
        return Scrypt(salt=salt, length=64, n=n, r=r, p=p).derive(passphrase)
    except MemoryError:
        raise UnfinishedError(
            f"There is not enough memory to make the key: it takes {128 * n * r >> 20} MiB."
        ) from None


def _prepared(passphrase: str) -> bytes:
    """As bytes, the same however a keyboard composes its letters."""
    if len(passphrase) > LONGEST_PASSPHRASE:
        raise InputError(f"A passphrase has {LONGEST_PASSPHRASE} letters at most.")
    return unicodedata.normalize("NFC", passphrase).encode("utf-8")


def _word(data: bytes) -> str:
    return base64.b64encode(data).decode("ascii")


def _bytes(word: str) -> bytes:
    """Raises ValueError for what is none."""
    try:
        return base64.b64decode("".join(word.split()), validate=True)
    except binascii.Error as error:
        raise ValueError(str(error)) from None


def _check_length(data: bytes) -> None:
    if len(data) > LONGEST:
        raise InputError("The hidden part is far larger than in any drill; do not use the file.")
