"""What a test has given: one frozen record for each sort of result.

Values are what the instrument shows, to its step: two plants that read, sound and look alike give
equal records. No record names a fault, and none holds a sentence; `telling` has those.

`idle` says that the test could have shown nothing as the ride stood, whatever is wrong: no air
behind a joint that was listened at, nothing commanded where a voltage was looked for. What counts
is told by each module.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Loudness = Literal["faint", "clear", "loud"]

Where = Literal["exhaust", "open port", "outlet", "hole", "drain"]
"""Where air comes out: an exhaust port, a port that ends in the open, an outlet without a port of
its own, a place where none should, a drain."""


@dataclass(frozen=True, slots=True)
class Reading:
    """A pressure."""

    port: str
    """ "trim_check.2"."""
    shown: float
    """[Pa above the surroundings]"""
    open_end: bool
    """The port ends in the open air."""
    idle: bool


@dataclass(frozen=True, slots=True)
class Outflow:
    """Air that escapes somewhere."""

    where: Where
    port: str
    """ "" for an outlet or a drain."""
    loudness: Loudness


@dataclass(frozen=True, slots=True)
class Heard:
    """What is heard beside a part."""

    component: str
    outflows: tuple[Outflow, ...]
    beside: tuple[str, ...]
    """Parts next to it at which air escapes, loud enough to be heard here."""
    pumping: bool | None
    """Of a compressor: it pumps; None: the part is none."""
    pumping_nearby: bool
    idle: bool


@dataclass(frozen=True, slots=True)
class Leaking:
    """Where it bubbles."""

    where: Where
    port: str
    """ "" for an outlet or a drain."""


@dataclass(frozen=True, slots=True)
class Bubbles:
    """Soapy water at a part's joints and drain."""

    component: str
    at: tuple[Leaking, ...]
    idle: bool


@dataclass(frozen=True, slots=True)
class Jaws:
    """The jaws of a brake, by eye."""

    component: str
    state: Literal["closed", "open", "between"]
    distance: float
    """A lining from the fin [m], to the millimetre; without a fin: from the other lining."""
    linings: int
    """Linings that move: 2, or 1 of a brake with a single bladder."""
    fin: bool
    blocked: bool
    springs_broken: int = 0
    """Springs of each ski that are seen to be broken; how hard the others push is not seen."""
    idle: bool = False


@dataclass(frozen=True, slots=True)
class Lining:
    """Callipers at a lining: how far a ski travels to the fin."""

    component: str
    travel: float
    """[m], to 0.1 mm"""
    drawing: float
    """The same of new linings [m]."""
    idle: bool = False


@dataclass(frozen=True, slots=True)
class Rod:
    """The rod of a cylinder."""

    component: str
    state: Literal["in", "out", "between"]
    out: float
    """[m], to the millimetre"""
    idle: bool = False


@dataclass(frozen=True, slots=True)
class Plug:
    """The plug and the manual override of a coil."""

    coil: str
    lamp: bool
    held: bool


@dataclass(frozen=True, slots=True)
class Plugs:
    """Those of a valve."""

    component: str
    plugs: tuple[Plug, ...]
    idle: bool = False


@dataclass(frozen=True, slots=True)
class Handle:
    """The handle of a shut-off valve."""

    component: str
    in_service: bool
    idle: bool = False


@dataclass(frozen=True, slots=True)
class DrainSeen:
    """The drain of a vessel."""

    component: str
    open: bool
    idle: bool = False


@dataclass(frozen=True, slots=True)
class Element:
    """Of a silencer or a filter: how much dirt is on it."""

    component: str
    dirt: Literal["clean", "dirty", "clogged"]
    idle: bool = False


@dataclass(frozen=True, slots=True)
class Pulled:
    """A load cell at a ski: the force that moves it against its springs, and the one at which they
    draw it back."""

    component: str
    moves: float | None
    """[N]; None: it does not move."""
    returns: float | None
    """[N]; None: as above."""
    idle: bool


@dataclass(frozen=True, slots=True)
class Pried:
    """A bar at a jaw."""

    component: str
    moved: float
    """[m], to the millimetre"""
    idle: bool


@dataclass(frozen=True, slots=True)
class Voltage:
    """A voltage at the plug of a coil, the plug on."""

    coil: str
    volts: float
    idle: bool


@dataclass(frozen=True, slots=True)
class Winding:
    """The resistance of a coil, its plug off."""

    coil: str
    ohms: float | None
    """None: an open circuit."""
    live: bool
    """There was voltage: nothing was measured."""
    idle: bool


@dataclass(frozen=True, slots=True)
class Card:
    """The output of the controller that a coil is for."""

    coil: str
    lamp: bool
    volts: float
    idle: bool


@dataclass(frozen=True, slots=True)
class Cycled:
    """One valve was switched on and off alone."""

    coil: str
    lamp: bool
    """Of the plug, while it was on."""
    clicked: bool
    """Its coil was heard to pull: the spool itself, or the pilot that it drives."""
    switched: bool
    """The spool was heard to move over."""
    blew: tuple[str, ...]
    """Parts at which air was heard to escape while it was on, or after."""
    idle: bool


Evidence = (
    Reading | Heard | Bubbles | Jaws | Lining | Rod | Plugs | Handle | DrainSeen | Element | Pulled
    | Pried | Voltage | Winding | Card | Cycled
)  # fmt: skip
