"""A rival that tests the parts of a ride one after the other until it comes to the defective one.

The published model (Kalagnanam and Henrion, A comparison of decision analysis and expert rules for
sequential diagnosis, UAI 1988, arXiv 1304.2362; from its abstract and from memory): exactly one
part is defective; each has a prior probability, and a test of its own that tells for certain
whether it works. The rule takes them by what the test costs over the prior, which is never updated;
among all orders that one has the least expected cost. Nothing is concluded from what was seen.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from math import inf

import networkx as nx

from pneumo.circuit.circuit import Circuit, PortRef
from pneumo.circuit.couplings import test_points
from pneumo.circuit.graph import air_graph
from pneumo.circuit.zones import component_zones, territories, zone_feeds
from pneumo.components.base import Component
from pneumo.diagnosis.opinion import repair_time
from pneumo.diagnosis.questions import line_seconds, test_question
from pneumo.diagnosis.suspects import candidates
from pneumo.inspection.tests import ROWS, targets


@dataclass(frozen=True)
class Part:
    """A part that may be defective, and what it takes to know."""

    name: str
    prior: float
    """How probable all its fault modes are together, beside those of other parts [-]."""
    minutes: float
    """Downtime until it is known whether it works [min]."""
    permit: float = 0.0
    """What a permit takes that must be there before; one is enough for all parts [min]."""
    by_repair: bool = False
    """No test applies to it: it is known once it was repaired and the ride was tried."""

    @property
    def cost_over_prior(self) -> float:
        """Minutes for how probable it is [min]."""
        return (self.permit + self.minutes) / self.prior if self.prior else inf


def parts_of(circuit: Circuit) -> tuple[Part, ...]:
    """Every part that can be defective, in document order: its priors as they are taken for the
    suspects, and the quickest test that can be made at it at all. Where there is none, its quickest
    repair and a function test."""
    quickest = {}
    for name, minutes, permit in _tests(circuit):
        known = quickest.setdefault(name, (minutes, permit))
        if minutes + permit < sum(known):
            quickest[name] = minutes, permit
    prior: dict[str, float] = {}
    repair: dict[str, float] = {}
    downtime = circuit.downtime
    for each in candidates(circuit):
        name = each.component
        prior[name] = prior.get(name, 0.0) + each.prior
        took = min(repair_time(each.spot, how, downtime) for how in each.ended_by)
        repair[name] = min(repair.get(name, inf), took)
    return tuple(
        Part(name, share, *quickest[name])
        if name in quickest
        else Part(name, share, (repair[name] + downtime.function_test) / 60.0, by_repair=True)
        for name, share in prior.items()
    )


def _tests(circuit: Circuit) -> Iterator[tuple[str, float, float]]:
    """Part, minutes of a test at it with what goes before and after, minutes of its permit."""
    fits = test_points(circuit)
    for row in ROWS:
        for target in targets(circuit, row.target):
            name, _, port = target.partition(".")
            own, permit = _test(circuit, row.word, target)
            if row.target == "port" and PortRef(name, port) not in fits:
                own += circuit.downtime.fit_gauge / 60.0
            yield name, own, permit
    for name, part in circuit.components.items():
        for side in part.coils():
            alone = line_seconds(circuit, f"cycle {name}.{side}") / 60.0
            # a feed is tried by what it feeds
            yield from ((tried, alone, 0.0) for tried in (name, *_feed(part)))
        if "contact" in part.traits or "reading" in part.quantities:
            # its zone is moved there and back, and the panel shows what it does
            yield name, 2 * line_seconds(circuit, "close") / 60.0, 0.0


def _test(circuit: Circuit, word: str, target: str) -> tuple[float, float]:
    """Minutes of a test with what goes before and after, and of the permit for it."""
    own, whole = (
        test_question(circuit, (word, target), (), (), (), live).seconds / 60.0
        for live in (True, False)
    )
    return own, whole - own


def may_depend_on(circuit: Circuit, zone: str) -> frozenset[str]:
    """The parts on which a zone or group of gates can depend: its own, and of those that are shared
    the ones from which air gets there and the feeds of its coils. "" = the ride: what is shared."""
    owner = owners(circuit)
    own = {name for name in circuit.components if owner.get(name, "") == zone}
    # what belongs to others is not shared, though air can come back out of it
    free = [port for port in air_graph(circuit) if owner.get(port.component, zone) == zone]
    ways = {port: list(following) for port, following in air_graph(circuit).items()}
    near = nx.DiGraph(ways).subgraph(free)
    before = {
        other.component
        for port in free
        if port.component in own
        for other in nx.ancestors(near, port)
    }
    feeds = {feed for name in own for feed in _feed(circuit.components[name])}
    return frozenset(own | before | feeds)


def _feed(part: Component) -> tuple[str, ...]:
    """The electrical feed of a part that names one."""
    feed = getattr(part, "feed", None)
    return () if feed is None else (feed,)


def owners(circuit: Circuit) -> Mapping[str, str]:
    """Part -> the zone or group of gates that it belongs to; what is shared is left out."""
    found = {name: zone for zone, own in territories(circuit).items() for name in own}
    return found | component_zones(circuit, zone_feeds(circuit))


def minutes_in_turn(order: Iterable[Part], right: str) -> float:
    """Downtime until the repair of the defective part begins [min]: all parts before it and itself
    are tested. Who tries a part by its repair begins with the right one at once."""
    spent = permit = 0.0
    for part in order:
        if part.permit and not permit:
            permit = part.permit
        if part.name == right:
            return spent + permit + (0.0 if part.by_repair else part.minutes)
        spent += part.minutes
    raise ValueError(f"{right} is not among the parts")


def in_parts(parts: Collection[Part], among: Collection[str], right: str) -> tuple[float, float]:
    """Downtime until the repair of the defective part begins [min]: in the order of the parts, and
    by cost over prior.

    Parameters
    ----------
    among
        These parts come first; the rest of the ride follows when the defective one is not among
        them.
    """
    ordered = sorted(parts, key=lambda part: part.name not in among)
    by_cost = sorted(ordered, key=lambda part: (part.name not in among, part.cost_over_prior))
    return minutes_in_turn(ordered, right), minutes_in_turn(by_cost, right)
