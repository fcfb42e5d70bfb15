"""Tests of pneumo/circuit/storm.py and of what `check` says of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from pneumo import cli
from pneumo.circuit.action import Clear, FaultSpec, Inject
from pneumo.circuit.circuit import Event
from pneumo.circuit.storm import EACH_CHANGE, MOST_CHANGES, storm
from pneumo.circuit.validate import load, load_text
from pneumo.live.drill import read_drill, save_drill
from pneumo.live.journal import Act
from pneumo.network.compile import compile_circuit
from pneumo.scenario.play import Play

DOCUMENT = Path(__file__).parents[2] / "circuits" / "02_spring_close_single.yaml"


def comes_and_goes(time: float, every: float | None, component: str = "valve") -> Event:
    on = None if every is None else every / 2.0
    return Event(time, Inject(FaultSpec(component, "coil-open", every=every, on_for=on)))


def put_right(time: float, component: str = "valve") -> Event:
    return Event(time, Clear(component, "coil-open"))


@pytest.mark.parametrize(
    ("events", "changes"),
    [
        ([], None),
        ([comes_and_goes(1.0, None)], None),
        ([comes_and_goes(1.0, 0.02)], None),
        ([comes_and_goes(1.0, 0.019)], 2.0 / 0.019),
        ([comes_and_goes(1.0, 1e-3)], 2000.0),
        # two that are slow enough alone
        ([comes_and_goes(1.0, 0.03), comes_and_goes(2.0, 0.03, "other")], 4.0 / 0.03),
        ([comes_and_goes(1.0, 0.03), put_right(1.5), comes_and_goes(2.0, 0.03, "other")], None),
        # the same fault injected again takes the place of what it was
        ([comes_and_goes(1.0, 0.03), comes_and_goes(2.0, 0.03)], None),
        ([comes_and_goes(3.0, None), comes_and_goes(1.0, 1e-2)], 200.0),
        ([comes_and_goes(9.0, 0.015), comes_and_goes(1.0, 1e-2), put_right(2.0)], 200.0),
    ],
)
def test_what_comes_and_goes_at_one_time_is_counted(
    events: list[Event], changes: float | None
) -> None:
    found = storm(events)
    assert (found and found.changes) == (changes and pytest.approx(changes))


def test_as_many_changes_are_foreseen_as_there_are() -> None:
    circuit = load(DOCUMENT)
    injected = comes_and_goes(1.0, 5e-3)
    play = Play(compile_circuit(circuit, frozenset({"valve"})))
    play.schedule([injected])
    seen = 0
    standing: object = None
    while play.now < 2.0:
        play.advance(play.now + 1.25e-3)
        now = [severity for _, severity in play.actors.faults.standing]
        if play.now > 1.0 + 1e-9 and now != standing:
            seen += 1
        standing = now
    found = storm([injected])
    assert found is not None and seen == pytest.approx(found.changes, abs=2)


def scenario(tmp_path: Path, *events: str) -> Path:
    path = tmp_path / "yard.yaml"
    lines = "".join(f"      - {event}\n" for event in events)
    text = DOCUMENT.read_text(encoding="utf-8").partition("scenarios:")[0]
    path.write_text(
        f"{text}scenarios:\n  shaky:\n    until: 20 s\n    events:\n{lines}", encoding="utf-8"
    )
    return path


def test_check_names_the_line_the_changes_what_they_cost_and_what_would_be_right(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = scenario(
        tmp_path, "at 1 s: open all", "at 2 s: fault valve coil-open every 1 ms for 0.5 ms"
    )
    line = 1 + path.read_text(encoding="utf-8").split("\n").index(
        "      - at 2 s: fault valve coil-open every 1 ms for 0.5 ms"
    )
    assert cli.main(["check", str(path)]) == 0
    said = " ".join(capsys.readouterr().err.split())
    assert f"yard.yaml:{line}: warning: shaky.events: This fault repeats" in said
    assert "2000 changes a second" in said
    assert f"about {2000 * EACH_CHANGE:.2g} s for each second of the ride" in said
    assert "Write 'every 0.02 s' or more" in said


def test_check_counts_faults_that_come_and_go_together(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    flickers = "stuck-on every 30 ms for 10 ms"
    both = [f"at 2 s: fault {part} {flickers}" for part in ("open_1", "open_2")]
    path = scenario(tmp_path, *both)
    assert cli.main(["check", str(path)]) == 0
    said = " ".join(capsys.readouterr().err.split())
    assert "2 faults repeat here" in said and "Write 'every 0.04 s' or more for each" in said
    path = scenario(tmp_path, *(each.replace("30 ms", "40 ms") for each in both))
    assert cli.main(["check", str(path)]) == 0
    assert "repeat" not in capsys.readouterr().err
    assert pytest.approx(2 * 2 / 40e-3) == MOST_CHANGES


def test_a_drill_says_how_slow_it_is_and_not_why(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = DOCUMENT.read_text(encoding="utf-8")
    circuit = load_text(text, DOCUMENT.name)

    def saved(sentence: str) -> tuple[str, str]:
        path = tmp_path / f"{len(list(tmp_path.iterdir()))}.drill"
        acts = [Act(1.0, "trainer", sentence, True, 1.0)]
        said = save_drill(text, circuit, acts, 2.0, path, "morning")
        assert read_drill(path).title == "morning"
        assert cli.main(["check", str(path)]) == 0
        out, err = capsys.readouterr()
        return said, " ".join((out + err).split())

    said, checked = saved("fault valve coil-open every 2 ms for 1 ms")
    assert f"a second of it takes about {1000 * EACH_CHANGE:.2g} s to calculate" in said
    assert f"a second of this drill takes about {1000 * EACH_CHANGE:.2g} s" in checked
    assert not {"valve", "coil", "every", "fault"} & set(checked.replace("-", " ").split())
    said, checked = saved("fault valve coil-open")
    assert "calculate" not in said + checked
