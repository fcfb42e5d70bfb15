"""Tests of pneumo drill new."""

from __future__ import annotations

from pathlib import Path

import pytest
from command_bench import CIRCUITS, apart, pneumo
from diagnosis_rides import RIDE, library

from pneumo.cli import build_parser
from pneumo.commands import passphrase
from pneumo.diagnosis import store
from pneumo.live import seal
from pneumo.live.drill import read_drill
from pneumo.making import drill as making

Capture = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def own_library(monkeypatch: pytest.MonkeyPatch) -> None:
    """The library of the tests, which is calculated once; keys are made at once."""
    monkeypatch.setattr(store, "library_of", lambda *of: library())
    monkeypatch.delenv(passphrase.VARIABLE, raising=False)
    monkeypatch.setattr(seal, "COST", (16, 1, 1))
    monkeypatch.setattr(making, "MOST_DRAWS", 1)


def test_a_drill_is_written_obscured_or_sealed(
    tmp_path: Path, capsys: Capture, compiled: None
) -> None:
    path, sealed, words = (tmp_path / name for name in ("a.yaml", "b.yaml", "words"))
    words.write_text("seven red kites\n")
    line = ("drill", "new", RIDE, "--level", "1", "--seed", "35", "--to")
    code, out, err = pneumo(capsys, *line, str(path))
    assert code == 0 and "a drill of level 1" in out and "obscured, not encrypted" in out
    assert err.splitlines()[-1].startswith("Fault 1: level 1.")
    drill = read_drill(path)
    assert drill.ride == RIDE and drill.brief.level == 1 and drill.obscured
    (hidden,) = (act for act in drill.acts if act.hidden)
    assert hidden.sentence not in path.read_text() + out + err
    code, out, _ = pneumo(capsys, *line, str(sealed), "--sealed", "--passphrase-file", str(words))
    assert code == 0 and "keep the passphrase" in out
    assert read_drill(sealed, lambda: "seven red kites").acts == drill.acts


def test_what_makes_no_drill_is_bad_input(tmp_path: Path, capsys: Capture, compiled: None) -> None:
    path = tmp_path / "a.yaml"
    own = tmp_path / "ride.yaml"
    own.write_bytes((CIRCUITS / f"{RIDE}.yaml").read_bytes())
    line = ("drill", "new", str(own), "--seed", "16", "--level")
    code, _, err = pneumo(capsys, *line, "5", "--to", str(path))
    assert code == 2 and " faults drawn by seed 16 makes a drill of level 5" in err
    assert not path.exists()
    assert pneumo(capsys, *line, "6", "--to", str(path)).code == 2
    assert pneumo(capsys, *line, "4", "--to", str(own)).code == 2  # never into the document
    own.write_text(own.read_text().partition("zones:")[0])
    code, _, err = pneumo(capsys, *line, "4", "--to", str(path))
    assert code == 2 and "neither a zone nor gates" in err
    own.write_bytes((CIRCUITS / f"{RIDE}.yaml").read_bytes())
    path.write_text("notes of mine\n")
    code, _, err = pneumo(capsys, *line, "4", "--to", str(path))
    assert code == 2 and "this file is not a drill" in err
    assert path.read_text() == "notes of mine\n"


def test_new_is_no_file() -> None:
    parse = build_parser().parse_args
    line = ["new", "ride.yaml", "--level", "1", "--seed", "2", "--to", "a.yaml"]
    assert parse(["--debug", "drill", *line]).command == "drill-new"
    assert parse(["drill", "./new"]).file == "./new"
    assert "pneumo drill new " in apart("drill", "new", "--help").out
