"""The cases of a verification as a table: what happened (rows) to which zone in which state."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pneumo.verification.case import Injection
from pneumo.verification.verdict import VERDICTS, Case, Outcome, Verdict, Verification
from pneumo.verification.wording import injection_words

STATES = ("open", "opening", "closing", "closed", "venting", "faulted")
"""Operating states in the order of the columns; others follow by name."""

LETTERS: dict[Verdict, str] = {"safe": "S", "late": "L", "not calculated": "N", "unsafe": "U"}


@dataclass(frozen=True)
class Cell:
    """What one zone did when the row's event was injected while it was in one state."""

    case: Case
    outcome: Outcome

    @property
    def letter(self) -> str:
        """S, L, N or U."""
        return LETTERS[self.outcome.verdict]

    @property
    def undetected(self) -> bool:
        """Something happened and nothing told the operator of this zone.

        An alarm that names another zone is enough for a zone that is safe. Of what was not
        calculated nothing is known.
        """
        if self.case.injection.kind == "none" or not self.case.calculated or self.outcome.detected:
            return False
        return self.outcome.verdict != "safe" or not any(o.detected for o in self.case.outcomes)


@dataclass(frozen=True)
class Row:
    """One event, in every state it was injected during."""

    injection: Injection
    represents: tuple[str, ...]
    cells: dict[tuple[str, str], Cell]
    """(zone, state) -> cell; missing: not run."""

    @property
    def label(self) -> str:
        """What happened, of a single fault without its component: "leak 2 mm"."""
        faults = self.injection.faults
        return " ".join(faults[0].words) if len(faults) == 1 else injection_words(self.injection)

    @property
    def component(self) -> str:
        """That of a single fault, else ""."""
        return self.injection.faults[0].component if len(self.injection.faults) == 1 else ""

    @property
    def worst(self) -> Verdict:
        """The worst verdict of the row."""
        verdicts = (cell.outcome.verdict for cell in self.cells.values())
        return max(verdicts, key=VERDICTS.index, default="safe")


@dataclass(frozen=True)
class Matrix:
    """Rows: no fault, then losses, then faults grouped by component, each in the given order."""

    zones: tuple[str, ...]
    states: dict[str, tuple[str, ...]]
    """Zone -> states of its columns."""
    rows: tuple[Row, ...]

    @property
    def all_states(self) -> tuple[str, ...]:
        """Every state of any zone."""
        return _in_order({state for states in self.states.values() for state in states})


def matrix(verification: Verification) -> Matrix:
    """Sorts the cases of a verification into a table; of two for one cell the worse is kept."""
    zones = tuple(dict.fromkeys(o.zone for case in verification.cases for o in case.outcomes))
    seen: dict[str, set[str]] = {zone: set() for zone in zones}
    gathered: dict[Injection, list[Case]] = {}
    for case in verification.cases:
        gathered.setdefault(case.injection, []).append(case)
        for outcome in case.outcomes:
            seen[outcome.zone].add(outcome.injected_during)
    rows = [_row(cases) for cases in gathered.values()]
    first: dict[str, int] = {}
    for i, row in enumerate(rows):
        first.setdefault(row.component, i)
    rank = {"none": 0, "loss": 1, "fault": 2}
    rows.sort(
        key=lambda row: (rank[row.injection.kind], first[row.component] * bool(row.component))
    )
    return Matrix(zones, {zone: _in_order(seen[zone]) for zone in zones}, tuple(rows))


def undetected(case: Case) -> bool:
    """True when something happened and a zone it concerns was not told of by any alarm."""
    return any(Cell(case, outcome).undetected for outcome in case.outcomes)


def latent(table: Matrix) -> list[tuple[Row, tuple[str, ...]]]:
    """Rows in which something stays undetected, with the states it was injected during."""
    found = []
    for row in table.rows:
        states = {state for (_, state), cell in row.cells.items() if cell.undetected}
        if states:
            found.append((row, _in_order(states)))
    return found


def _row(cases: list[Case]) -> Row:
    head = cases[0]
    cells: dict[tuple[str, str], Cell] = {}
    rank = VERDICTS.index
    for case in cases:
        for outcome in case.outcomes:
            place = outcome.zone, outcome.injected_during
            known = cells.get(place)
            if known is None or rank(outcome.verdict) > rank(known.outcome.verdict):
                cells[place] = Cell(case, outcome)
    return Row(head.injection, head.represents, cells)


def _in_order(states: Iterable[str]) -> tuple[str, ...]:
    return tuple(sorted(states, key=lambda s: (STATES.index(s) if s in STATES else len(STATES), s)))
