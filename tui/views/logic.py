"""The logic of one zone: its states, where it stands, and what it waits for."""

from __future__ import annotations

from textual import on
from textual.app import ComposeResult

from tui.judgement import first_in_trouble
from tui.view import View
from tui.widgets.zone_sheet import ZoneSheet


class LogicView(View):
    """The zone that is looked at."""

    TITLE = "logic"
    HELP = """
# Logic

The states of one zone and the transitions between them, as its controller knows them. It sees
what its switches read, never the jaws.

- The heavy box with the dot is the present state.
- The heavy line is the transition taken last.
- A dashed line is a transition that the zone makes by itself as soon as nothing is missing any
  more. What is missing stands beside it, instrument by instrument.
- A bar is time that runs out. A zone that is not where it should be by then is faulted.
- A command makes the transitions that carry its name; a ride stop is the command towards the
  safe state.
- **F** marks an input that is forced: the logic sees the forced value.

A faulted zone is commanded to its safe state. It leaves by acknowledge and then reset, once no
cause is active any more.

| key | what it does |
|---|---|
| Up, Down, Left, Right | another zone |
| Home, End | first, last zone |
| Page up, Page down | scrolls what does not fit |
| Enter | shows the zone in the other views |

In a small window the transitions are a list.
"""
    DEFAULT_CSS = """
    LogicView ZoneSheet { width: 1fr; height: 1fr; }
    """

    def compose(self) -> ComposeResult:
        yield ZoneSheet(self.link)

    def on_mount(self) -> None:
        link = self.link
        self.sheet.choose(first_in_trouble(link.plant, link.frame) or 0)

    @property
    def sheet(self) -> ZoneSheet:
        """What is drawn."""
        return self.query_one(ZoneSheet)

    def show(self) -> None:
        self.sheet.redraw()

    def look_at(self, component: str) -> None:
        plant = self.link.plant
        zone = component
        if component in plant.circuit.components:
            zone = plant.circuit.zone_of(component) or ""
        if zone in plant.zones:
            self.sheet.choose(plant.zones.index(zone))

    @on(ZoneSheet.Picked)
    def _picked(self, message: ZoneSheet.Picked) -> None:
        message.stop()
        self.pick(message.zone)
