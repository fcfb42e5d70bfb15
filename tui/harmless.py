"""The one place where what the screens draw becomes letters for a terminal."""

from __future__ import annotations

from rich.segment import Segment
from textual.color import Color
from textual.filter import LineFilter

from pneumo.harmless import first_acting, harmless


class Harmless(LineFilter):
    """Leaves out the letters that would act on the terminal instead of being shown.

    They are of no width, so nothing on the line moves.
    """

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """The segments of a line, without such letters."""
        if all(segment.control or first_acting(segment.text) < 0 for segment in segments):
            return segments
        return [
            segment if segment.control else segment._replace(text=harmless(segment.text, mark=""))
            for segment in segments
        ]
