"""Makes the drills that come with pneumo anew: `python -m tests.circuits.make_drills`.

They hold the demo ride's document, so they are made anew whenever it changes.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from pneumo.circuit.validate import load_text
from pneumo.live.drill import save_drill
from pneumo.live.session import Session

CIRCUITS = Path(__file__).parents[2] / "circuits"
RIDE = CIRCUITS / "sand_martin.yaml"
FOLDER = CIRCUITS / "drills"


class Drill(NamedTuple):
    """What has been done when the drill begins, and what makes it show."""

    name: str
    title: str
    acts: tuple[tuple[float, str, bool], ...]
    """(time [s], sentence, hidden)"""
    start: float
    """[s]"""
    shows: tuple[str, ...]
    """What a technician does first."""
    alarm: str
    """Zone or "" = the ride, in which an alarm comes within two minutes."""


DRILLS = (
    Drill(
        "drill_1", "block does not open",
        ((0.5, "fault block_valve_a coil-open", True),),
        2.0, ("open block",), "block",
    ),
    Drill(
        "drill_2", "trim does not release",
        ((0.5, "close trim", False), (2.0, "fault trim_brake_2 jaw-seized", True)),
        4.0, ("open trim",), "trim",
    ),
    Drill(
        "drill_3", "final_1 after the lunch break",
        ((0.5, "open all", False), (3.0, "in 20 s: fault final_1_hose_5 burst", True)),
        4.0, (), "final_1",
    ),
)  # fmt: skip


def session_of(drill: Drill) -> Session:
    """The ride when the drill begins."""
    text = RIDE.read_text(encoding="utf-8")
    session = Session(load_text(text, "sand_martin"), text)
    for time, sentence, hidden in drill.acts:
        session.advance(time)
        session.do("trainer", sentence, hidden)
    session.advance(drill.start)
    return session


def main() -> None:
    """Writes every drill."""
    FOLDER.mkdir(exist_ok=True)
    for drill in DRILLS:
        session = session_of(drill)
        path = FOLDER / f"{drill.name}.yaml"
        path.unlink(missing_ok=True)
        text = RIDE.read_text(encoding="utf-8")
        print(
            save_drill(text, session.circuit, session.acts.journal, session.now, path, drill.title)
        )


if __name__ == "__main__":
    main()
