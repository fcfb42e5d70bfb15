"""The network: what the kernel knows of a circuit, as constant arrays.

One structured array per primitive; one row per instance; every field with its meaning and unit in
the tables below. A fault or a turned valve is a changed copy of some rows, never a branch in the
kernel. States are numbered in the order in which the linear solver eliminates them, so that no
permutation is needed while the simulation runs.

The network is divided into partitions (see `partitions`), each with its own steps while a run is
under way. A partition's states are contiguous. So is its ledger, which follows the main states of
all partitions: what it has given to each boundary node, to the walls and to the movers, and what
has passed through each of its border paths as this partition has seen it.

Sizes: nnode (dynamic nodes first, then boundary nodes), nrestriction, nmover, nstem, nlag,
nsource, nspool, nwatch, nstate, nfill (entries of the filled Jacobian), npartition, ngroup.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Field = tuple[str, str, str]

MOST_KNOTS = 16
"""Travels at which the slope of a chamber's area may change."""

_NODE: tuple[Field, ...] = (
    ("volume", "f8", "volume without actuators [m3]"),
    ("heat", "f8", "wall conductance h A [W/K]"),
    ("wall", "f8", "wall temperature [K]"),
    ("isothermal", "i8", "1: gas held at the wall temperature (for checks)"),
    ("count", "f8", "nodes alike that this one is integrated for"),
    ("pressure", "f8", "boundary nodes: pressure [Pa]"),
    ("temperature", "f8", "boundary nodes: temperature [K]"),
    ("mass", "i8", "state index of the air mass [kg]; boundary: place of the mass in a ledger"),
    ("energy", "i8", "state index of the internal energy [J]; boundary: place of the enthalpy"),
    ("mover", "i8", "mover whose travel changes the volume; -1: none"),
    ("chamber", "i8", "which chamber of that mover: 0 or 1"),
)

_RESTRICTION: tuple[Field, ...] = (
    ("a", "i8", "node at the inlet"),
    ("b", "i8", "node at the outlet"),
    ("law", "i8", "0: ISO 6358 orifice; 1: pipe friction"),
    ("conductance", "f8", "sonic conductance C [m3/(s Pa)]; pipe: bore [m]"),
    ("critical", "f8", "critical pressure ratio b [-]; pipe: length [m]"),
    ("roughness", "f8", "pipe: roughness [m]"),
    ("segments", "f8", "pipe: equal lengths its line is cut into, this being one of them [-]"),
    ("weight_a", "f8", "branches that leave node a and are integrated as one [-]"),
    ("weight_b", "f8", "the same at node b [-]"),
    ("open_min", "f8", "opening never below [-]"),
    ("open_max", "f8", "opening never above [-]"),
    ("spool", "i8", "spool that opens it; -1: none"),
    ("spool_closed", "f8", "spool position at opening 0"),
    ("spool_open", "f8", "spool position at opening 1"),
    ("hi", "i8", "node whose pressure opens it; -1: none"),
    ("lo", "i8", "node whose pressure closes it"),
    ("hi_gain", "f8", "factor on the opening pressure [-]"),
    ("lo_gain", "f8", "factor on the closing pressure [-]"),
    ("threshold", "f8", "pressure at opening 0 [Pa]"),
    ("band", "f8", "from opening 0 to 1 [Pa]"),
    ("stem", "i8", "regulator stem that opens it; -1: none"),
    ("stem_closed", "f8", "stem position at opening 0"),
    ("stem_open", "f8", "stem position at opening 1"),
)

_MOVER: tuple[Field, ...] = (
    ("x", "i8", "state index of the travel [m]"),
    ("v", "i8", "state index of the speed [m/s]"),
    ("mass", "f8", "moving mass [kg]"),
    ("spring_force", "f8", "spring force towards larger x at x = 0 [N]"),
    ("spring_rate", "f8", "decrease of that force with x [N/m]"),
    ("friction", "f8", "dry friction while it slides [N]"),
    (
        "static",
        "f8",
        "dry friction up to which it holds, at least `friction`; infinity: seized [N]",
    ),
    ("damping", "f8", "viscous damping [N s/m]"),
    ("low", "f8", "lower contact [m]"),
    ("low_stiffness", "f8", "[N/m]"),
    ("high", "f8", "upper contact, a brake's: lining on the fin [m]"),
    ("high_stiffness", "f8", "[N/m]"),
    ("node_0", "i8", "node of the first chamber; -1: none"),
    ("area_0", "f8", "its effective area at x = 0, one bladder or piston [m2]"),
    ("slope_0", "f8", "change of that area with x [m]"),
    ("direction_0", "f8", "+1 pushes towards larger x, -1 towards smaller"),
    ("count_0", "f8", "bladders on the node that move alike"),
    ("knots", "i8", "travels at which its area begins to change otherwise"),
    ("knot", f"{MOST_KNOTS}f8", "those travels, ascending; 0 beyond `knots` [m]"),
    ("bend", f"{MOST_KNOTS}f8", "change of the slope at each of them [m]"),
    ("node_1", "i8", "node of the second chamber; -1: none"),
    ("area_1", "f8", "[m2]"),
    ("slope_1", "f8", "[m]"),
    ("direction_1", "f8", ""),
    ("count_1", "f8", ""),
)

_STEM: tuple[Field, ...] = (
    ("z", "i8", "state index of the stem position [-]"),
    ("node", "i8", "node whose pressure it follows"),
    ("setting", "f8", "outlet pressure at which the stem stands at 0 [Pa]"),
    ("band", "f8", "pressure below the setting at which it stands at 1 [Pa]"),
    ("dead_band", "f8", "half the hysteresis as a fraction of band [-]"),
    ("response", "f8", "lag [s]"),
    ("low", "f8", "lowest position it seeks [-]"),
    ("high", "f8", "highest position it seeks [-]"),
)

_LAG: tuple[Field, ...] = (
    ("r", "i8", "state index of the reading [Pa]"),
    ("node", "i8", "node it measures"),
    ("lag", "f8", "time constant [s]"),
    ("gain", "f8", "what it shows = gain * reading + offset [-]"),
    ("offset", "f8", "[Pa]"),
)

_SOURCE: tuple[Field, ...] = (
    ("node", "i8", "node it delivers into"),
    ("on", "f8", "1: delivering; 0: not"),
    ("delivery", "f8", "free-air delivery at rated_at [m3/s ANR]"),
    ("rated_at", "f8", "[Pa]"),
    ("fall", "f8", "relative fall of the delivery with pressure [1/Pa]"),
    ("temperature", "f8", "delivery temperature [K]"),
)

_SPOOL: tuple[Field, ...] = (
    ("position", "f8", "position at time `since`"),
    ("rate", "f8", "speed of the spool [1/s]"),
    ("since", "f8", "[s]"),
    ("until", "f8", "end of the movement [s]"),
    ("next", "f8", "start of the next movement [s]; infinity: none is due"),
)

_WATCH: tuple[Field, ...] = (
    (
        "signal",
        "i8",
        "0 pressure, 1 above the upper contact, 2 below the lower contact, "
        "3 reading, 4 contact force",
    ),
    ("index", "i8", "node, mover or lag"),
    ("gain", "f8", "value = gain * signal + offset"),
    ("offset", "f8", ""),
    ("on_at", "f8", "value at which it becomes true, rising"),
    ("off_at", "f8", "value at which it becomes false, falling"),
    ("delay", "f8", "from the crossing to the contact [s]"),
    ("role", "i8", "0 observed only; 1 sensed by the controller; 2 acts on the plant at once"),
)


def _dtype(table: tuple[Field, ...]) -> np.dtype[Any]:
    return np.dtype([(name, kind) for name, kind, _ in table], align=True)


NODE = _dtype(_NODE)
RESTRICTION = _dtype(_RESTRICTION)
MOVER = _dtype(_MOVER)
STEM = _dtype(_STEM)
LAG = _dtype(_LAG)
SOURCE = _dtype(_SOURCE)
SPOOL = _dtype(_SPOOL)
WATCH = _dtype(_WATCH)

OBSERVED, SENSED, ACTING = 0, 1, 2
"""Roles of a watch."""

PRESSURE, ABOVE_HIGH, BELOW_LOW, READING, FORCE = 0, 1, 2, 3, 4
"""Signals of a watch."""

ORIFICE, PIPE = 0, 1
"""Laws of a restriction."""

Array = NDArray[Any]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]
Table = NDArray[Any]
"""A structured array."""
Row = Any
"""A row of one. Its fields are its attributes in a kernel, which no type can tell: they are those
of the table at the top of this file."""


class Network(NamedTuple):
    """Arrays the kernel reads. Row layouts: the tables at the top of this file."""

    node: Table  # NODE          (nnode,)
    restriction: Table  # RESTRICTION   (nrestriction,)
    mover: Table  # MOVER         (nmover,)
    stem: Table  # STEM          (nstem,)
    lag: Table  # LAG           (nlag,)
    source: Table  # SOURCE        (nsource,)
    spool: Table  # SPOOL         (nspool,)
    watch: Table  # WATCH         (nwatch,)
    dynamic: int  # dynamic nodes; the first boundary node, the atmosphere, follows
    main: int  # states in the linear system; the ledgers follow
    heat: int  # place in a ledger of the heat received from the walls [J]
    work: int  # place in a ledger of the work done on the movers [J]
    scale: Floats  # size of each main state for the error norm  (main,)
    state: Ints  # first main state of each partition, and the end  (npartition + 1,)
    ledger: Ints  # first state of each partition's ledger, and the end  (npartition + 1,)
    node_partition: Ints  # partition of each node; -1: boundary  (nnode,)
    state_partition: Ints  # partition of each main state  (main,)
    watch_partition: Ints  # partition of each watch  (nwatch,)
    member: Ints  # what belongs to each partition, see MEMBERS
    members: (
        Ints  # places in `member` where a kind begins for each partition  (NMEMBER, npartition + 1)
    )
    border: Ints  # states of the ledgers for a border path's sides a and b; -1: none  (nr, 2)
    loose: Ints  # paths kept ready for leaks, which belong to whatever they are put on
    row: Ints  # filled Jacobian, compressed rows: start of each row  (main + 1,)
    column: Ints  # column of each entry, ascending in a row  (nfill,)
    diagonal: Ints  # place of each row's diagonal entry  (main,)
    own: Ints  # place after each row's last entry in a column of its own partition  (main,)
    slot_restriction: Ints  # places of d(m_a, U_a, m_b, U_b)/d(COLUMNS); -1: none (nr, 4, 11)
    column_restriction: Ints  # state index of COLUMNS; -1: none  (nr, 11)
    slot_node: Ints  # places of d(m, U)/d(m, U, x, v)  (nnode, 2, 4)
    slot_mover: Ints  # places of dx/d(x, v), dv/d(x, v, m0, U0, m1, U1)  (nmover, 2, 6)
    slot_stem: Ints  # places of dz/d(m, U, x, z)  (nstem, 4)
    slot_lag: Ints  # places of dr/d(m, U, x, r)  (nlag, 4)


NODES, PATHS, BORDERS, MOVERS, STEMS, LAGS, SOURCES, WATCHES, SPOOLS = range(9)
"""Kinds of `member`: nodes; paths within a partition or to the boundary; paths to other partitions;
and the other primitives (spools: those that open one of its paths)."""

COLUMNS = ("m_a", "U_a", "x_a", "m_b", "U_b", "x_b", "U_hi", "x_hi", "U_lo", "x_lo", "z")
"""What the flow through a restriction may depend on, in the order of the slot arrays."""


def copy_for_change(network: Network) -> Network:
    """The same network with its parameter tables copied, so that rows may be changed."""
    return network._replace(
        node=network.node.copy(),
        restriction=network.restriction.copy(),
        mover=network.mover.copy(),
        stem=network.stem.copy(),
        lag=network.lag.copy(),
        source=network.source.copy(),
        spool=network.spool.copy(),
        watch=network.watch.copy(),
        slot_restriction=network.slot_restriction.copy(),
        column_restriction=network.column_restriction.copy(),
    )


def chamber(mover: Row, which: int, x: Any) -> tuple[Any, Any, Any, Any]:
    """The first or second chamber of a mover at a travel: how many alike its node holds, and of one
    of them the area with which it pushes towards larger x [m2], the change of that with x [m] and
    the volume gained since x = 0 [m3].

    The area is straight in x between bends, the volume its integral, which is exact, so that what
    the air loses is what the mover gets. Also a kernel; x is a number or an array of any shape.
    """
    if which == 0:
        count, direction, knots = mover.count_0, mover.direction_0, mover.knots
        area, slope = mover.area_0, mover.slope_0
    else:
        count, direction, knots = mover.count_1, mover.direction_1, 0
        area, slope = mover.area_1, mover.slope_1
    wider, steeper, further = 0.0 * x, 0.0 * x, 0.0 * x
    for k in range(knots):
        past = x - mover.knot[k]
        past = 0.5 * (past + abs(past))
        wider = wider + mover.bend[k] * past
        steeper = steeper + mover.bend[k] * (past > 0.0)
        further = further + 0.5 * mover.bend[k] * past * past
    swept = x * (area + 0.5 * slope * x) + further
    area = area + slope * x + wider
    return count, direction * area, direction * (slope + steeper), direction * swept


def node_volume(network: Network, states: Array, n: int) -> Array:
    """Volume of a dynamic node at states of shape (..., nstate), shape (...) [m3]."""
    row = network.node[n]
    volume = np.full(states.shape[:-1], row["volume"])
    if row["mover"] >= 0:
        mover = network.mover.view(np.recarray)[row["mover"]]
        count, _, _, swept = chamber(mover, row["chamber"], states[..., mover.x])
        volume += count * swept
    return volume
