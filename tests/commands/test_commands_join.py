"""Tests of pneumo join: what it says before there is a seat. The seat itself: dashboard's tests."""

from __future__ import annotations

from pathlib import Path

import pytest
from command_bench import apart, pneumo
from terminal_bench import NORMAL, opened

from pneumo.errors import InputError
from pneumo.live.link import Link
from pneumo.live.preparation import Preparation
from pneumo.seats.address import invited_to, is_loopback, parse_address

Capture = pytest.CaptureFixture[str]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("127.0.0.1", ("127.0.0.1", 8470)),
        ("pier.local:9000", ("pier.local", 9000)),
        (":9000", ("127.0.0.1", 9000)),
        ("", ("127.0.0.1", 8470)),
        ("::1", ("::1", 8470)),
        ("[::1]", ("::1", 8470)),
        ("[::1]:9000", ("::1", 9000)),
    ],
)
def test_addresses(text: str, found: tuple[str, int]) -> None:
    assert parse_address(text, 8470) == found


@pytest.mark.parametrize(
    "text", ["a b", "host:port", "host:99999", "[::1", "[1:2]", "http://h", "a:1:2"]
)
def test_what_is_no_address(text: str) -> None:
    with pytest.raises(InputError, match="no address"):
        parse_address(text, 8470)


def test_who_can_reach_an_address() -> None:
    assert all(map(is_loopback, ("127.0.0.1", "127.8.8.8", "::1", "localhost")))
    assert not any(map(is_loopback, ("0.0.0.0", "192.0.2.1", "::", "pier.local", "")))


def test_what_to_write_elsewhere() -> None:
    assert invited_to("192.0.2.1", 8470) == "192.0.2.1:8470"
    assert invited_to("::1", 8470) == "[::1]:8470"
    assert not invited_to("0.0.0.0", 8470).startswith("0.0.0.0")


def test_a_script_gets_a_sentence() -> None:
    done = apart("join", "127.0.0.1")
    assert (done.code, done.out) == (2, "")
    assert done.err.startswith("pneumo: The trainee's seat needs a terminal")


def test_a_wrong_address_is_said_before_the_code_is_asked(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TEXTUAL_DRIVER", "textual.drivers.headless_driver:HeadlessDriver")
    code, out, err = pneumo(capsys, "join", "a b")
    assert (code, out) == (2, "") and "is no address" in err


@pytest.mark.parametrize(
    ("code", "asked"), [("7K2-QMX-4TD", 1), ("7k2 qmx 4td 9pc", 2)], ids=["a ride", "a class"]
)
def test_a_name_is_asked_for_by_the_code_of_a_class(
    code: str, asked: int, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    prompts: list[str] = []
    joined: list[object] = []

    def typed(prompt: str) -> str:
        prompts.append(prompt)
        return code if len(prompts) == 1 else " Ann Sorley "

    def joins(*arguments: object) -> None:
        joined.extend(arguments)
        raise InputError("Nobody is there.")

    def show(app: object, preparation: Preparation[Link]) -> int:
        preparation.begin()
        assert preparation.wait(60)
        assert preparation.error is not None
        raise preparation.error

    monkeypatch.setenv("TEXTUAL_DRIVER", "textual.drivers.headless_driver:HeadlessDriver")
    monkeypatch.setattr("builtins.input", typed)
    monkeypatch.setattr("pneumo.seats.join.join", joins)
    monkeypatch.setattr("pneumo.commands.join.show", show)
    assert pneumo(capsys, "join", "192.0.2.7").err == "pneumo: Nobody is there.\n"
    assert len(prompts) == asked
    assert joined == ["192.0.2.7", 8470, code, "Ann Sorley" if asked == 2 else ""]


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("\n", "No code was given"),
        ("\x04", "No code was given"),
        ("ABC\n", "No trainer offers a seat"),
    ],
)
def test_without_a_code_or_a_host(tmp_path: Path, typed: str, words: str) -> None:
    terminal = opened(tmp_path, "join", "127.0.0.1:9")
    terminal.wait_for("Code that the trainer's screen shows")
    assert "…Code" not in terminal.text and "\r\x1b[KCode" in terminal.raw  # a line of its own
    terminal.type(typed)
    assert terminal.end() == 2
    # said where it stays: not on a screen that is taken away
    _, _, told = terminal.raw.rpartition(NORMAL)
    assert words in " ".join(told.split())
    assert terminal.restored and "Traceback" not in terminal.text
    terminal.close()
