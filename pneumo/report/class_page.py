"""What came of a class: one page to print, or a table, that need nothing else."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass

from pneumo.drill.entry import Entry, Fell, Found, Stated
from pneumo.drill.outcome import Debrief
from pneumo.drill.telling import (
    clock,
    danger_told,
    finding_told,
    minutes,
    verdict_told,
)
from pneumo.harmless import harmless, no_formula
from pneumo.report import palette
from pneumo.report.cautions import CAUTIONS
from pneumo.report.html import environment


@dataclass(frozen=True)
class Member:
    """How a trainee of a class stands."""

    name: str
    state: str
    """`drill.arc.State`; "" = the ride is not open yet."""
    began: float
    """Where the drill begins [s of the ride]."""
    spent: float
    """Downtime so far [s]."""
    entries: tuple[Entry, ...] = ()
    debrief: Debrief | None = None
    """None: it is not over."""

    @property
    def tests(self) -> int:
        """Tests that were made."""
        return sum(isinstance(entry.result, Found | Fell) for entry in self.entries)

    @property
    def hints(self) -> int:
        """Hints that were taken or sent."""
        return sum(entry.work == "hint" for entry in self.entries)

    @property
    def unsafe(self) -> tuple[Entry, ...]:
        """What was unsafe."""
        return tuple(entry for entry in self.entries if entry.unsafe)

    @property
    def finding(self) -> str:
        """The last one stated; "" = none was."""
        stated = (e.result for e in reversed(self.entries) if isinstance(e.result, Stated))
        last = next(stated, None)
        return "" if last is None else finding_told(last.faults)

    @property
    def verdict(self) -> str:
        """In capitals; "" = the drill is not over."""
        return "" if self.debrief is None else self.debrief.verdict.upper()

    @property
    def result(self) -> str:
        """The verdict with its reasons, or how far it has come."""
        return self.state if self.debrief is None else verdict_told(self.debrief)

    def at(self, entry: Entry) -> str:
        """When something was done, since the drill began."""
        return clock(entry.ended - self.began)


def class_page(
    title: str,
    ride: str,
    par: float,
    members: Sequence[Member],
    *,
    version: str,
    made_on: str = "",
    cautions: Sequence[str] = CAUTIONS,
) -> str:
    """The page; the same arguments give the same text.

    Parameters
    ----------
    title, ride
        Of the drill, and the name of the ride.
    par
        Downtime that a good technician needs [s]; 0 = not told.
    members
        In the order of the rows.
    made_on
        A date to print, as it is; "" leaves it out, because only the caller has a clock.

    Names and texts are escaped everywhere, and letters that act are taken out.
    """
    text = environment().get_template("class.html.j2").render(
        title=title, ride=ride, par=par, members=members, version=version, made_on=made_on,
        over=any(m.debrief is not None for m in members), faults=_faults(members),
        palette=palette, cautions=cautions, clock=clock, minutes=minutes, danger_told=danger_told,
    )  # fmt: skip
    return harmless(text, keep="\n\t")


def _faults(members: Sequence[Member]) -> tuple[str, ...]:
    """Sentences of all that was wrong; a fault that comes later is not there at every ride."""
    over = (of.debrief for of in members if of.debrief is not None)
    return tuple(dict.fromkeys(fault.sentence for found in over for fault in found.truth))


def class_csv(title: str, members: Sequence[Member]) -> str:
    """The same as CSV (RFC 4180): a row a trainee, minutes with one decimal."""
    out = io.StringIO()
    write = csv.writer(out, lineterminator="\r\n")
    write.writerow(
        ("trainee", "drill", "state", "verdict", "minutes", "tests", "hints", "unsafe", "finding",
         "reasons")
    )  # fmt: skip
    for of in members:
        reasons = () if of.debrief is None else of.debrief.reasons
        verdict = "" if of.debrief is None else of.debrief.verdict
        write.writerow(
            (
                no_formula(of.name), no_formula(title), of.state, verdict, f"{of.spent / 60.0:.1f}",
                of.tests, of.hints, len(of.unsafe), no_formula(of.finding), "; ".join(reasons),
            )
        )  # fmt: skip
    return harmless(out.getvalue(), keep="\r\n")
