"""A list of rows that is safe at any size, and shows the row that is marked."""

from __future__ import annotations

from textual.widgets import OptionList


class Options(OptionList):
    """Where the list has no room, the keys for a page do nothing; the toolkit's own would raise."""

    def watch_highlighted(self, highlighted: int | None) -> None:
        super().watch_highlighted(highlighted)
        # rows that have just come have no place yet: the marked one is shown once they have
        self.call_after_refresh(self.scroll_to_highlight)

    def on_resize(self) -> None:
        """Fewer rows than before may have room."""
        self.call_after_refresh(self.scroll_to_highlight)

    def action_page_up(self) -> None:
        if self.scrollable_content_region:
            super().action_page_up()  # type: ignore[no-untyped-call]

    def action_page_down(self) -> None:
        if self.scrollable_content_region:
            super().action_page_down()  # type: ignore[no-untyped-call]
