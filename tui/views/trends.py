"""Recorded channels against time, chosen from a list, with two cursors to read them off."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from typing import ClassVar, NamedTuple

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import Input, Static

from pneumo.circuit.zones import territories
from pneumo.live.link import Link
from pneumo.live.plant import Channel, Plant
from pneumo.live.request import GoTo
from tui import text
from tui.judgement import first_in_trouble
from tui.requests import refusal
from tui.view import View
from tui.widgets.picture import Curve
from tui.widgets.plot import Plot
from tui.widgets.rows import Line, Piece, Rows

NARROW = 100
"""Below this width list and plot are pages."""
RIDE = "ride"
"""Heading of what belongs to no zone."""


class _Heading(NamedTuple):
    """A row of the list that cannot be chosen."""

    words: str


class _Entry(NamedTuple):
    """A row of the list: one channel."""

    channel: int
    words: str
    mark: str
    """What stands in its box: the curve's letter, "*" for a lane, " " when it is not drawn."""


class _ChannelList(Rows):
    """The list; space draws a channel or takes it away, like enter."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("space", "choose", "Draw", show=False)]


class TrendsView(View):
    """The plot, the list of channels, and the table of what the cursors read."""

    TITLE = "trends"
    HELP = """\
# Trends

Recorded channels against time. Each unit has a panel of its own; contacts and coils have a lane
each below: high is ON, low is OFF. A curve carries its **letter**, the same as
before its name at the right end. Its value there is that of the instant shown; `┊ ▲` marks this
instant after going back. A gap is a stretch that this seat does not see.

| key | |
|---|---|
| `p` `P` | next, previous zone: its usual channels |
| `l` | between the list and the plot |
| `/` | search in the list; Enter or Escape: back |
| Space, Enter | in the list: draw this channel, or take it away |
| `o` | in the list: show this component in the other views |
| Backspace | draw nothing |
| `z` `Z` | longer, shorter stretch: 10 s, 1 min, 10 min, all |
| Page up, Page down | earlier, later; Home: the beginning; End: follow the newest |
| `y` | value axes from zero, or fitted to what is drawn |
| Left, Right | move the cursor; with Shift ten times as far |
| `c` | the other cursor, A or B |
| `d` | no cursors |
| `g` | go to the instant of the cursor |

Mouse: click for cursor A, drag or right click for B, wheel for earlier and later.

With both cursors the table gives the difference and the slope between them.
"""

    DEFAULT_CSS = """
    TrendsView {
        & #side { dock: left; width: 36; height: 1fr; border-right: solid $panel; }
        & #search { height: 1; border: none; padding: 0 1; }
        & #table { height: auto; padding: 0 1; display: none; text-wrap: nowrap; }
        &.-cursors #table { display: block; }
        &.-narrow #side { display: none; }
        &.-narrow.-listing #side { display: block; dock: none; width: 1fr; border: none; }
        &.-narrow.-listing #main { display: none; }
    }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("p", "preset(1)", "Next zone"),
        Binding("P", "preset(-1)", "Previous zone", show=False),
        Binding("l", "list", "List"),
        Binding("slash", "search", "Search", show=False),
        Binding("o", "other_views", "Show elsewhere", show=False),
        Binding("backspace", "nothing", "Draw nothing", show=False),
        Binding("g", "go", "Go to cursor", show=False),
    ]

    def __init__(self, link: Link) -> None:
        super().__init__(link)
        plant = link.plant
        self._groups = _groups(plant, link.seat == "trainee")
        self._presets = [name for name in (*plant.zones, RIDE) if name in self._groups]
        self._preset = 0
        self._chosen: list[int] = []
        """Channels that are drawn, in the order of their curves."""
        self._search = ""
        self._looked_at = ""
        self._table_of: object = None

    def compose(self) -> ComposeResult:
        with Vertical(id="main"):
            yield Plot()
            yield Static(id="table")
        with Vertical(id="side"):
            yield Input(placeholder="/ search", compact=True, id="search")
            yield _ChannelList(
                self._lines,
                empty="no such channel",
                pickable=lambda row: isinstance(row, _Entry),
            )

    def on_mount(self) -> None:
        link = self.link
        trouble = first_in_trouble(link.plant, link.frame)
        if trouble is not None and link.plant.zones[trouble] in self._presets:
            self._preset = self._presets.index(link.plant.zones[trouble])
        self.action_preset(0)
        self.show()

    @property
    def plot(self) -> Plot:
        """The curves."""
        return self.query_one(Plot)

    @property
    def channels(self) -> Rows:
        """The channels there are."""
        return self.query_one(_ChannelList)

    @property
    def chosen(self) -> tuple[Channel, ...]:
        """What is drawn, in the order of the curves."""
        return tuple(self.link.plant.channels[number] for number in self._chosen)

    def show(self) -> None:
        frame = self.link.frame
        self.plot.draw(self.link.past, frame.time, frame.newest)
        self._show_table()

    def look_at(self, component: str) -> None:
        """Draws the channels of a component that was picked elsewhere; of a zone its usual ones."""
        if component == self._looked_at:
            return  # what has been chosen since stays
        self._looked_at = component
        if component in self._presets:
            self._preset = self._presets.index(component)
            self._choose(preset(self.link, component, self._groups))
            return
        found = self._channels_of(component)
        if found:
            self._choose(found)

    # which channels

    def _channels_of(self, component: str) -> list[int]:
        watching = {component}
        watching.update(
            name
            for name, other in self.link.plant.circuit.components.items()
            if getattr(other, "of", None) == component
        )
        return [
            number
            for numbers in self._groups.values()
            for number in numbers
            if self.link.plant.channels[number].component.partition(".")[0] in watching
        ]

    def _choose(self, channels: Iterable[int]) -> None:
        self._chosen = list(channels)
        plant = self.link.plant
        homes = {name for name, numbers in self._groups.items() if {*numbers} & {*self._chosen}}
        home = homes.pop() if len(homes) == 1 else ""
        self.plot.choose([_curve(plant, number, home) for number in self._chosen], home)
        self._fill_list()
        self._show_table()

    def _fill_list(self) -> None:
        words = self._search.lower().split()
        marks = {
            number: self.plot.mark(place).strip() or "*"
            for place, number in enumerate(self._chosen)
        }
        rows: list[Hashable] = []
        for name, numbers in self._groups.items():
            fitting = [
                number
                for number in numbers
                if all(w in f"{name} {self.link.plant.channels[number].name}" for w in words)
            ]
            if fitting:
                rows.append(_Heading(name))
            for number in fitting:
                channel = self.link.plant.channels[number]
                short = channel.name.removeprefix(f"{name}_")
                rows.append(_Entry(number, short, marks.get(number, " ")))
        self.channels.fill(rows)

    def _lines(self, row: Hashable, width: int) -> Sequence[Line]:
        if isinstance(row, _Heading):
            return [(Piece(row.words, "bold"),)]
        assert isinstance(row, _Entry)
        return [(Piece(f"[{row.mark}] ", "accent" if row.mark != " " else "muted"),
                 Piece(row.words))]  # fmt: skip

    @on(Rows.Chosen)
    def _toggle(self, event: Rows.Chosen) -> None:
        event.stop()
        row = self.channels.row
        if not isinstance(row, _Entry):
            return
        if row.channel in self._chosen:
            self._choose(number for number in self._chosen if number != row.channel)
        else:
            self._choose((*self._chosen, row.channel))

    @on(Input.Changed, "#search")
    def _narrow_list(self, event: Input.Changed) -> None:
        event.stop()
        self._search = event.value
        self._fill_list()

    @on(Input.Submitted, "#search")
    def _searched(self, event: Input.Submitted) -> None:
        event.stop()
        self.channels.focus()

    # keys

    def action_preset(self, step: int) -> None:
        """The usual channels of the next zone."""
        if self._presets:
            self._preset = (self._preset + step) % len(self._presets)
            self._choose(preset(self.link, self._presets[self._preset], self._groups))

    def action_list(self) -> None:
        """To the list, or back to the plot; in a narrow window the other page."""
        to_list = self.plot.has_focus or not self.has_focus_within
        self.set_class(to_list, "-listing")
        self.call_after_refresh((self.channels if to_list else self.plot).focus)

    def action_search(self) -> None:
        self.add_class("-listing")
        self.call_after_refresh(self.query_one("#search", Input).focus)

    def key_escape(self) -> None:
        """From the search to the list, from the list to the plot."""
        if self.query_one("#search", Input).has_focus:
            self.channels.focus()
        elif self.channels.has_focus:
            self.action_list()

    def action_other_views(self) -> None:
        row = self.channels.row
        if self.channels.has_focus and isinstance(row, _Entry):
            self.pick(self.link.plant.channels[row.channel].component.partition(".")[0])

    def action_nothing(self) -> None:
        self._choose(())

    def action_go(self) -> None:
        """Shows the whole ride at the instant of the active cursor."""
        at = self.plot.cursors[self.plot.active]
        if at is None:
            self.notify("Set a cursor first: left, right, or click on the plot.")
        elif why := refusal(self.link, "time"):
            self.notify(why)
        else:
            self.ask(GoTo(at))

    def on_resize(self) -> None:
        self.set_class(self.size.width < NARROW, "-narrow")

    # the table of the cursors

    @on(Plot.Changed)
    def _cursors_moved(self, event: Plot.Changed) -> None:
        event.stop()
        self._show_table()

    def _show_table(self) -> None:
        plot = self.plot
        a, b = plot.cursors
        self.set_class(a is not None or b is not None, "-cursors")
        if a is None and b is None:
            self._table_of = None
            return
        order = sorted(range(len(plot.curves)), key=lambda place: not plot.curves[place].unit)
        rows = [
            (plot.mark(place), curve, a, b,
             None if a is None else plot.reading(curve, a),
             None if b is None else plot.reading(curve, b))
            for place in order
            for curve in (plot.curves[place],)
        ]  # fmt: skip
        most = max(self.size.height // 4, 3)
        if (rows, plot.active, most) != self._table_of:
            self._table_of = (rows, plot.active, most)
            width = min(max(14, *(len(row[1].name) for row in rows), 0), 30)
            lines = [_table_line(row, width) for row in rows]
            if len(rows) > most:
                lines[most - 1 :] = [f"and {len(rows) - most + 1} more"]
            head = _head(a, b, plot.active, width)
            self.query_one("#table", Static).update(
                Content.assemble((head, "bold"), "\n" + "\n".join(lines))
            )


def preset(link: Link, zone: str, groups: dict[str, list[int]]) -> list[int]:
    """The usual channels of a zone: stored air, its brake that is furthest from the safe state,
    meters, what the controller reads of that brake and of the pressure, and the coils."""
    plant, frame = link.plant, link.frame
    components = plant.circuit.components
    if zone not in plant.zones:
        meters = [n for n in groups[zone] if plant.channels[n].quantity == "reading"]
        return meters or groups[zone][:4]
    of_zone = plant.circuit.zones[zone]
    brake = frame.zones[plant.zones.index(zone)].brake or of_zone.brakes[0]

    def wanted(channel: Channel) -> bool:
        name = channel.component
        if channel.quantity in ("reading", "coil"):
            return True
        if channel.quantity == "contact":
            of = getattr(components[name], "of", None)
            return of == brake or of is None
        traits = components[name].traits
        return name == brake or ("store" in traits and "shared" not in traits)

    return [number for number in groups[zone] if wanted(plant.channels[number])]


def _groups(plant: Plant, instruments_only: bool) -> dict[str, list[int]]:
    """Zone, group of gates or RIDE -> the channels there that this seat may see."""
    circuit = plant.circuit
    places = {
        component: name
        for name, components in territories(circuit).items()
        for component in components
    }
    named = {i.name: i.zone for i in plant.inputs} | {o.component: o.zone for o in plant.outputs}
    found: dict[str, list[int]] = {name: [] for name in (*circuit.zones, *circuit.gates, RIDE)}
    for number, channel in enumerate(plant.channels):
        if channel.instrument or not instruments_only:
            component = channel.component.partition(".")[0]
            place = named.get(component) or places.get(component) or RIDE
            found.setdefault(place, []).append(number)
    return {name: numbers for name, numbers in found.items() if numbers}


def _curve(plant: Plant, number: int, home: str) -> Curve:
    """How a channel is drawn; its name without that of the zone that all have in common, unless
    what is left reads like a value. Of a brake the pressure goes without saying."""
    channel = plant.channels[number]
    name = channel.component.removeprefix(f"{home}_")
    if name.upper() in text.STATES:
        name = channel.component
    if channel.quantity in ("gap", "force", "travel"):
        name = f"{name} {channel.quantity}"
    return Curve(number, name, channel.unit)


KEYS = "d: none  g: go there"
"""Keys of the cursors, said where there is room."""


def _head(a: float | None, b: float | None, active: int, width: int) -> str:
    names = [f"▸{name}" if place == active else name for place, name in enumerate("AB")]
    times = [
        "" if at is None else f"{name} {text.clock(at)}"
        for name, at in zip(names, (a, b), strict=True)
    ]
    between = f"{b - a:+.3f} s" if a is not None and b is not None else ""
    if a is None or b is None:
        other = "A" if a is None else "B"
        return f"{'':{width + 2}}{times[0]:>14}{times[1]:>14}  c: cursor {other}  {KEYS}"
    line = f"{'':{width + 2}}{times[0]:>14}{times[1]:>14}{between:>14}{'per second':>16}"
    return f"{line}  c: the other  {KEYS}"


def _table_line(
    row: tuple[str, Curve, float | None, float | None, float | None, float | None], width: int
) -> str:
    mark, curve, a, b, at_a, at_b = row
    name = curve.name if len(curve.name) <= width else "…" + curve.name[1 - width :]
    if curve.unit:
        read = [text.quantity(value, curve.unit) for value in (at_a, at_b)]
    else:
        read = [text.UNSEEN if v is None else text.state(v > 0.5) for v in (at_a, at_b)]
    read = ["" if at is None else word for word, at in zip(read, (a, b), strict=True)]
    line = f"{mark} {name:{width}}{read[0]:>14}{read[1]:>14}"
    if curve.unit and at_a is not None and at_b is not None and a is not None and b is not None:
        change = at_b - at_a
        line += f"{text.quantity(change, curve.unit):>14}"
        if abs(b - a) > 1e-9:
            line += f"{text.quantity(change / (b - a), curve.unit) + '/s':>16}"
    return line.rstrip()
