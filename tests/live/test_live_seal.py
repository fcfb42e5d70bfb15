"""Sealed texts."""

from __future__ import annotations

import base64
import zlib

import pytest

from pneumo.errors import InputError
from pneumo.live import seal as module
from pneumo.live.seal import seal, unseal


@pytest.mark.parametrize("text", ["", "fault trim_hose_2 leak 2 mm", "größer ≥ 3 mm\n", "x" * 5000])
def test_a_seal_gives_its_text_back_and_does_not_show_it(text: str) -> None:
    sealed = seal(text)
    assert unseal(sealed) == text
    assert sealed.isascii() and sealed.isprintable() and " " not in sealed
    assert all(word not in sealed for word in text.split())


def test_a_seal_may_be_broken_into_lines() -> None:
    sealed = seal("fault trim_hose_2 leak 2 mm over 3 s")
    assert unseal("\n  ".join((sealed[:10], sealed[10:]))) == "fault trim_hose_2 leak 2 mm over 3 s"


@pytest.mark.parametrize(
    "sealed",
    [
        "%%%",
        "abc",
        base64.b64encode(b"no zlib stream").decode(),
        seal("fault trim_hose_2 leak")[:-8],
        base64.b64encode(zlib.compress(b"\xff\xfe")).decode(),
        base64.b64encode(zlib.compress(b"text") + b"more").decode(),
    ],
)
def test_a_damaged_seal_is_refused_in_one_sentence(sealed: str) -> None:
    with pytest.raises(InputError, match="hidden part is damaged") as caught:
        unseal(sealed)
    assert "\n" not in str(caught.value)


def test_a_flipped_letter_is_noticed() -> None:
    sealed = seal("fault trim_hose_2 leak 2 mm over 3 s")
    place = len(sealed) // 2
    other = "A" if sealed[place] != "A" else "B"
    with pytest.raises(InputError):
        unseal(sealed[:place] + other + sealed[place + 1 :])


def test_a_small_seal_cannot_unpack_to_a_mountain(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "LONGEST", 1000)
    assert unseal(seal("x" * 1000)) == "x" * 1000
    with pytest.raises(InputError, match="far larger"):
        unseal(seal("x" * 1001))
