"""A small ride to work on: the circuit of `circuits/01_spring_open_single.yaml`, with faults."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from pneumo.circuit.validate import load_text
from pneumo.drill.brief import UNTOLD, Brief
from pneumo.drill.practice import Practice
from pneumo.live.session import Session

CIRCUITS = Path(__file__).parents[1] / "circuits"


@lru_cache
def document(name: str) -> str:
    """Text of a shipped circuit."""
    return (CIRCUITS / f"{name}.yaml").read_text(encoding="utf-8")


def practice(
    *hidden: str,
    name: str = "01_spring_open_single",
    before: tuple[str, ...] = (),
    brief: Brief = UNTOLD,
    began: bool = True,
    feed: str = "{kind: electrical_feed}",
) -> Practice:
    """A drill on a ride on which the trainer has said some sentences, two seconds ago; `feed`: its
    electrical feed."""
    text = document(name).replace("feed: {kind: electrical_feed}", f"feed: {feed}")
    text = f"{text}\n{SHORT}"
    session = Session(load_text(text, name), text)
    session.advance(1.0)
    for sentence in before:
        session.do("trainer", sentence)
    session.advance(4.0)
    for sentence in hidden:
        session.do("trainer", sentence, True)
    session.advance(6.0)
    at = Practice(session, brief)
    if began:
        at.do("begin")
    return at


def play(at: Practice, *lines: str) -> Practice:
    """Says some lines."""
    for line in lines:
        at.do(line)
    return at


_QUICK = (
    "command", "switch", "lock", "prove", "permit", "read", "listen", "soap", "look", "measure",
    "measure_card", "measure_lining", "pry", "pull", "cycle", "ask", "log_book", "hint", "swap",
    "force", "adjust", "reconnect", "replace_coil", "block", "hand_back",
)  # fmt: skip
_SLOWER = {
    "turn": 15, "fit_gauge": 15, "free": 15, "function_test": 10, "refit": 90, "replace": 120,
}  # fmt: skip
_SECONDS = dict.fromkeys(_QUICK, 5) | _SLOWER
SHORT = f"downtime: { {work: f'{seconds} s' for work, seconds in _SECONDS.items()} }"
"""Work that is done sooner, so that tests are."""

SAFE = ("switch off feed", "lock feed", "isolate main", "lock main")
"""What locks the whole of that ride out, but for its springs."""

BACK = ("unlock main", "restore main", "unlock feed", "switch on feed")
"""And puts it back."""
