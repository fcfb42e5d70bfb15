"""What other programs call: `pneumo.load`, `pneumo.run`, `pneumo.verify`."""

from __future__ import annotations

import importlib.util
import re
import subprocess
import sys
from pathlib import Path

import pytest

import pneumo
from pneumo import api
from pneumo.scenario.event import RunEvent
from pneumo.scenario.play import Play

BLOCK = "02_spring_close_single"

README = Path(__file__).parents[1] / "README.md"


def test_the_example_of_the_readme_runs(tmp_path: Path) -> None:
    (example,) = re.findall(
        r"^```python\n(.*?)^```", README.read_text(encoding="utf-8"), re.M | re.S
    )
    assert len(example.splitlines()) <= 16
    done = subprocess.run(
        [sys.executable, "-c", example], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("block unsafe ")


def test_importing_it_loads_nothing_and_a_slip_is_told() -> None:
    code = "import pneumo, sys; print(*(m for m in sys.modules if m.startswith('pneumo')))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["pneumo"]
    with pytest.raises(AttributeError, match="no attribute 'lod'"):
        pneumo.lod  # noqa: B018


def test_it_is_typed_and_names_what_it_has() -> None:
    spec = importlib.util.find_spec("pneumo")
    assert spec is not None and spec.origin is not None
    assert (Path(spec.origin).parent / "py.typed").is_file()
    assert sorted(pneumo.__all__) == sorted(api.__all__)
    assert all(getattr(pneumo, name) is getattr(api, name) for name in api.__all__)


def test_a_run_gives_records_and_signals() -> None:
    circuit = pneumo.load(BLOCK)
    run = pneumo.run(circuit, scenario="let a train pass", until=2.0, step=0.5)
    assert run.now == 2.0 and run.times == (0.0, 0.5, 1.0, 1.5, 2.0)
    assert all(isinstance(event, RunEvent) for event in run.events)
    assert {signal.unit for signal in run.signals} == {"Pa", "m", "N"}
    assert all(len(signal.values) == len(run.times) for signal in run.signals)
    assert list(run.zones) == list(circuit.zones)
    assert pneumo.run(circuit, until=1.0).times == ()


def test_wrong_input_is_told() -> None:
    circuit = pneumo.load(BLOCK)
    with pytest.raises(pneumo.InputError, match="neither a file nor"):
        pneumo.load("02_spring_close_sinlge")
    with pytest.raises(pneumo.InputError, match="Did you mean 'valve'"):
        pneumo.run(circuit, faults=["valv stuck"])
    with pytest.raises(pneumo.InputError, match="above 0 s"):
        pneumo.run(circuit, until=float("nan"))
    with pytest.raises(pneumo.InputError, match="lies beyond the end of the run at 2 s"):
        pneumo.run(circuit, do=["at 3 s: ride stop"], until=2.0)
    with pytest.raises(pneumo.InputError, match="the time step must be above"):
        pneumo.run(circuit, step=0.0)
    with pytest.raises(pneumo.InputError, match="there is no zone blok"):
        pneumo.verify(circuit, zones=["blok"])


def test_a_run_that_stops_gives_what_there_is(monkeypatch: pytest.MonkeyPatch) -> None:
    advance = Play.advance

    def stops(self: Play, until: float) -> None:
        advance(self, min(until, 1.0))
        if until > 1.0:  # not while the plant comes to rest before
            raise pneumo.UnfinishedError("No step is short enough.")

    monkeypatch.setattr(Play, "advance", stops)
    with pytest.raises(pneumo.StoppedError, match=f"{BLOCK}: No step is short") as stopped:
        pneumo.run(pneumo.load(BLOCK), do=["at 0.5 s: open block"])
    run = stopped.value.run
    assert run.now == 1.0 and run.events and run.outcomes == ()


def test_a_verification_tells_how_far_it_is() -> None:
    circuit = pneumo.load(BLOCK)
    told: list[tuple[int, int]] = []
    here = pneumo.verify(
        circuit, faults=False, workers=0, each=lambda n, of, _: told.append((n, of))
    )
    assert told == [(n, len(told)) for n in range(1, len(told) + 1)]
    assert here == pneumo.verify(circuit, faults=False, workers=1)
