"""How often parts fail: the section failures: of a document, and what follows for a fault mode.

A rate is of a part, with all its fault modes together, or of one of them:

    every hose: 0.02 per year             each hose, whatever happens to it
    every hose burst: 0.005 per year      of that, each hose bursts so often
    trim_valve_a: 0.3 per year            this valve, in place of what is said of its kind
    trim_hose_{1..4} leak: 0.1 per year   this mode of these hoses

What is said of a component comes before what is said of its kind: of the whole part, it takes the
place of all that is said of the kind; of one mode, of that mode alone. What a rate of the whole
part leaves beside the modes that have their own is shared evenly by the others.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from pneumo.circuit.circuit import Circuit, Failures
from pneumo.circuit.document import Place, RangeError, expanded
from pneumo.circuit.parts import Parts
from pneumo.circuit.sections import Sections
from pneumo.circuit.spelling import listed, near
from pneumo.components.base import kind_of
from pneumo.harmless import quoted
from pneumo.quantity import QuantityError
from pneumo.units import FAILURE_RATE, Within

EVERY = "every"
"""Begins an entry that is of a kind."""

WHOLE = ""
"""In place of a fault mode: all of a part's together."""


def prior(circuit: Circuit, component: str, mode: str) -> float:
    """How likely a fault mode is before anything is known, next to the others of the ride: only
    ratios mean something. Where the document says nothing of any, all are equal."""
    return circuit.failures.rates.get((component, mode), circuit.failures.left_out)


def read_failures(sections: Sections, parts: Parts) -> Failures:
    """The section failures:, with each rate shared among the fault modes it is of."""
    entries = sections.mapping("failures")
    return Failures(dict(_Reader(sections, parts, entries).rates()) if entries else {})


@dataclass(frozen=True)
class _Rate:
    rate: float
    """[1/s]"""
    place: Place


_Said = dict[str, dict[str, _Rate]]
"""Component or kind -> fault mode or WHOLE -> its rate."""


class _Reader:
    """Reads the entries of the section; to be used once."""

    def __init__(self, sections: Sections, parts: Parts, entries: Mapping[str, object]) -> None:
        self._findings, self._parts = sections.findings, parts
        self._modes: dict[str, list[str]] = {}
        """Component -> its fault modes."""
        self._of_kind: dict[str, dict[str, None]] = {kind: {} for kind in parts.kinds}
        """Kind -> the fault modes of those that the ride has."""
        for name, component in parts.components.items():
            modes = self._modes[name] = [mode.name for mode in component.fault_modes()]
            self._of_kind.setdefault(kind_of(component), {}).update(dict.fromkeys(modes))
        self._named: _Said = {}
        self._kinds: _Said = {}
        for key, value in entries.items():
            self._read(key, value)

    def rates(self) -> Iterator[tuple[tuple[str, str], float]]:
        """(component, fault mode) with its rate [1/s], as far as something is said."""
        for name, component in self._parts.components.items():
            own = self._named.get(name, {})
            of_kind = {} if WHOLE in own else self._kinds.get(kind_of(component), {})
            modes = self._modes[name]
            found = {**self._shared(of_kind, modes), **self._shared(own, modes)}
            yield from (((name, mode), found[mode]) for mode in modes if mode in found)

    def _shared(self, said: Mapping[str, _Rate], modes: list[str]) -> dict[str, float]:
        """Fault modes of a part with their rates."""
        found = {mode: said[mode].rate for mode in modes if mode in said}
        rest = [mode for mode in modes if mode not in said]
        if WHOLE in said and rest:
            apart, whole = sum(found.values()), said[WHOLE]
            if apart >= whole.rate:
                self._refuse(
                    whole.place,
                    f"{_told(whole.rate)} for all fault modes together is no more than the "
                    f"{_told(apart)} of those that are given apart.",
                    f"Give more, to leave something for {listed(rest)}.",
                )  # fmt: skip
            found.update(dict.fromkeys(rest, (whole.rate - apart) / len(rest)))
        return found

    def _read(self, key: str, value: object) -> None:
        place: Place = ("failures", key)
        words = key.split()
        said = self._kinds if len(words) > 1 and words[0] == EVERY else self._named
        subject, *modes = words[1:] if said is self._kinds else words or [""]
        try:
            rate = _Rate(Within("failure_rate").read(value), place)
            names = [subject] if said is self._kinds else expanded(subject)
        except (QuantityError, RangeError) as error:
            self._refuse(place, error.found, error.wanted)
            return
        if len(modes) > 1:
            self._refuse(
                place, f"{quoted(' '.join(modes))} is no fault mode.",
                "Write one word, or an entry for each.",
            )  # fmt: skip
            return
        mode = modes[0] if modes else WHOLE
        for name in names:
            good = self._is_kind if said is self._kinds else self._is_component
            if not good(place, name, mode):
                return
            if mode in said.setdefault(name, {}):
                line = self._findings.line(said[name][mode].place)
                found = f"The rate of {' '.join((name, mode)).strip()} is in line {line} already."
                self._refuse(place, found, "Give each once.")
                return
            said[name][mode] = rate

    def _is_component(self, place: Place, name: str, mode: str) -> bool:
        if name in self._modes:
            return self._is_mode(place, name, mode, self._modes[name])
        if name not in self._parts.unread:
            found = f"There is no component {quoted(name)}."
            wanted = f"Of all of a kind say '{EVERY} {name}'." if name in self._of_kind else ""
            self._refuse(place, found, wanted or near(name, self._modes, "Name one."))
        return False

    def _is_kind(self, place: Place, kind: str, mode: str) -> bool:
        known = self._of_kind.get(kind)
        if known is None:
            kinds = f"Kinds are {listed(self._of_kind, 99)}."
            found = f"There is no kind {quoted(kind)}."
            self._refuse(place, found, near(kind, self._of_kind, kinds))
            return False
        # one that the ride has none of says nothing: a list may serve many rides
        return not known or self._is_mode(place, kind, mode, known)

    def _is_mode(self, place: Place, subject: str, mode: str, known: Iterable[str]) -> bool:
        if mode == WHOLE or mode in known:
            return True
        found = f"{subject} has no fault mode {quoted(mode)}."
        self._refuse(place, found, near(mode, known, f"It has {listed(known, 99)}."))
        return False

    def _refuse(self, place: Place, found: str, wanted: str) -> None:
        self._findings.error(place, "failures", str(place[-1]), found, wanted)


def _told(rate: float) -> str:
    return f"{rate / float(FAILURE_RATE.units['/year']):.4g} per year"
