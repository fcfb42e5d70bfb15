"""Tests for pneumo/report/text.py."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from report_examples import case, missing, outcome, verification
from rich.console import Console

from pneumo.circuit.validate import load
from pneumo.components.base import Component
from pneumo.errors import Finding
from pneumo.report.text import (
    print_events,
    print_faults,
    print_findings,
    print_verification,
    severity_words,
    summary,
)


def _console(width: int = 80, **options: object) -> tuple[Console, io.StringIO]:
    out = io.StringIO()
    return Console(file=out, width=width, **options), out  # type: ignore[arg-type]


def test_findings_name_their_place_and_are_counted() -> None:
    console, out = _console()
    print_findings(
        console,
        [
            Finding(
                "error", "ride.yaml", 12, "hose_1", "bore", "'9 m' is too wide.", "Write '9 mm'."
            ),
            Finding("warning", "ride.yaml", 0, "", "", "No zone has a requirement [x].", ""),
        ],
    )
    assert out.getvalue() == (
        "ride.yaml:12: error: hose_1.bore: '9 m' is too wide.\n    Write '9 mm'.\n"
        "ride.yaml: warning: No zone has a requirement [x].\n1 error, 1 warning\n"
    )


def test_no_findings_print_nothing() -> None:
    console, out = _console()
    print_findings(console, [])
    assert out.getvalue() == ""


def test_words_of_documents_are_not_markup() -> None:
    console, out = _console(color_system="truecolor", force_terminal=True, no_color=True)
    print_events(console, [(1.25, "[red]zone[/red]", "state [bold]x")])
    assert "[red]zone[/red]" in out.getvalue() and "[bold]x" in out.getvalue()
    assert "1.250 s" in out.getvalue()


@pytest.mark.parametrize("width", [60, 80, 200])
def test_the_matrix_fits_and_says_everything_without_colour(width: int) -> None:
    console, out = _console(width)
    print_verification(console, verification())
    text = out.getvalue()
    assert "\x1b" not in text
    table = text[text.index("event") : text.index("S safe, L late")]
    assert max(map(len, table.splitlines())) <= width
    rows = {line.split("  ")[0].strip(): line.split()[-2:] for line in table.splitlines() if line}
    assert rows["loss of air: header vented"] == ["SS·", "LS·"]
    assert rows["trim_valve_a stuck-actuated"] == ["uu·", "Ss·"]
    assert "in this order: open, closed, venting" in " ".join(text.split())
    assert "2 rows in which" in text and "slow" not in table


def test_everything_shows_every_row() -> None:
    console, out = _console()
    print_verification(console, verification(), everything=True)
    assert "trim_valve_a slow 3 x" in out.getvalue()
    assert "not shown" not in out.getvalue()


def test_many_zones_go_into_further_tables() -> None:
    zones = [f"zone_{i}" for i in range(12)]
    one = case(outcomes=tuple(outcome(z, verdict="late") for z in zones))
    console, out = _console()
    print_verification(console, verification(cases=(one,)))
    heads = [line.split()[1:] for line in out.getvalue().splitlines() if line.startswith(" event")]
    assert len(heads) > 1
    assert [zone for head in heads for zone in head] == zones


def test_cases_show_the_command_whole() -> None:
    console, out = _console(40)
    print_verification(console, verification())
    command = 'pneumo run ride.yaml --scenario closed --fault "trim_valve_a stuck-actuated at 4 s"'
    assert command in out.getvalue()
    assert "unsafe trim: " in out.getvalue()


def test_colour_is_only_added_on_a_terminal_that_wants_it() -> None:
    coloured, out = _console(color_system="truecolor", force_terminal=True)
    print_verification(coloured, verification())
    assert "\x1b[" in out.getvalue()
    plain, other = _console(color_system="truecolor", force_terminal=True, no_color=True)
    print_verification(plain, verification())
    assert "\x1b[1;33m" not in other.getvalue() and "\x1b[1;37;41m" not in other.getvalue()


def test_summaries() -> None:
    assert summary(verification(cases=())) == "No case was run, so nothing is shown to be safe."
    assert summary(verification(cases=(case(), case(state="open")))) == (
        "Every zone reached its safe state in time in all 2 cases."
    )
    assert summary(verification()) == (
        "Of 7 cases, 4 safe, 1 late and 2 unsafe. Zones concerned: block, trim. "
        "3 cases were not detected by any alarm. "
        "In 2 cases the controller showed closed and the brakes were not."
    )


def test_what_was_not_calculated_is_said_first_and_with_its_replay() -> None:
    result = verification(cases=(*verification().cases, missing()))
    assert summary(result).startswith(
        "NOT FINISHED: 1 case could not be calculated, and nothing is known of it. Of 8 cases, "
        "4 safe, 1 late, 1 not calculated and 2 unsafe. Zones concerned: block, trim. "
    )
    console, out = _console(100)
    print_verification(console, result)
    text = out.getvalue()
    assert text.index("Not calculated\n") < text.index("Not safe\n")
    assert f"not calculated: {missing().trouble}\n    {missing().replay}\n" in text
    assert "N not calculated" in text
    only = verification(cases=(case(), missing()))
    assert "Every zone" not in summary(only) and "Zones concerned" not in summary(only)


def test_faults_of_equal_components_share_a_block() -> None:
    ride = load(Path(__file__).parents[2] / "circuits" / "02_spring_close_single.yaml")
    console, out = _console(100)
    print_faults(console, ride.components)
    text = out.getvalue()
    assert text.count("hose_1…2  hose") == 1
    for component in ride.components.values():
        for mode in component.fault_modes():
            assert mode.name in text
            assert severity_words(mode).split(",")[0].split(" to ")[0] in text


def test_components_without_faults_are_left_out() -> None:
    console, out = _console()
    print_faults(console, {"plain": Component()})
    assert out.getvalue() == ""
