"""Tests of pneumo run."""

from __future__ import annotations

import csv
import json
import os
import re
import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest
from command_bench import BLOCK, TRIM, command, environment, pneumo

import pneumo as package

Capture = pytest.CaptureFixture[str]

STOP = ("--do", "at 1 s: open block", "--do", "at 4 s: ride stop")


# what it prints, and its exit code


def test_a_scenario_runs_to_its_own_end(capsys: Capture) -> None:
    code, out, err = pneumo(capsys, "run", TRIM, "--scenario", "there and back")
    assert (code, err) == (0, "")
    assert out.startswith("Spring-open brakes on one valve: 6 s\n")
    assert "venting -> open" in out
    row = next(line for line in out.splitlines() if line.startswith("trim "))
    *before, gap, unit, force, newton, brake = row.split()
    assert (before, unit, force, newton) == (["trim", "open", "0.00", "bar"], "mm", "0", "N")
    assert brake.startswith("brake_")
    assert float(gap) > 1.5, "the clearance that the zone requires"


def test_without_anything_it_runs_for_twenty_seconds(capsys: Capture) -> None:
    code, out, _ = pneumo(capsys, "run", TRIM)
    assert code == 0 and ": 20 s\n" in out


def test_an_event_near_the_end_makes_the_run_longer(capsys: Capture) -> None:
    assert ": 35 s\n" in pneumo(capsys, "run", TRIM, "--do", "at 30 s: close trim").out
    late = ("--scenario", "there and back", "--fault", "valve stuck at 4 s")
    assert ": 9 s\n" in pneumo(capsys, "run", TRIM, *late).out
    assert ": 4 s\n" in pneumo(capsys, "run", TRIM, *late, "--until", "4 s").out


def test_a_safe_state_that_is_kept(capsys: Capture) -> None:
    code, out, _ = pneumo(capsys, "run", BLOCK, *STOP, "--until", "40 s")
    assert code == 0
    assert "block: safe: all brakes closed with 5.6 kN after 0." in out
    assert out.rstrip().endswith("held for the required 30 s")


def test_a_safe_state_that_is_not_kept(capsys: Capture) -> None:
    code, out, _ = pneumo(
        capsys, "run", BLOCK, *STOP, "--fault", "valve stuck-actuated at 3 s", "--until", "20 s"
    )
    assert code == 1
    assert (
        "block: UNSAFE: all brakes closed with 5.6 kN not reached (limit 1.5 s, watched for 11.5 s)"
        in out
    )
    assert "faulted" in out and "vent time exceeded" in out


def test_a_run_that_asks_for_nothing_has_no_verdict(capsys: Capture) -> None:
    code, out, _ = pneumo(
        capsys, "run", BLOCK, "--do", "at 1 s: open block", "--fault", "valve stuck-actuated at 3 s"
    )
    assert code == 0
    assert "block: " not in out


def test_a_loss_of_power_asks_by_itself(capsys: Capture) -> None:
    code, out, _ = pneumo(
        capsys, "run", BLOCK, "--do", "at 1 s: open block", "--do", "at 4 s: power off",
        "--until", "40 s",
    )  # fmt: skip
    assert code == 0 and "block: safe: " in out


def test_a_stop_that_was_reset_is_judged_until_then(capsys: Capture) -> None:
    again = ("--do", "at 8 s: reset all", "--do", "at 9 s: open block", "--until", "40 s")
    code, out, _ = pneumo(capsys, "run", BLOCK, *STOP, *again)
    assert code == 0 and "when the demand was withdrawn" in out


def test_only_the_first_of_two_stops_starts_the_clock(capsys: Capture) -> None:
    stuck = ("--fault", "valve stuck at 2 s", "--do", "at 7 s: clear valve stuck")
    once = pneumo(capsys, "run", BLOCK, *STOP, *stuck, "--until", "40 s")
    twice = pneumo(capsys, "run", BLOCK, *STOP, *stuck, "--do", "at 12 s: ride stop",
                   "--until", "40 s")  # fmt: skip
    assert once[0] == twice[0] == 1
    assert once[1].splitlines()[-1] == twice[1].splitlines()[-1]
    assert "LATE" in twice[1].splitlines()[-1]


def test_a_stop_of_the_logics_own_is_judged(capsys: Capture) -> None:
    code, out, _ = pneumo(
        capsys, "run", "04_stored_air_behind_check", "--do", "at 1 s: open all",
        "--fault", "accumulator burst at 5 s", "--until", "40 s",
    )  # fmt: skip
    assert "ride stop" not in out and "faulted" in out
    assert code == 1 and "storage: UNSAFE" in out


def test_a_run_that_asks_for_nothing_gives_no_verdict(capsys: Capture) -> None:
    code, out, _ = pneumo(capsys, "run", BLOCK, "--do", "at 1 s: open all", "--until", "3 s")
    assert code == 0 and "No verdict" in out


def test_a_run_too_short_for_the_hold_is_undecided(capsys: Capture) -> None:
    code, out, _ = pneumo(capsys, "run", BLOCK, *STOP, "--until", "10 s")
    assert code == 1 and "block: UNDECIDED" in out


def test_a_fault_on_one_of_two_twins(capsys: Capture) -> None:
    code, out, _ = pneumo(
        capsys, "run", BLOCK, *STOP, "--fault", "hose_2 blocked 100 % at 3 s", "--until", "20 s"
    )
    # the second brake cannot vent; the first, which stood for both, can
    assert code == 1
    assert re.search(r"closed_1 +ON", out)
    assert "closed_2   ON" not in out.partition("ride stop")[2]


def test_a_circuit_without_zones_runs(capsys: Capture) -> None:
    code, out, _ = pneumo(capsys, "run", "10_station_gates", "--until", "2 s")
    assert code == 0 and "zone" not in out


# bad input


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--scenario", "there and bck"), "there is no scenario 'there and bck'. Did you mean "
         "'there and back'?"),
        (("--scenario", "winter"), "Scenarios: there and back."),
        (("--fault", "valve stuk"), "'stuk' is not a fault mode of valve. Did you mean 'stuck'?"),
        (("--fault", "valv stuck"), "There is no component 'valv'. Did you mean 'valve'?"),
        (("--fault", "hose_1 leak 2"), "'2' has no unit. Write a length like 6.5 mm."),
        (("--fault", "hose_1 leak 900 mm"), "Its severity goes from 0 mm to 25 mm."),
        (("--fault", "valve stuck 50 %"), "follows stuck, which has no severity"),
        (("--fault", "hose_1 leak 2 mm at -3 s"), "'-3 s' is out of range for a time"),
        (("--fault", "hose_1 leak 2 mm at"), "After at: Nothing is given."),
        (("--fault", ""), "is not a fault"),
        (("--do", "at 2 s close trim"), 'write it like "at 2 s: close trim"'),
        (("--do", "at noon: close trim"), "'at noon: close trim': 'noon' is not a time."),
        (("--do", "at 2 s: close trm"), "Did you mean 'trim'?"),
        (("--do", "at 2 s: clothe trim"), "Did you mean 'close'?"),
        (("--do", "at 2 s: clear hose_1 leak"), "hose_1 has no fault leak to clear."),
        (("--until", "-5 s"), "--until -5 s: '-5 s' is out of range"),
        (("--until", "0 s"), "the run time must be above 0 s"),
        (("--until", "5 parsecs"), "has a unit that does not fit a time"),
        (("--until", ""), "Nothing is given."),
        (("--step", "0 s"), "the time step must be above 0 s"),
        (("--step", ""), "Nothing is given."),
    ],
)  # fmt: skip
def test_bad_input_is_explained(arguments: Sequence[str], said: str, capsys: Capture) -> None:
    code, out, err = pneumo(capsys, "run", TRIM, *arguments)
    assert (code, out) == (2, "")
    assert err.startswith("pneumo: ") and said in err and err.count("\n") == 1


def test_a_document_without_scenarios_says_so(tmp_path: Path, capsys: Capture) -> None:
    code, _, err = pneumo(capsys, "run", "10_station_gates", "--scenario", "winter")
    assert code == 2 and "there is no scenario 'winter'. Scenarios: " in err


@pytest.mark.parametrize("option", ["--csv", "--json"])
def test_a_target_that_cannot_be_written(option: str, tmp_path: Path, capsys: Capture) -> None:
    for target, said in (
        (str(tmp_path), "this is a folder"),
        ("", "this is a folder"),
        (str(tmp_path / "none" / "run.out"), "does not exist; create it or choose another place"),
        (os.devnull, "this is a device or a pipe"),
    ):
        code, out, err = pneumo(capsys, "run", TRIM, "--until", "1 s", option, target)
        assert (code, out) == (2, ""), target
        assert said in err
    assert list(tmp_path.iterdir()) == []


def test_two_results_need_two_files(tmp_path: Path, capsys: Capture) -> None:
    target = str(tmp_path / "run.out")
    code, _, err = pneumo(capsys, "run", TRIM, "--csv", target, "--json", target)
    assert code == 2 and "two results cannot go into one file" in err
    assert list(tmp_path.iterdir()) == []


def test_a_grid_that_would_fill_the_memory_is_refused(tmp_path: Path, capsys: Capture) -> None:
    grid = ("--until", "1000 s", "--step", "0.1 ms", "--csv", str(tmp_path / "run.csv"))
    code, _, err = pneumo(capsys, "run", TRIM, *grid)
    assert code == 2 and "more than 1000000 rows in 1000 s" in err


# files


def columns(path: Path) -> dict[str, list[float]]:
    """The columns of a CSV file by heading."""
    with path.open(encoding="utf-8", newline="") as stream:
        headings, *rows = csv.reader(stream)
    return {name: [float(row[i]) for row in rows] for i, name in enumerate(headings)}


def test_csv_has_a_column_per_signal_with_its_unit(tmp_path: Path, capsys: Capture) -> None:
    path = tmp_path / "run.csv"
    code = pneumo(
        capsys, "run", TRIM, "--scenario", "there and back", "--step", "0.5 s", "--csv", str(path)
    ).code
    assert code == 0
    table = columns(path)
    assert list(table) == [
        "time [s]", "manifold pressure [Pa]",
        "brake_1 pressure [Pa]", "brake_1 gap [m]", "brake_1 force [N]",
        "brake_2 pressure [Pa]", "brake_2 gap [m]", "brake_2 force [N]",
    ]  # fmt: skip
    assert table["time [s]"] == pytest.approx([0.5 * i for i in range(13)])
    at = table["time [s]"].index(2.5)
    assert table["manifold pressure [Pa]"][at] == pytest.approx(5e5, rel=1e-3)
    for brake in ("brake_1", "brake_2"):
        assert table[f"{brake} pressure [Pa]"][at] == pytest.approx(5e5, rel=1e-3)
        assert table[f"{brake} gap [m]"][at] == 0.0 and table[f"{brake} force [N]"][at] > 5e3
        assert table[f"{brake} gap [m]"][-1] > 3e-3 and table[f"{brake} force [N]"][-1] == 0.0


def test_json_is_versioned_and_says_what_was_run(tmp_path: Path, capsys: Capture) -> None:
    path, table = tmp_path / "run.json", tmp_path / "run.csv"
    fault = "hose_2 leak 3 mm at 2 s over 1 s"
    code = pneumo(
        capsys, "run", TRIM, "--scenario", "there and back", "--fault", fault, "--step", "0.1 s",
        "--json", str(path), "--csv", str(table),
    ).code  # fmt: skip
    assert code == 0
    document = json.loads(path.read_text(encoding="utf-8"))
    assert (document["format"], document["version"]) == ("pneumo-run", 3)
    assert document["program"] == package.__version__
    assert (document["document"], document["scenario"]) == (TRIM, "there and back")
    assert document["faults"] == [fault]
    assert len(document["time"]) == 71
    assert all(len(signal["values"]) == 71 for signal in document["signals"])
    written = columns(table)
    assert written.pop("time [s]") == pytest.approx(document["time"], abs=1e-9)
    signals = {f"{s['name']} [{s['unit']}]": s["values"] for s in document["signals"]}
    assert list(signals) == list(written)
    for name, values in signals.items():
        assert written[name] == pytest.approx(values, rel=1e-6, abs=1e-5)
    times = [event["time"] for event in document["events"]]
    assert times == sorted(times) and times[-1] <= 7.0
    assert {"command", "state", "fault"} <= {event["kind"] for event in document["events"]}


def test_the_default_grid_is_ten_milliseconds_and_coarser_when_long(
    tmp_path: Path, capsys: Capture
) -> None:
    path = tmp_path / "run.csv"
    pneumo(capsys, "run", TRIM, "--until", "2 s", "--csv", str(path))
    assert len(columns(path)["time [s]"]) == 201
    pneumo(capsys, "run", TRIM, "--until", "1 h", "--csv", str(path))
    times = columns(path)["time [s]"]
    assert len(times) == 5001 and times[-1] == pytest.approx(3600.0)


def test_the_same_run_writes_the_same_bytes(tmp_path: Path, capsys: Capture) -> None:
    first, second = tmp_path / "a.json", tmp_path / "b.json"
    for path in (first, second):
        pneumo(capsys, "run", TRIM, "--scenario", "there and back", "--json", str(path))
    assert first.read_bytes() == second.read_bytes()
    assert sorted(tmp_path.iterdir()) == [first, second]


def test_files_and_exit_code_do_not_depend_on_who_reads(tmp_path: Path) -> None:
    path = tmp_path / "run.csv"
    arguments = ("run", BLOCK, *STOP, "--fault", "valve stuck-actuated at 3 s", "--csv", str(path))
    with subprocess.Popen(
        command(*arguments), stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment()
    ) as process:
        assert process.stdout is not None and process.stderr is not None
        process.stdout.close()
        said = process.stderr.read()
    assert b"Traceback" not in said and b"BrokenPipe" not in said
    assert process.returncode == 1
    assert len(columns(path)["time [s]"]) > 1000


def test_an_event_beyond_the_end_is_refused(capsys: Capture) -> None:
    code, _, err = pneumo(
        capsys, "run", TRIM, "--do", "at 100 s: close all", "--until", "2 s"
    )  # fmt: skip
    assert code == 2
    assert "'at 100 s: close all' lies beyond the end of the run at 2 s" in err
