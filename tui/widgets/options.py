"""A list of rows that is safe at any size."""

from __future__ import annotations

from textual.widgets import OptionList


class Options(OptionList):
    """Where the list has no room, the keys for a page do nothing; the toolkit's own would raise."""

    def action_page_up(self) -> None:
        if self.scrollable_content_region:
            super().action_page_up()  # type: ignore[no-untyped-call]

    def action_page_down(self) -> None:
        if self.scrollable_content_region:
            super().action_page_down()  # type: ignore[no-untyped-call]
