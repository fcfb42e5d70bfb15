"""Sealed texts."""

from __future__ import annotations

import base64
import hashlib
import zlib
from dataclasses import replace
from typing import Any

import pytest

from pneumo.errors import InputError
from pneumo.live import seal as module
from pneumo.live.seal import OBSCURED, Lock, Seal, Sealed, derived, new_seal, read_lock

CHEAP = (2**4, 1, 1)
"""A cost that suits tests."""

WORDS = "seven red kites"
FAULT = "fault trim_hose_2 leak 2 mm over 3 s"


def sealed() -> Sealed:
    return new_seal(WORDS, CHEAP)


@pytest.mark.parametrize("seal", [OBSCURED, sealed()], ids=["obscured", "sealed"])
@pytest.mark.parametrize(
    "text", ["", "fault trim_hose_2 leak 2 mm", "größer ≥ 3 mm\n\0 ", "x" * 5000]
)
def test_a_seal_gives_its_text_back_and_does_not_show_it(text: str, seal: Seal) -> None:
    word = seal.seal(text)
    assert seal.unseal(word) == text
    assert seal.unseal("\n  ".join((word[:10], word[10:]))) == text
    assert word.isascii() and word.isprintable() and " " not in word
    assert all(each not in word for each in text.split() if len(each) > 6)


@pytest.mark.parametrize(
    "word",
    [
        "%%%",
        "abc",
        base64.b64encode(b"no zlib stream").decode(),
        OBSCURED.seal("fault trim_hose_2 leak")[:-8],
        base64.b64encode(zlib.compress(b"\xff\xfe")).decode(),
        base64.b64encode(zlib.compress(b"text") + b"more").decode(),
    ],
)
def test_a_damaged_seal_is_refused_in_one_sentence(word: str) -> None:
    for seal, says in ((OBSCURED, "hidden part is damaged"), (sealed(), "edited or damaged")):
        with pytest.raises(InputError, match=says) as caught:
            seal.unseal(word)
        assert "\n" not in str(caught.value)


@pytest.mark.parametrize("seal", [OBSCURED, sealed()], ids=["obscured", "sealed"])
def test_a_flipped_letter_is_noticed(seal: Seal) -> None:
    word = seal.seal(FAULT)
    for place in (3, len(word) // 2, len(word) - 9):
        other = "A" if word[place] != "A" else "B"
        with pytest.raises(InputError):
            seal.unseal(word[:place] + other + word[place + 1 :])


def test_a_small_seal_cannot_unpack_to_a_mountain(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "LONGEST", 1000)
    assert OBSCURED.unseal(OBSCURED.seal("x" * 1000)) == "x" * 1000
    with pytest.raises(InputError, match="far larger"):
        OBSCURED.unseal(OBSCURED.seal("x" * 1001))


# by a passphrase


def test_only_the_passphrase_opens_it_however_its_letters_are_composed() -> None:
    seal = new_seal("größe kites", CHEAP)
    word = seal.seal(FAULT)
    again = read_lock(seal.lock.fields())
    assert again == seal.lock
    assert again.opened("gro\u0308ße kites").unseal(word) == FAULT
    for wrong in ("grosse kites", "größe kites ", ""):
        with pytest.raises(InputError, match="passphrase is wrong, or what the file says"):
            again.opened(wrong)


def test_what_belongs_to_another_text_does_not_open() -> None:
    seal = sealed()
    word = seal.bound("title").seal(FAULT)
    assert seal.bound("title").unseal(word) == FAULT
    for other in (seal, seal.bound("tytle"), seal.bound("")):
        with pytest.raises(InputError, match="passphrase is right, but this was edited"):
            other.unseal(word)


def test_neither_length_nor_repetition_tells_anything() -> None:
    seal = sealed()
    words = [seal.seal(text) for text in ("", FAULT, FAULT, FAULT * 20)]
    assert len({len(word) for word in words}) == 1
    assert len({word[: module.NONCE] for word in words}) == len(set(words)) == 4


def test_a_key_is_shown_nowhere() -> None:
    seal = sealed()
    for shown in (repr(seal), repr(seal.bound("x")), str(seal.lock.fields())):
        assert repr(seal.key)[2:-1] not in shown and seal.key.hex() not in shown
        assert base64.b64encode(seal.key).decode() not in shown


def test_a_new_passphrase_has_a_salt_of_its_own_and_some_letters() -> None:
    one, two = sealed(), sealed()
    assert one.lock.salt != two.lock.salt and one.key != two.key
    assert replace(one.lock, n=2**17, r=8) == Lock(*module.COST, one.lock.salt, one.lock.check)
    for wrong, says in (("short", "too short"), ("x" * 1001, "1000 letters at most")):
        with pytest.raises(InputError, match=says):
            new_seal(wrong, CHEAP)


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("n", str(2**23), "out of range"),
        ("n", "100000", "out of range"),
        ("n", "1", "out of range"),
        ("n", "0", "out of range"),
        ("r", "9999999", "out of range"),
        ("r", "0", "out of range"),
        ("p", "1000000", "out of range"),
        ("p", "-1", "whole numbers"),
        ("n", "9" * 5000, "whole numbers"),
        ("n", "²", "whole numbers"),
        ("n", [], "whole numbers"),
        ("salt", "", "16 and 8 bytes"),
        ("salt", "%", "16 and 8 bytes"),
        ("check", "AAAA", "16 and 8 bytes"),
        ("cipher", "ROT13", "not known here"),
        ("key", "none", "not known here"),
    ],
)
def test_a_forged_lock_is_refused_before_a_key_is_made(
    field: str, value: Any, says: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    fields: dict[str, Any] = new_seal(WORDS, CHEAP).lock.fields()
    assert read_lock({**fields, "n": str(2**17), "r": "8"})

    def never(*arguments: object) -> bytes:
        raise AssertionError("a key was made")

    monkeypatch.setattr(module, "derived", never)
    with pytest.raises(InputError, match=says) as caught:
        read_lock({**fields, field: value})
    assert "\n" not in str(caught.value) and len(str(caught.value)) < 200


# published values, from memory; hashlib agrees with those of scrypt


@pytest.mark.parametrize(
    ("passphrase", "salt", "cost", "made"),
    [
        (
            b"", b"", (16, 1, 1),
            "77d6576238657b203b19ca42c18a0497f16b4844e3074ae8dfdffa3fede21442"
            "fcd0069ded0948f8326a753a0fc81f17e8d3e0fb2e0d3628cf35e20c38d18906",
        ),
        (
            b"password", b"NaCl", (1024, 8, 16),
            "fdbabe1c9d3472007856e7190d01e9fe7c6ad7cbc8237830e77376634b373162"
            "2eaf30d92e22a3886ff109279d9830dac727afb94a83ee6d8360cbdfa2cc0640",
        ),
    ],
)  # fmt: skip
def test_keys_are_those_of_rfc_7914(
    passphrase: bytes, salt: bytes, cost: tuple[int, int, int], made: str
) -> None:
    """RFC 7914, section 12."""
    n, r, p = cost
    assert derived(passphrase, salt, *cost).hex() == made
    assert hashlib.scrypt(passphrase, salt=salt, n=n, r=r, p=p, dklen=64).hex() == made


GCM: dict[int, tuple[str, str, str, str, str, str]] = {
    14: ("00" * 32, "00" * 12, "", "00" * 16, "cea7403d4d606b6e074ec5d3baf39d18",
         "d0d1c8a799996bf0265b98b5d48ab919"),
    16: ("feffe9928665731c6d6a8f9467308308" * 2, "cafebabefacedbaddecaf888",
         "feedfacedeadbeeffeedfacedeadbeefabaddad2",
         "d9313225f88406e5a55909c5aff5269a86a7a9531534f7da2e4c303d8a318a72"
         "1c3c0c95956809532fcf0e2449a6b525b16aedf5aa0de657ba637b39",
         "522dc1f099567d07f47f37a32a84427d643a8cdcbfe5c0c97598a2bd2555d1aa"
         "8cb08e48590dbb3da7b08b1056828838c5f61e6393ba7a0abcc9f662",
         "76fc6ece0f4e1768cddf8853bb2d551b"),
}  # fmt: skip
"""Case -> key, nonce, what it belongs to, text, sealed text, tag."""


@pytest.mark.parametrize("case", GCM)
def test_texts_are_sealed_as_in_the_cases_of_gcm(case: int) -> None:
    """McGrew and Viega, The Galois/Counter Mode of Operation, appendix B."""
    key, nonce, to, text, hidden, tag = map(bytes.fromhex, GCM[case])
    seal = Sealed(sealed().lock, key, to)
    assert seal._cipher.encrypt(nonce, text, to) == hidden + tag
    word = base64.b64encode(nonce + hidden + tag).decode()
    if case == 14:  # its text is filled up with zeros, and nothing else
        assert seal.unseal(word) == ""
    with pytest.raises(InputError):
        Sealed(seal.lock, key, to + b"x").unseal(word)
