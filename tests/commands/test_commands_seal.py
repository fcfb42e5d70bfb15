"""Drills that are sealed by a passphrase, on the command line."""

from __future__ import annotations

import getpass
import sys
from pathlib import Path

import numpy as np
import pytest
from command_bench import CIRCUITS, TRIM, pneumo
from test_commands_drill import BRIEF, script

from pneumo.cli import build_parser
from pneumo.commands import passphrase, serve
from pneumo.commands.opened import open_ride, opening
from pneumo.errors import InputError, UnfinishedError
from pneumo.live import seal
from pneumo.live.drill import drill_text, read_drill
from pneumo.live.journal import Act
from pneumo.live.request import Do
from pneumo.live.seat import SEEN_EVENTS
from pneumo.live.session import Session
from pneumo.record.reading import continuation, recorded
from pneumo.scenario.plant import SimulationError

Capture = pytest.CaptureFixture[str]

WORDS = "seven red kites"
SHORT = "downtime: {hint: 10 s, soap: 10 s, command: 5 s}\n"
"""Work that is done soon, so that tests are."""

TELLING = (b"leak 4 mm", b"hose_1 leak", b"Use your ears")
"""What must stand in no file while a drill is played, whose lines do not say it themselves; too
long to come about by chance among letters that mean nothing."""


@pytest.fixture(autouse=True)
def own_state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Records and history of a test are its own; keys are made at once."""
    state = tmp_path / "state"
    monkeypatch.setenv("XDG_STATE_HOME", str(state))
    monkeypatch.delenv(passphrase.VARIABLE, raising=False)
    monkeypatch.setattr(seal, "COST", (16, 1, 1))
    return state


@pytest.fixture
def plain(tmp_path: Path) -> Path:
    """A drill as its trainer writes it, before it is sealed."""
    text = (CIRCUITS / f"{TRIM}.yaml").read_text(encoding="utf-8") + SHORT
    acts = [Act(1.0, "trainer", "fault hose_1 leak 4 mm", True, 1.0)]
    path = tmp_path / "plain.yaml"
    path.write_text(drill_text(text, acts, 2.0, "a hiss", BRIEF, plain=True), encoding="utf-8")
    return path


@pytest.fixture
def words(tmp_path: Path) -> str:
    path = tmp_path / "passphrase"
    path.write_text(f"{WORDS}\nnot this\n", encoding="utf-8")
    return str(path)


@pytest.fixture
def sealed(plain: Path, words: str, tmp_path: Path, capsys: Capture) -> Path:
    path = tmp_path / "sealed.yaml"
    done = pneumo(capsys, "seal", str(plain), "--to", str(path), "--passphrase-file", words)
    assert (done.code, done.err) == (0, "") and "Keep the passphrase" in done.out
    return path


def test_a_plain_drill_is_sealed_and_made_plain_again(
    plain: Path, sealed: Path, words: str, tmp_path: Path, capsys: Capture
) -> None:
    assert "hidden: yes" in plain.read_text(encoding="utf-8")
    assert "hints:" in plain.read_text(encoding="utf-8")
    found = read_drill(sealed, lambda: WORDS)
    assert (found.acts, found.brief) == (read_drill(plain).acts, BRIEF)
    assert not any(word in sealed.read_bytes().split(b"document:")[0] for word in TELLING)
    for how, to in (("plain", "p.yaml"), ("obscured", "o.yaml")):
        target = tmp_path / to
        options = ("--as", how, "--to", str(target), "--passphrase-file", words)
        done = pneumo(capsys, "seal", str(sealed), *options)
        assert (done.code, done.err) == (0, "")
        assert read_drill(target).acts == found.acts and read_drill(target).brief == BRIEF
    assert (tmp_path / "p.yaml").read_bytes() == plain.read_bytes()


def test_what_is_obscured_is_not_opened_by_a_command(
    plain: Path, words: str, tmp_path: Path, capsys: Capture
) -> None:
    obscured, target = tmp_path / "o.yaml", tmp_path / "x.yaml"
    assert not pneumo(capsys, "seal", str(plain), "--as", "obscured", "--to", str(obscured)).code
    for drill in (str(obscured), "drill_1"):
        for how in ("plain", "sealed", "obscured"):
            options = ("--as", how, "--to", str(target), "--passphrase-file", words)
            done = pneumo(capsys, "seal", drill, *options)
            assert (
                done.code == 2 and "not shown to whoever asks" in done.err and not target.exists()
            )


def test_a_file_that_holds_something_else_is_not_written_over(
    plain: Path, words: str, tmp_path: Path, capsys: Capture
) -> None:
    mine = tmp_path / "mine.txt"
    mine.write_text("mine")
    for target, says in ((mine, "not a drill"), (plain, "the document itself")):
        before = target.read_bytes()
        done = pneumo(capsys, "seal", str(plain), "--to", str(target), "--passphrase-file", words)
        assert done.code == 2 and says in done.err and done.err.count("\n") == 1
        assert target.read_bytes() == before
    assert pneumo(capsys, "seal", TRIM, "--to", str(tmp_path / "x.yaml")).code == 2


def test_a_sealed_drill_is_played_and_its_files_tell_nothing(
    sealed: Path, words: str, tmp_path: Path, own_state: Path, capsys: Capture
) -> None:
    begun = script(tmp_path, "begin\nclose trim\nsoap hose_2\nhint\nfinding hose_2 burst\n")
    done = pneumo(capsys, "drill", str(sealed), "--passphrase-file", words, "--script", begun)
    assert done.code == 1 and "--continue" in done.err
    written = [path for path in own_state.rglob("*") if path.is_file()]
    assert written
    for path in written:
        # the ride's own document names every kind of fault that it allows, of no part
        assert not any(word in path.read_bytes() for word in TELLING), path
    # and goes on by the same passphrase only
    (run,) = own_state.rglob("*.run")
    rest = script(tmp_path, "give up\n")
    going_on = ("drill", "--continue", str(run), "--script", rest)
    refused = pneumo(capsys, *going_on)
    assert refused.code == 2 and "sealed by a passphrase" in refused.err
    done = pneumo(capsys, *going_on, "--passphrase-file", words)
    assert done.code == 1 and "WRONG" in done.out and "hose_1 leak 4 mm" in done.out
    assert not any(word in run.read_bytes() for word in TELLING)


@pytest.mark.parametrize("command", ["check", "drill", "seal --to x.yaml --as plain"])
def test_a_wrong_passphrase_is_one_message_and_loses_nothing(
    command: str, sealed: Path, tmp_path: Path, own_state: Path, capsys: Capture
) -> None:
    name, *options = command.split()
    wrong = tmp_path / "wrong"
    wrong.write_text("seven red kite")
    before = sealed.read_bytes()
    done = pneumo(capsys, name, str(sealed), *options, "--passphrase-file", str(wrong))
    assert done.code == 2 and done.out == ""
    assert "The passphrase is wrong" in done.err and done.err.count("\n") == 1
    assert sealed.read_bytes() == before and not own_state.exists()


def test_where_nobody_can_be_asked_it_says_what_to_do(
    sealed: Path, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    done = pneumo(capsys, "check", str(sealed))
    assert done.code == 2 and "--passphrase-file, or set PNEUMO_PASSPHRASE" in done.err
    for name, content in (
        ("none", None),
        ("empty", b""),
        ("bytes", b"\xff\xfe"),
        ("big", b"x" * 20000),
    ):
        path = tmp_path / name
        if content is not None:
            path.write_bytes(content)
        done = pneumo(capsys, "check", str(sealed), "--passphrase-file", str(path))
        assert done.code == 2 and str(path) in done.err and done.err.count("\n") == 1
    monkeypatch.setenv(passphrase.VARIABLE, WORDS)
    assert pneumo(capsys, "check", str(sealed)).code == 0


def test_at_a_terminal_it_is_asked_for_and_a_new_one_twice(
    plain: Path, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    prompts: list[str] = []
    typed = iter(["one passphrase", "another one", WORDS, WORDS, WORDS])

    def answered(prompt: str) -> str:
        prompts.append(prompt)
        return next(typed)

    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(getpass, "getpass", answered)
    target = tmp_path / "x.yaml"
    done = pneumo(capsys, "seal", str(plain), "--to", str(target))
    assert done.code == 2 and "differ; nothing was written" in done.err and not target.exists()
    assert pneumo(capsys, "seal", str(plain), "--to", str(target)).code == 0
    assert pneumo(capsys, "check", str(target)).code == 0
    assert len(prompts) == 5 and str(target) in prompts[0] and str(target) in prompts[-1]


def test_the_dashboard_reads_a_sealed_drill_before_its_screen(sealed: Path, words: str) -> None:
    options = build_parser().parse_args(
        ["dashboard", str(sealed), "--passphrase-file", words, "--host"]
    )
    start = opening(options, None)()
    assert start.seal.encrypts and start.acts and start.seat == "trainer"
    without = build_parser().parse_args(["dashboard", str(sealed)])
    with pytest.raises(InputError, match="sealed by a passphrase"):
        opening(without, None)


def test_the_trainers_record_of_a_sealed_drill_tells_no_more_than_the_trainees(
    sealed: Path, words: str, own_state: Path
) -> None:
    options = build_parser().parse_args(
        ["dashboard", str(sealed), "--passphrase-file", words, "--host"]
    )
    start = opening(options, None)()
    driver, record = open_ride(start, [], keeps=True)
    trainer = driver.seat("trainer", keeps_time=True)
    trainer.send(Do("fault hose_2 burst", hidden=True))
    driver._turn(0.1)
    assert record is not None and [fault for fault in trainer.frame.faults if fault.hidden]
    driver._kept.close()
    kept = recorded(record.path)
    assert np.isnan(kept.values).any(axis=0).any() and not np.isnan(kept.values).all()
    assert {event.kind for event in kept.events} <= SEEN_EVENTS
    for path in own_state.rglob("*"):
        assert not path.is_file() or not any(
            word in path.read_bytes() for word in (*TELLING, b"hose_2 burst", b"FaultInjected")
        )
    assert [a.sentence for a in continuation(record.path, lambda: WORDS).acts][-1] == (
        "fault hose_2 burst"
    )


def test_a_ride_that_stops_before_the_drill_begins_tells_a_trainee_nothing(
    sealed: Path, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stops(self: Session, *arguments: object, **others: object) -> None:
        raise SimulationError("The integration stopped at 1 s near hose_1.")

    monkeypatch.setattr(Session, "restart", stops)
    told = []
    for seat in ([], ["--host"]):
        line = ["dashboard", str(sealed), "--passphrase-file", words, *seat]
        start = opening(build_parser().parse_args(line), None)()
        with pytest.raises(UnfinishedError) as caught:
            open_ride(start, [], keeps=False)
        told.append("hose_1" in str(caught.value))
    assert told == [False, True]


def test_a_served_drill_hands_its_passphrase_to_the_pages(
    sealed: Path, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(passphrase.VARIABLE, "")  # is put back at the end
    options = build_parser().parse_args(["serve", str(sealed), "--passphrase-file", words])
    assert serve._title(options, sealed) == "a hiss"
    page = build_parser().parse_args(["dashboard", str(sealed)])
    assert opening(page, None)().drill == "a hiss"
