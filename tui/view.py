"""What every view keeps to: a name, a help text, and `show`."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.widget import Widget

from pneumo.live.link import Link
from pneumo.live.request import Answer, Request
from tui.late import LateWidget
from tui.messages import Ask, Pick

if TYPE_CHECKING:
    from tui.bar import Key


class View(LateWidget):
    """One way of looking at the ride. It draws `link.frame` and posts messages, nothing else.

    The app makes a view when it is first opened, calls `show` while it is on screen, at most 15
    times a second and only when there is a new frame, and gives it the focus when it is opened
    (or its first child that can have it).
    """

    TITLE: ClassVar[str] = ""
    """One word, on the tab."""
    HELP: ClassVar[str] = ""
    """Markdown: what is shown, keys, marks."""
    TYPING: ClassVar[tuple[Key, ...]] = ()
    """For the bottom line while a line of the view has the keyboard; () = the usual ones."""

    DEFAULT_CSS = """
    View { width: 1fr; height: 1fr; }
    """

    def __init__(self, link: Link) -> None:
        super().__init__()
        self.link = link

    @property
    def first(self) -> Widget | None:
        """What has the focus when the view is opened; None: its first child that can have it."""
        return None

    def show(self) -> None:
        """Draws `link.frame`. Cheap when nothing that it draws has changed."""
        raise NotImplementedError

    def look_at(self, component: str) -> None:
        """A component was picked in another view (or by a command). Default: nothing follows."""

    def begin(self, component: str = "") -> None:
        """A key of the app has opened it for its main act, perhaps on a component. Default:
        nothing is begun."""

    def answered(self, request: Request, answer: Answer) -> bool:
        """An answer has come to a request of any view. True: it is shown here, and needs no
        notification besides."""
        return False

    def ask(self, request: Request, *, sure: bool = False) -> None:
        """Asks the ride for something; the answer becomes a notification or a dialog.

        The app shows the cautions of a physical act before it passes it on, unless `sure`.
        """
        self.post_message(Ask(request, sure))

    def pick(self, component: str) -> None:
        """Tells that a component was picked here, so that other views show it too."""
        self.post_message(Pick(component))
