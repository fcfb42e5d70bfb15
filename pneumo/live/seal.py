"""Sealed texts: hidden from a glance at a file, no more. It is no lock: anyone can open it."""

from __future__ import annotations

import base64
import binascii
import zlib

from pneumo.errors import InputError

LONGEST = 2_000_000
"""Bytes of text that a seal may hold; bounds what a small, forged seal unpacks to."""


def seal(text: str) -> str:
    """A text as one word of letters and digits that `unseal` gives back."""
    return base64.b64encode(zlib.compress(text.encode("utf-8"), 9)).decode("ascii")


def unseal(sealed: str) -> str:
    """The text that was sealed; spaces and line ends in the seal do not matter.

    Raises
    ------
    InputError
        When the seal is damaged, or holds more than `LONGEST` bytes.
    """
    try:
        packed = base64.b64decode("".join(sealed.split()), validate=True)
        unpacker = zlib.decompressobj()
        data = unpacker.decompress(packed, LONGEST + 1)
        if len(data) > LONGEST:
            raise InputError(
                "The hidden part is far larger than in any drill; do not use the file."
            )
        if not unpacker.eof or unpacker.unused_data:
            raise ValueError("cut short, or something follows")
        return data.decode("utf-8")
    except (binascii.Error, zlib.error, ValueError):
        raise InputError("The hidden part is damaged; use an undamaged copy of the file.") from None
