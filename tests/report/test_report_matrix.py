"""Tests for pneumo/report/matrix.py."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from report_examples import case, missing, outcome, verification

from pneumo.report.matrix import latent, matrix, undetected
from pneumo.verification.case import Injection, Loss
from pneumo.verification.verdict import VERDICTS, Case


def test_rows_come_in_order_and_faults_by_component() -> None:
    table = matrix(verification())
    assert [(row.injection.kind, row.component, row.label) for row in table.rows] == [
        ("none", "", "no fault"),
        ("loss", "", "loss of air: header vented"),
        ("fault", "trim_valve_a", "stuck-actuated"),
        ("fault", "trim_valve_a", "slow 3 x"),
        ("fault", "trim_hose_1", "leak 2 mm"),
    ]
    assert table.zones == ("trim", "block")
    assert table.states == {"trim": ("open", "closed", "venting"), "block": ("open", "closed")}
    assert table.all_states == ("open", "closed", "venting")


def test_cells_carry_letters_and_what_was_not_detected() -> None:
    table = matrix(verification())
    stuck = table.rows[2]
    assert stuck.worst == "unsafe"
    assert stuck.cells["trim", "closed"].letter == "U"
    assert stuck.cells["trim", "closed"].undetected
    # block is safe; the alarm of another zone decides
    assert stuck.cells["block", "closed"].undetected
    assert not stuck.cells["block", "open"].undetected
    assert table.rows[1].cells["block", "open"].letter == "L"


@given(
    st.lists(
        st.builds(
            case,
            component=st.sampled_from(["a", "b", "c"]),
            mode=st.sampled_from(["leak", "stuck"]),
            state=st.sampled_from(["open", "closed", "odd state"]),
            outcomes=st.lists(
                st.builds(
                    outcome,
                    zone=st.sampled_from(["x", "y"]),
                    verdict=st.sampled_from(VERDICTS),
                    detected=st.booleans(),
                ),
                min_size=1,
                max_size=2,
                unique_by=lambda o: o.zone,
            ).map(tuple),
        ),
        max_size=12,
    )
)
def test_every_case_is_in_the_matrix_and_none_looks_better_than_it_was(cases: list[Case]) -> None:
    table = matrix(verification(cases=tuple(cases)))
    rank = VERDICTS
    for one in cases:
        (row,) = [r for r in table.rows if r.injection == one.injection]
        for result in one.outcomes:
            cell = row.cells[result.zone, result.injected_during]
            assert rank.index(cell.outcome.verdict) >= rank.index(result.verdict)
            assert result.injected_during in table.states[result.zone]
    groups = [row.component for row in table.rows]
    assert all(
        groups[i] == groups[i + 1] or groups[i] not in groups[i + 1 :]
        for i in range(len(groups) - 1)
    )


def test_columns_are_the_states_the_zones_were_in() -> None:
    one = case(
        state="to closed",
        outcomes=(
            outcome(injected_during="venting"),
            outcome("block", injected_during="closing"),
        ),
    )
    table = matrix(verification(cases=(one,)))
    assert table.states == {"trim": ("venting",), "block": ("closing",)}


def test_one_loss_is_one_row_whatever_state_it_was_injected_in() -> None:
    cut = Injection(Loss("feed cut", "block"))
    cases = [case(state=s, injection=cut) for s in ("open", "faulted", "venting")]
    (row,) = matrix(verification(cases=tuple(cases))).rows
    assert row.label == "loss of air: block feed cut"
    assert {state for _, state in row.cells} == {"open", "faulted", "venting"}


def test_latent_names_the_states() -> None:
    found = [(row.component, row.label, states) for row, states in latent(matrix(verification()))]
    assert found == [
        ("trim_valve_a", "stuck-actuated", ("open", "closed")),
        ("trim_hose_1", "leak 2 mm", ("closed",)),
    ]


def test_nothing_to_reveal_without_a_fault() -> None:
    quiet = outcome(detected=False)
    assert not undetected(case(injection=Injection(), outcomes=(quiet,)))
    assert undetected(case(outcomes=(quiet,)))
    assert not undetected(case(outcomes=(quiet, outcome("block"))))
    assert undetected(case(outcomes=(outcome("block"), outcome(verdict="late", detected=False))))


def test_of_what_was_not_calculated_nothing_is_said() -> None:
    lost = missing(state="closed")
    table = matrix(verification(cases=(lost, case("trim_hose_2", "burst", "open"))))
    (row,) = table.rows
    cell = row.cells["trim", "closed"]
    assert (cell.letter, cell.undetected, row.worst) == ("N", False, "not calculated")
    assert not undetected(lost) and latent(table) == []
